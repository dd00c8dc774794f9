"""Rings around one centre in a frame: coarse circles first, then the edge by direction."""

from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.paths import closed_path, peak_offset
from rimwise.picture.ring_outline import COLUMNS, BandSettings, outline_through
from rimwise.picture.ring_seeds import OPPONENTS
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    points_at,
    radial_mean,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import BoolArray, FloatArray

_COARSE_COLUMNS = 60
_SHIFTS = np.linspace(-0.08, 0.08, 5)  # of the radius
_CLIP = 3.0  # noise levels: what stands out more counts no more


@dataclass(frozen=True, slots=True)
class Circle:
    """A coarse ring in half-size pixels, with the share of its way on which an edge runs."""

    score: float
    u_px: float
    v_px: float
    radius_px: float


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring in working pixels, by direction counter-clockwise from picture right.

    Parameters
    ----------
    centre_px : (float, float)
        Centre that the directions refer to.
    radii_px : array (COLUMNS,)
        Smooth outline.
    seen : array (COLUMNS,) of bool
        Where the edge was found, not bridged.
    residual_px : float
        Scatter of the found edge about the outline.
    centre_sd_px : float
        Standard deviation of each coordinate of the centre.
    inner, outer : tuple of 3 floats
        Mean logarithms of red, green, blue beside the edge.
    """

    centre_px: tuple[float, float]
    radii_px: FloatArray
    seen: BoolArray
    residual_px: float
    centre_sd_px: float
    inner: tuple[float, float, float]
    outer: tuple[float, float, float]

    @property
    def radius_px(self) -> float:
        """Mean radius."""
        return float(self.radii_px.mean())

    @property
    def curve_px(self) -> FloatArray:
        """Points (COLUMNS, 2) of the outline."""
        return points_at(self.centre_px, directions_rad(COLUMNS), self.radii_px)

    @property
    def seen_deg(self) -> int:
        """On how many degrees was the edge found?"""
        return round(360 * float(self.seen.mean()))


def circles_about(
    planes: FramePlanes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    width_px: float,
) -> list[Circle]:
    """How much of a ring runs at each of these radii around about this centre?

    Parameters
    ----------
    planes : FramePlanes
    centre_px : (float, float)
        Half-size pixels.
    radii_px : array (n,)
        Half-size pixels, ascending evenly.
    width_px : float
        Width of the strips that are compared inside and outside.

    Returns
    -------
    list of Circle
        One a radius, centre shifted to where most of the ring is.
    """
    strips, rows = _clipped_steps(planes, centre_px, radii_px, width_px)
    theta = directions_rad(_COARSE_COLUMNS)
    spacing = float(radii_px[1] - radii_px[0])
    waves = np.stack([np.cos(theta), np.sin(theta)])
    moves = np.array([(a, b) for a in _SHIFTS for b in _SHIFTS])
    if planes.compiled:
        from rimwise.picture.compiled_rings import circle_scores  # noqa: PLC0415 - half a second

        score = circle_scores(strips, radii_px, moves, (float(rows[0]), spacing))
    else:
        score = _scores(strips, radii_px[:, None] * (1.0 + (moves @ waves)[:, None]), rows)
    chosen = score.argmax(axis=0)
    best = score[chosen, np.arange(len(radii_px))]
    shift = moves[chosen] * np.array([1.0, -1.0]) * radii_px[:, None]
    return [
        Circle(float(s), centre_px[0] + float(du), centre_px[1] + float(dv), float(r))
        for s, (du, dv), r in zip(best, shift, radii_px, strict=True)
    ]


def peaks(circles: list[Circle]) -> list[Circle]:
    """Which circles have a larger score than their neighbours on either side?

    Examples
    --------
    >>> found = peaks([Circle(s, 0.0, 0.0, r) for r, s in enumerate((0.1, 0.5, 0.2, 0.1))])
    >>> [one.radius_px for one in found]
    [1]
    """
    score = np.array([one.score for one in circles])
    padded = np.pad(score, 2, constant_values=-1.0)
    near = np.max([padded[k : k + len(score)] for k in (0, 1, 3, 4)], axis=0)
    return [one for one, s, n in zip(circles, score, near, strict=True) if s >= n]


def _scores(strips: FloatArray, moved: FloatArray, rows: FloatArray) -> FloatArray:
    """Return the share of each moved circle, (moves, radii, columns), on which an edge runs."""
    index = np.clip((moved - rows[0]) / (rows[1] - rows[0]) + 0.5, 0, len(rows) - 1)
    flat = index.astype(np.intp) * _COARSE_COLUMNS + np.arange(_COARSE_COLUMNS)
    score = np.zeros(flat.shape[:2])
    for strip in np.moveaxis(strips, -1, 0).reshape(3, -1):
        score += np.abs(strip[flat].sum(axis=2)) / _COARSE_COLUMNS
    return score


def _clipped_steps(
    planes: FramePlanes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    width_px: float,
) -> tuple[FloatArray, FloatArray]:
    """Return steps, (rows, columns, 3), of brightness and colours, in clipped noise levels."""
    spacing = float(radii_px[1] - radii_px[0])
    rows = np.arange(0.8 * radii_px[0], 1.2 * radii_px[-1] + spacing, spacing)
    grid = np.repeat(rows[:, None], _COARSE_COLUMNS, axis=1)
    colours = unroll(planes.log_half, centre_px, grid).astype(np.float32)
    usable = inside_frame(planes.log_half.shape[:2], centre_px, grid)
    usable *= unroll(planes.glare_half, centre_px, grid) < 0.05
    width = max(2, round(width_px / spacing))
    # All three side by side, so that each is worked out in one go.
    level = smooth_along(cv2.transform(colours, OPPONENTS), 0.7).reshape(len(rows), -1)
    step = radial_mean(level, 1, width) - radial_mean(level, -width, -1)
    step = step.reshape(*grid.shape, 3)
    noise = np.ones(3)
    if usable.any():
        noise = 1.4826 * np.median(np.abs(step[usable > 0]), axis=0)
    return np.clip(step / (noise + 1e-3), -_CLIP, _CLIP) / _CLIP * usable[..., None], rows


def ring_near(planes: FramePlanes, circle: Circle, band: BandSettings) -> Ring | None:
    """Where does the ring's edge run, direction by direction?

    Parameters
    ----------
    planes : FramePlanes
    circle : Circle
        About where it is, half-size pixels.
    band : BandSettings

    Returns
    -------
    Ring or None
        None where no edge stands out.

    Notes
    -----
    Own derivation: the colour direction that best parts inside from outside (Fisher 1936) is
    learnt from the frame itself; the closed path of greatest clipped step is the edge.
    """
    centre, base = (circle.u_px, circle.v_px), np.full(COLUMNS, circle.radius_px)
    ring = None
    reach = band.reach
    for turn in range(2):
        ring = _pass(planes, (centre, base), band, reach)
        if ring is None:
            return None
        if turn == 0:
            centre, base = _recentred(centre, ring.radii_px)
            reach = 0.5 * reach
    return None if ring is None else in_working_pixels(ring)


def ring_again(planes: FramePlanes, last: Ring, band: BandSettings) -> Ring | None:
    """Where is a ring's edge now that was about here, and so shaped, a moment ago?

    One narrow pass does where the outline is known already and has not left it, else two as in
    :func:`ring_near`.

    Parameters
    ----------
    planes : FramePlanes
    last : Ring
    band : BandSettings

    Returns
    -------
    Ring or None
        None where no edge stands out.
    """
    u, v = last.centre_px
    centre, base = _recentred((0.5 * u - 0.25, 0.5 * v - 0.25), 0.5 * last.radii_px)
    radius, reach = float(base.mean()), 0.5 * band.reach
    ring = _pass(planes, (centre, base), band, reach)
    if ring is None or float(np.abs(ring.radii_px - base).max()) > _WELL_INSIDE * reach * radius:
        return ring_near(planes, Circle(0.0, *centre, radius), band)
    return in_working_pixels(ring)


_WELL_INSIDE = 0.7  # of the reach: an outline that comes nearer to its limit may run beyond


def _recentred(
    centre: tuple[float, float], radii: FloatArray
) -> tuple[tuple[float, float], FloatArray]:
    """Move the origin to the middle of the outline, so that radii stay even."""
    theta = directions_rad(COLUMNS)
    a, b = 2.0 * np.mean(radii * np.cos(theta)), 2.0 * np.mean(radii * np.sin(theta))
    moved = (centre[0] + float(a), centre[1] - float(b))
    return moved, radii - a * np.cos(theta) - b * np.sin(theta)


def in_working_pixels(ring: Ring) -> Ring:
    """Return a ring of half-size pixels in working pixels.

    Examples
    --------
    >>> seen, level = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> ring = Ring((10.0, 20.0), np.full(180, 5.0), seen, 0.3, 0.1, level, level)
    >>> in_working_pixels(ring).centre_px, in_working_pixels(ring).radius_px
    ((20.5, 40.5), 10.0)
    """
    u, v = ring.centre_px
    centre = (2.0 * u + 0.5, 2.0 * v + 0.5)
    return Ring(centre, 2.0 * ring.radii_px, ring.seen, 2.0 * ring.residual_px,
                2.0 * ring.centre_sd_px, ring.inner, ring.outer)  # fmt: skip


def _pass(
    planes: FramePlanes,
    start: tuple[tuple[float, float], FloatArray],
    band: BandSettings,
    reach: float,
) -> Ring | None:
    centre, base = start
    radius = float(base.mean())
    half = max(3, round(band.window * radius))
    offset = np.arange(-round(reach * radius) - half, round(reach * radius) + half + 1.0)
    told = _steps(planes, start, offset, (band.gap * radius, half))
    if told is None:
        return None
    step, frame, usable, sides = told
    step = smooth_along(step, 1.5)
    step[:half] = step[-half:] = -_LEAST_STEP
    cost = np.where(frame, -step, 0.0)
    path = closed_path(cost, 1, 0.03, planes.compiled or None)
    columns = np.arange(COLUMNS)
    seen = (step[path, columns] > _LEAST_STEP) & usable[path, columns]
    if seen.sum() < COLUMNS // 6:
        return None
    fine = np.clip(peak_offset(step, path), -1.0, 1.0)
    found = base + offset[path] + fine
    smooth, residual, sd = outline_through(found, seen, band, planes.compiled)
    return Ring(centre, smooth, seen, residual, sd, sides.inner, sides.outer)


_Steps = tuple[FloatArray, BoolArray, BoolArray, "_Sides"]


def _steps(
    planes: FramePlanes,
    start: tuple[tuple[float, float], FloatArray],
    offset: FloatArray,
    gap_half: tuple[float, int],
) -> _Steps | None:
    """Return inside-less-outside at each offset from the ring, and what lies in the frame."""
    if planes.compiled:
        return _steps_compiled(planes, start, offset, gap_half)
    centre, base = start
    radii = np.maximum(base[None, :] + offset[:, None], 1.0)
    colours = unroll(planes.log_half, centre, radii)
    frame = inside_frame(planes.log_half.shape[:2], centre, radii) > 0
    usable = frame & (unroll(planes.glare_half, centre, radii) < 0.05)
    sides = _sides(colours, usable, offset, gap_half[0])
    if sides is None:
        return None
    return sides.step_of(colours, gap_half[1]), frame, usable, sides


def _steps_compiled(
    planes: FramePlanes,
    start: tuple[tuple[float, float], FloatArray],
    offset: FloatArray,
    gap_half: tuple[float, int],
) -> _Steps | None:
    from rimwise.picture import compiled_rings as fast  # noqa: PLC0415 - half a second

    pictures = planes.log_half, planes.glare_half[..., None]
    seen = fast.Samples(*fast.unrolled(pictures, *start, offset, gap_half[0]))
    if seen.counts.min() < _LEAST_SAMPLES:
        return None
    sides = _parted(seen.middles[0], seen.middles[1], seen.scatter)
    if sides is None:
        return None
    low, high = sides.levels
    limits = low - 3.0 * sides.spread, high + 3.0 * sides.spread
    step = fast.steps(seen.colours, sides.direction, limits, gap_half[1]) / (high - low)
    return np.clip(step, -_LEAST_STEP, 1.0), seen.frame, seen.usable, sides


_LEAST_SAMPLES = 50
_LEAST_STEP = 0.3  # of the mean step between the two sides


@dataclass(frozen=True, slots=True)
class _Sides:
    inner: tuple[float, float, float]
    outer: tuple[float, float, float]
    direction: FloatArray
    spread: float

    @property
    def levels(self) -> tuple[float, float]:
        """Outside and inside along the direction."""
        low, high = np.array([self.outer, self.inner]) @ self.direction
        return float(low), float(high)

    def step_of(self, colours: FloatArray, half: int) -> FloatArray:
        """Return inside-less-outside along the direction, 1 = the mean step, clipped."""
        low, high = self.levels
        level = np.clip(colours @ self.direction, low - 3.0 * self.spread, high + 3.0 * self.spread)
        step = radial_mean(level, -half, -1) - radial_mean(level, 1, half)
        return np.asarray(np.clip(step / (high - low), -_LEAST_STEP, 1.0))


def _sides(colours: FloatArray, usable: BoolArray, offset: FloatArray, gap: float) -> _Sides | None:
    # Every second direction is asked: neighbours say the same.
    inside, outside = colours[offset < -gap, ::2], colours[offset > gap, ::2]
    inside, outside = inside[usable[offset < -gap, ::2]], outside[usable[offset > gap, ::2]]
    if min(len(inside), len(outside)) < _LEAST_SAMPLES:
        return None
    inner, outer = np.median(inside, axis=0), np.median(outside, axis=0)
    return _parted(inner, outer, _robust_cov(inside, inner) + _robust_cov(outside, outer))


def _parted(inner: FloatArray, outer: FloatArray, scatter: FloatArray) -> _Sides | None:
    """Return what parts two sides of these middles and this scatter best."""
    scatter = scatter + 1e-3 * np.eye(3)
    direction = np.linalg.solve(scatter, inner - outer)
    length = float(np.linalg.norm(direction))
    if length < 1e-9:
        return None
    direction /= length
    spread = float(np.sqrt(direction @ scatter @ direction / 2.0))
    return _Sides(_triple(inner), _triple(outer), np.asarray(direction, np.float64), spread)


def _robust_cov(samples: FloatArray, middle: FloatArray) -> FloatArray:
    """Return the covariance of the nearer half of the samples: instruments lie far off."""
    left = samples - middle
    far = np.abs(left).sum(axis=1)
    near = left[far <= np.median(far)]
    return np.asarray(2.0 * near.T @ near / max(len(near), 1))


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
