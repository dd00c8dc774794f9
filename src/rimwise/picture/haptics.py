"""The two arms that hold an optic: oblique bands that leave its rim on opposite sides."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.medians import median
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    radius_about,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class HapticSettings:
    """Where arms are looked for, lengths in rim radii, with reasons.

    Parameters
    ----------
    nearest, farthest, step : float
        Rows outside of the rim: nearer its own lines, farther the pupil's margin is met.
    rows : int
        Fewest rows in sight at a root; less shows no band.
    slants_deg : tuple of float
        By how many degrees an arm runs along the rim while it leaves it by a whole radius, either
        way: a steep one is radial, and a flatter one is the rim's own second line.
    widths_deg : tuple of float
        Half of the arm's breadth as the rim cuts it.
    least : float
        Least strength of the weaker of both arms, in noise levels of the mean along a band.
    lead : float
        By how much the pair must beat any other pair.
    apart_deg : float
        Nearer than this another pair is the same one.
    """

    nearest: float = 1.02
    farthest: float = 1.22
    step: float = 0.007
    rows: int = 6
    slants_deg: tuple[float, ...] = (50.0, 62.0, 74.0, 86.0, 98.0, 110.0, 122.0, 134.0)
    widths_deg: tuple[float, ...] = (3.0, 4.0, 5.0, 6.0, 7.5)
    least: float = 4.5
    lead: float = 1.8
    apart_deg: float = 12.0


SETTINGS = HapticSettings()


@dataclass(frozen=True, slots=True)
class Haptics:
    """Where the arms leave the rim: ``angle_rad`` in the picture, counter-clockwise, modulo π.

    ``strength`` is that of the weaker arm, ``lead`` over the next best pair.
    """

    angle_rad: float
    strength: float
    lead: float


def find_haptics(planes: Planes, pupil: PupilMargin, rim: Rim) -> Haptics | None:
    """Where do the haptics' roots lie? None where no pair of arms stands out.

    Notes
    -----
    Own derivation. An arm is a band that leaves the rim at a slant: paler or darker than what lies
    beside it, between two dark borders. In the strip around the rim it is a straight band, which a
    shear turns upright; then its mean along the band stands out of the noise. Both arms have one
    slant and one breadth and lie on opposite sides, which folds of the capsule seldom do.
    """
    detail, clear = _strip(planes, pupil, rim)
    best = _Best.none()
    for slant in (s * way for s in SETTINGS.slants_deg for way in (-1.0, 1.0)):
        profile, count = _upright(detail, clear, slant)
        best = best.better(_pairs(profile, count))
    return best.told()


def _strip(planes: Planes, pupil: PupilMargin, rim: Rim) -> tuple[FloatArray, BoolArray]:
    """Return what is fine along the rim, in noise levels, and where it may be seen."""
    theta = directions_rad(COLUMNS)
    ratio = np.arange(SETTINGS.nearest, SETTINGS.farthest, SETTINGS.step)[:, None]
    radii = ratio * rim.radii_px
    light = unroll(planes.log_mean, rim.centre_px, radii)
    margin = radius_about(pupil.curve_px, rim.centre_px, theta)
    clear = (
        (radii < margin - 0.02 * rim.radius_px)
        & (unroll(planes.glare, rim.centre_px, radii) < 0.05)
        & (inside_frame(planes.log_rgb.shape[:2], rim.centre_px, radii) > 0)
    )
    seen = clear.astype(np.float64)
    broad = smooth_along(light * seen, 30.0) / np.maximum(smooth_along(seen, 30.0), 0.05)
    detail = smooth_along(np.where(clear, light - broad, 0.0), 2.0)
    noise = 1.4826 * median(np.abs(detail[clear])) + 1e-6 if clear.any() else 1.0
    return np.clip(detail / noise, -4.0, 4.0), clear


def _upright(detail: FloatArray, clear: BoolArray, slant: float) -> tuple[FloatArray, FloatArray]:
    """Return the mean along a slanted line from each column of the rim, and its count of rows."""
    beyond = SETTINGS.nearest - 1.0 + SETTINGS.step * np.arange(len(detail))
    shift = np.round(slant * beyond * COLUMNS / 360.0).astype(np.int64)
    column = (np.arange(COLUMNS) + shift[:, None]) % COLUMNS
    seen = np.take_along_axis(clear, column, axis=1)
    count = seen.sum(axis=0)
    total = (np.take_along_axis(detail, column, axis=1) * seen).sum(axis=0)
    return total / np.maximum(count, 1), count.astype(np.float64)


def _pairs(profile: FloatArray, count: FloatArray) -> FloatArray:
    """Return the strength (widths, half a turn) of the weaker arm of each pair."""
    found = []
    level, seen = np.tile(profile, 3), np.tile(count, 3)  # so that a turned one is a part of it
    for width in SETTINGS.widths_deg:
        off = round(width * COLUMNS / 360.0)
        left, right = (slice(COLUMNS + way, 2 * COLUMNS + way) for way in (-off, off))
        rows = np.minimum(np.minimum(seen[left], count), seen[right])
        # Either border must be dark by itself: a lone fold has one.
        dark = profile - np.maximum(level[left], level[right])
        strength = np.where(rows >= SETTINGS.rows, dark * np.sqrt(rows), 0.0)
        found.append(np.minimum(strength[: COLUMNS // 2], strength[COLUMNS // 2 :]))
    return np.asarray(found)


@dataclass(frozen=True, slots=True)
class _Best:
    """The best strength found at each column of half a turn."""

    strength: FloatArray

    @classmethod
    def none(cls) -> "_Best":
        return cls(np.zeros(COLUMNS // 2))

    def better(self, pairs: FloatArray) -> "_Best":
        return _Best(np.maximum(self.strength, pairs.max(axis=0)))

    def told(self) -> Haptics | None:
        top = int(np.argmax(self.strength))
        steps = np.abs(np.arange(COLUMNS // 2) - top)
        away = np.minimum(steps, COLUMNS // 2 - steps) * 360.0 / COLUMNS
        rival = float(self.strength[away > SETTINGS.apart_deg].max())
        strength = float(self.strength[top])
        lead = strength / max(rival, 1e-6)
        if strength < max(SETTINGS.least, 1e-6) or lead < SETTINGS.lead:
            return None
        # The middle of all that is nearly as strong: slant and root trade against each other.
        near = np.flatnonzero((away <= SETTINGS.apart_deg) & (self.strength > 0.7 * strength))
        offset = (near - top + COLUMNS // 4) % (COLUMNS // 2) - COLUMNS // 4
        middle = top + float(np.average(offset, weights=self.strength[near]))
        return Haptics(float(2.0 * np.pi * middle / COLUMNS) % np.pi, strength, lead)
