"""How one picture of an eye lies on an earlier one: by what surrounds the limbus.

Vessels of the white of the eye keep their place for years, while the iris moves with the pupil and
the implant is what is asked about; so the ring outside the limbus carries the registration.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.picture.raster import Raster
from rimwise.records.cover import EllipsePx
from rimwise.terms.arrays import BoolArray, FloatArray

_COLUMNS = 1440
_INNER, _OUTER = 1.06, 1.75  # of the limbus: beyond its soft band, before the lids
_ROUGH_INNER = 0.72  # the first look for the roll also takes the iris's root
_MOST_ROLL_DEG = 30.0
_DETAIL = 0.05  # of the limbus: what is larger is lighting, not vessels
_CLIP = 3.0
_SHRINK = 0.5
_LEAST_ALIKE = 0.35  # correlation below which two rings are not told to be of one eye
_ROUNDS = (3, 80, 1e-5)  # both ends of the search: rounds, and change of the correlation


@dataclass(frozen=True, slots=True, eq=False)
class Registration:
    """Where points of the first picture lie in the second, at the limbus's plane.

    Parameters
    ----------
    matrix : array, shape (2, 3)
        (u, v) of the second = matrix · (u, v, 1) of the first.
    roll_deg : float
        Turn of the second picture against the first, counter-clockwise in the picture.
    likeness : float
        Correlation of the rings once they lie on each other, 0 to 1.
    """

    matrix: FloatArray
    roll_deg: float
    likeness: float

    def moved(self, points_px: FloatArray) -> FloatArray:
        """Return where points (..., 2) of the first picture lie in the second."""
        return np.asarray(points_px @ self.matrix[:, :2].T + self.matrix[:, 2])


@dataclass(frozen=True, slots=True)
class Limb:
    """A picture with its limbus, stored pixels."""

    raster: Raster
    limbus: EllipsePx


def register(first: Limb, now: Limb, about_deg: float = 0.0) -> Registration | None:
    """How does a later picture of an eye lie on the first one?

    Parameters
    ----------
    first, now : Limb
        Pictures of one eye, neither mirrored against the other.
    about_deg : float
        Roll that the sheets tell, counter-clockwise in the picture; within 30° of it is searched.

    Returns
    -------
    Registration or None
        None where the surroundings of the limbus do not match: another eye, lids, or blur.

    Notes
    -----
    Roll by correlation round the limbus, then an affine map that maximizes the correlation of the
    ring outside the limbus (enhanced correlation coefficient, Evangelidis and Psarakis 2008).
    """
    detail, later = (_detail(one) for one in (first, now))
    roll_deg = _roll((detail, first), (later, now), about_deg)
    start = _similarity(first.limbus, now.limbus, roll_deg)
    # The search asks which points of the later picture count.
    mask = _between(now.raster, now.limbus, _INNER, _OUTER)
    fitted = _refined(detail, later, mask, start)
    if fitted is None:
        return None
    matrix, likeness = fitted
    left, _, right = np.linalg.svd(matrix[:, :2])
    turn = left @ right
    roll_deg = math.degrees(math.atan2(float(turn[0, 1]), float(turn[0, 0])))
    return Registration(matrix, roll_deg, likeness) if likeness >= _LEAST_ALIKE else None


def _detail(one: Limb) -> Float32Array:
    """Logarithm of green, without what is broad, each part as strong as the next."""
    pixels = one.raster.pixels
    green = pixels[..., 1] if pixels.ndim == 3 else pixels
    plane = np.log(green.astype(np.float32) + 8.0)
    wide = _DETAIL * math.sqrt(one.limbus.a * one.limbus.b)
    fine = plane - cv2.GaussianBlur(plane, (0, 0), wide)
    strength = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 1.5 * wide) + 1e-4)
    return np.asarray(np.clip(fine / strength, -_CLIP, _CLIP), dtype=np.float32)


def _between(raster: Raster, ring: EllipsePx, inner: float, outer: float) -> BoolArray:
    v, u = np.indices((raster.height_px, raster.width_px), dtype=np.float32)
    angle = math.radians(ring.angle_deg)
    along = (u - ring.cx) * math.cos(angle) + (v - ring.cy) * math.sin(angle)
    across = (v - ring.cy) * math.cos(angle) - (u - ring.cx) * math.sin(angle)
    far = np.hypot(along / ring.a, across / ring.b)
    return np.asarray((far > inner) & (far < outer))


def _unrolled(plane: Float32Array, ring: EllipsePx) -> tuple[FloatArray, FloatArray]:
    """Detail on rings about the limbus, directions counter-clockwise, and what is inside."""
    theta = 2.0 * np.pi * np.arange(_COLUMNS) / _COLUMNS
    size = math.sqrt(ring.a * ring.b)
    radii = size * np.arange(_ROUGH_INNER, _OUTER, 0.006)[:, None]
    u, v = ring.cx + radii * np.cos(theta), ring.cy - radii * np.sin(theta)
    strip = cv2.remap(
        plane, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
    )  # fmt: skip
    height, width = plane.shape
    inside = (u > 1) & (v > 1) & (u < width - 2) & (v < height - 2)
    return strip.astype(np.float64) * inside, inside.astype(np.float64)


def _roll(
    first: tuple[Float32Array, Limb], now: tuple[Float32Array, Limb], about_deg: float
) -> float:
    """Turn of the second picture, degrees counter-clockwise."""
    alike = round_likeness(_unrolled(first[0], first[1].limbus), _unrolled(now[0], now[1].limbus))
    step = 360.0 / _COLUMNS
    turns = (np.arange(_COLUMNS) * step - about_deg + 180.0) % 360.0 - 180.0
    allowed = np.where(np.abs(turns) <= _MOST_ROLL_DEG, alike, -1.0)
    best = int(np.argmax(allowed))
    return float(turns[best]) + about_deg + step * peak_offset(alike, best)


def round_likeness(
    first: tuple[FloatArray, FloatArray], second: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """How alike are two strips for each turn of the second, over what both show?

    Parameters
    ----------
    first, second : (values, weights), each array (rows, n)
        Values without mean, 0 where the weight is 0.

    Returns
    -------
    array (n,)
        Correlation for a turn by k columns, scaled down where little is shared.

    Examples
    --------
    >>> values = np.random.default_rng(1).normal(size=(3, 64))
    >>> seen = np.ones((3, 64))
    >>> int(np.argmax(round_likeness((values, seen), (np.roll(values, 5, axis=1), seen))))
    5
    """
    (a, wa), (b, wb) = first, second
    n = a.shape[1]

    def turned(x: FloatArray, y: FloatArray) -> FloatArray:
        product = np.fft.rfft(y, axis=1) * np.conj(np.fft.rfft(x, axis=1))
        return np.asarray(np.fft.irfft(product, n, axis=1).sum(axis=0))

    power = np.maximum(turned(a * a, wb), 0.0) * np.maximum(turned(wa, b * b), 0.0)
    shared = turned(wa, wb) / max(float(min(wa.sum(), wb.sum())), 1.0)
    worth = np.clip(shared / 0.4, 0.0, 1.0)
    return np.asarray(turned(a, b) / np.sqrt(power + 1e-9) * worth)


def peak_offset(values: FloatArray, best: int) -> float:
    """By how much of a step does the peak of a closed row lie beside its highest value?

    Examples
    --------
    >>> peak_offset(np.array([0.0, 1.0, 1.0, 0.0]), 1)
    0.5
    """
    before, top, after = (float(values[(best + k) % len(values)]) for k in (-1, 0, 1))
    bend = before - 2.0 * top + after
    return 0.5 * (before - after) / bend if bend < 0.0 else 0.0


def _similarity(first: EllipsePx, now: EllipsePx, roll_deg: float) -> FloatArray:
    size = math.sqrt(now.a * now.b / (first.a * first.b))
    c, s = size * math.cos(math.radians(roll_deg)), size * math.sin(math.radians(roll_deg))
    # v points down: a counter-clockwise turn of the picture.
    turn = np.array([[c, s], [-s, c]])
    shift = np.array([now.cx, now.cy]) - turn @ np.array([first.cx, first.cy])
    return np.column_stack([turn, shift])


def _refined(
    detail: Float32Array, later: Float32Array, mask: BoolArray, start: FloatArray
) -> tuple[FloatArray, float] | None:
    small, other = (
        cv2.resize(one, None, fx=_SHRINK, fy=_SHRINK, interpolation=cv2.INTER_AREA)
        for one in (detail, later)
    )
    size = (other.shape[1], other.shape[0])
    held = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    # The middle of pixel (0, 0) of the small picture lies between four pixels of the large one.
    half = 0.5 * (1.0 / _SHRINK - 1.0)
    matrix = start.copy()
    matrix[:, 2] = _SHRINK * (start[:, 2] + start[:, :2] @ [half, half] - half)
    warp, likeness = matrix.astype(np.float32), 0.0
    for filter_px in (9, 5):
        try:
            likeness, warp = cv2.findTransformECC(
                small, other, warp, cv2.MOTION_AFFINE, _ROUNDS, held, filter_px
            )
        except cv2.error:
            return None
    matrix = warp.astype(np.float64)
    matrix[:, 2] = matrix[:, 2] / _SHRINK - matrix[:, :2] @ [half, half] + half
    return matrix, float(likeness)
