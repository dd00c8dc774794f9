"""Rings in a frame: their edge, direction by direction, about where they are known to be."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.ellipse import fit_ellipse
from rimwise.picture.circles import Circle
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.paths import closed_path, peak_offset
from rimwise.picture.ring_outline import COLUMNS, BandSettings, outline_through
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    points_at,
    radial_mean,
    radius_about,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import BoolArray, FloatArray


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
    def middle_px(self) -> tuple[float, float]:
        """Middle of the area within, wherever the directions are counted from."""
        theta, cubes = directions_rad(COLUMNS), self.radii_px**3
        size = 1.5 * float((self.radii_px**2).sum())
        u, v = self.centre_px
        return (
            u + float((cubes * np.cos(theta)).sum()) / size,
            v - float((cubes * np.sin(theta)).sum()) / size,
        )

    @property
    def seen_deg(self) -> int:
        """On how many degrees was the edge found?"""
        return round(360 * float(self.seen.mean()))


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


def ring_through(planes: FramePlanes, curve_px: FloatArray, band: BandSettings) -> Ring | None:
    """Where does the edge run that was found all round, to within the band's reach?

    Parameters
    ----------
    planes : FramePlanes
    curve_px : array (n, 2)
        Points of the edge in order, half-size pixels.
    band : BandSettings

    Returns
    -------
    Ring or None
        None where no edge stands out.
    """
    oval = fit_ellipse(curve_px, compiled=planes.compiled).ellipse
    centre = oval.cx, oval.cy
    base = radius_about(curve_px, centre, directions_rad(COLUMNS))
    ring = _pass(planes, (centre, base), band, band.reach)
    return None if ring is None else in_working_pixels(ring)


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
