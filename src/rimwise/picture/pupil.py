"""The pupil's margin: a closed curve where the fundus glow (or its absence) meets the iris."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.medians import median
from rimwise.geometry.robust import tukey_weights
from rimwise.picture.paths import closed_path
from rimwise.picture.planes import Planes
from rimwise.picture.seeds import Seed, pupil_seeds
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    points_at,
    radial_means,
    smooth_along,
    unrolled,
)
from rimwise.terms.arrays import BoolArray, FloatArray

_COLUMNS = 360
_HARMONICS = 5  # a dilated pupil may be oval, pear-shaped or scalloped, but is smooth
_PASSES = (
    # inner and outer limit and half window as shares of the radius, smoothing in columns
    (0.72, 1.28, 0.07, 3.0),
    (0.88, 1.12, 0.03, 1.5),
    (0.95, 1.05, 0.012, 1.0),
)
_SEEN = 0.3  # of the mean step between pupil and iris
_GAP_TO_STEP = 0.06  # of the radius: what lies nearer to the margin belongs to neither side


@dataclass(frozen=True, slots=True)
class PupilMargin:
    """The margin of the pupil in working pixels.

    Parameters
    ----------
    centre_px : (float, float)
        Centre that the directions refer to.
    radii_px : array (360,)
        Smooth margin, directions counter-clockwise from picture right.
    seen : array (360,) of bool
        Where the margin was found, not bridged.
    residual_px : float
        Scatter of the found margin about the smooth one.
    """

    centre_px: tuple[float, float]
    radii_px: FloatArray
    seen: BoolArray
    residual_px: float

    @property
    def radius_px(self) -> float:
        """Mean radius."""
        return float(self.radii_px.mean())

    @property
    def curve_px(self) -> FloatArray:
        """Points (360, 2) of the smooth margin."""
        return points_at(self.centre_px, directions_rad(_COLUMNS), self.radii_px)


def find_pupil(planes: Planes) -> PupilMargin | None:
    """Where is the pupil's margin?

    Returns
    -------
    PupilMargin or None
        None where no round region stands out.

    Notes
    -----
    Own derivation: from the likeliest blob, three passes from coarse to fine; in each the colour
    direction that best separates inside from outside (Fisher 1936) is learnt from the picture
    itself, so that orange, brown, grey and white pupils are treated alike.
    """
    for seed in pupil_seeds(planes)[:3]:
        margin = _refine(planes, seed)
        if margin is not None and margin.seen.mean() > 0.5:
            return margin
    return None


def _refine(planes: Planes, seed: Seed) -> PupilMargin | None:
    centre = (seed.u_px, seed.v_px)
    base = np.full(_COLUMNS, seed.radius_px)
    theta = directions_rad(_COLUMNS)
    margin = None
    for number, limits in enumerate(_PASSES):
        margin = _one_pass(planes, centre, base, limits, first=number == 0)
        if margin is None:
            return None
        if number == 0:
            # Move the origin to the centre of what was found, so that radii stay even.
            shift_u = 2.0 * float(np.mean(margin.radii_px * np.cos(theta)))
            shift_v = -2.0 * float(np.mean(margin.radii_px * np.sin(theta)))
            base = margin.radii_px - shift_u * np.cos(theta) + shift_v * np.sin(theta)
            centre = (centre[0] + shift_u, centre[1] + shift_v)
        else:
            base = margin.radii_px
    return margin


def _one_pass(
    planes: Planes,
    centre: tuple[float, float],
    base: FloatArray,
    limits: tuple[float, float, float, float],
    first: bool,
) -> PupilMargin | None:
    low, high, window, smoothing = limits
    radius = float(base.mean())
    half = max(3, round(window * radius))
    offset = np.arange(
        int((low - 1.0) * radius) - half, int((high - 1.0) * radius) + half + 1, dtype=np.float64
    )
    radii = np.maximum(base[None, :] + offset[:, None], 1.0)
    log, glare = unrolled((planes.log_rgb, planes.glare), centre, radii)
    frame = inside_frame(planes.log_rgb.shape[:2], centre, radii) > 0
    usable = (glare < 0.05) & frame
    gap = _GAP_TO_STEP * radius if first else 0.01 * radius
    step = _step_strip(log.astype(np.float64), usable, offset, gap, half)
    if step is None:
        return None
    step = smooth_along(step, smoothing)
    step[:half] = step[-half:] = -_SEEN
    cost = np.where(frame, -step, 0.0)
    path = closed_path(cost, 3 if first else 1, 0.02)
    columns = np.arange(_COLUMNS)
    seen = (step[path, columns] > _SEEN) & frame[path, columns]
    if seen.sum() < _COLUMNS // 6:
        return None
    smooth, residual = _smooth_margin(base + offset[path], seen)
    return PupilMargin(centre, smooth, seen, residual)


def _step_strip(
    colours: FloatArray, usable: BoolArray, offset: FloatArray, gap: float, half: int
) -> FloatArray | None:
    """Return inside-minus-outside along the best colour direction, 1 = the mean step."""
    inside = colours[offset < -gap][usable[offset < -gap]]
    outside = colours[offset > gap][usable[offset > gap]]
    if len(inside) < 50 or len(outside) < 50:
        return None
    (inner, inner_scatter), (outer, outer_scatter) = _gathered(inside), _gathered(outside)
    scatter = inner_scatter + outer_scatter + 1e-3 * np.eye(3)
    direction = np.linalg.solve(scatter, inner - outer)
    direction /= np.linalg.norm(direction) + 1e-12
    spread = float(np.sqrt(direction @ scatter @ direction / 2.0))
    low, high = float(outer @ direction), float(inner @ direction)
    if high - low < 1e-6:
        return None
    level = np.clip(colours @ direction, low - 3.0 * spread, high + 3.0 * spread)
    inside_mean, outside_mean = radial_means(level, (-half, -1), (1, half))
    step = inside_mean - outside_mean
    return np.asarray(np.clip(step / (high - low), -_SEEN, 1.0))


def _gathered(colours: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of colours (n, 3), one colour after the other: quicker."""
    by_colour = np.ascontiguousarray(colours.T)
    middle = by_colour.mean(axis=1)
    by_colour -= middle[:, None]
    return middle, by_colour @ by_colour.T / (len(colours) - 1)


def _smooth_margin(radii: FloatArray, seen: BoolArray) -> tuple[FloatArray, float]:
    """Fit few harmonics robustly; hidden directions are bridged by the fit."""
    theta = directions_rad(_COLUMNS)
    waves = [f(k * theta) for k in range(1, _HARMONICS + 1) for f in (np.cos, np.sin)]
    basis = np.column_stack([np.ones(_COLUMNS), *waves])
    ridge = np.diag(np.r_[0.0, np.repeat(np.arange(1.0, _HARMONICS + 1.0) ** 2, 2)]) * 0.05
    weights = seen.astype(np.float64)
    fit, scale = radii, 1.0
    for _ in range(8):
        weighted = basis * weights[:, None]
        solution = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ radii)
        fit = basis @ solution
        residual = radii - fit
        scale = 1.4826 * median(np.abs(residual[seen])) + 0.3
        weights = seen * tukey_weights(residual, scale)
    return fit, scale
