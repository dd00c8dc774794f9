"""The marks of a toric implant: a few dots near the rim, again on the far side of the centre."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array, Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.strip import directions_rad, inside_frame, points_at, radius_about, unroll
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class MarkSettings:
    """Settings of the search for marks, lengths in rim radii, with reasons.

    Parameters
    ----------
    inner, outer, step : float
        Where marks are laid on an optic: its outer third, clear of the rim's bevel.
    sizes : tuple of float
        Widths (sd) of the dots: 0.06 to 0.2 mm across on an optic of 6 mm.
    spacing : tuple of float
        Least and largest distance from dot to dot.
    clip : float
        Noise levels beyond which a dot counts no more, so that one bubble is no set of marks.
    slack : float
        How far two ends may depart from symmetry about the rim's centre: perspective and tilt
        move the true centre against the ellipse's by a hundredth of the radius.
    least : float
        Mean strength of all dots, in noise levels, below which no axis is told.
    lead : float
        How much stronger the best set must be than any set elsewhere.
    uneven : float
        How far apart the middles between facing dots may lie. One implant's ends are each other's
        image through its centre, so that all facing dots have one middle, wherever the rim's is; a
        dot is placed to 0.003 and two middles apart by 0.003 (sd), those of texture anyhow.
    merged : float
        Share of their spacing below which two dots have settled on one spot.
    """

    inner: float = 0.66
    outer: float = 0.955
    step: float = 0.01
    sizes: tuple[float, ...] = (0.011, 0.017, 0.025)
    spacing: tuple[float, float] = (0.055, 0.125)
    clip: float = 9.0
    slack: float = 0.014
    least: float = 4.0
    lead: float = 1.25
    uneven: float = 0.010
    merged: float = 0.6


SETTINGS = MarkSettings()
LEAST_MARKS = 2  # at each end: two specks of dust that face each other pass for one dot an end
_WEAK = 1.0
_LEAST_SHOWN = 0.6
_APART_COLUMNS = COLUMNS // 60  # 6°: sets nearer than this share dots


@dataclass(frozen=True, slots=True)
class Marks:
    """Dots of one end and of the other, working pixels.

    Parameters
    ----------
    first_px, second_px : array (n, 2)
        Dots in the same order from both ends.
    strength : float
        Mean strength in noise levels.
    lead : float
        Strength against the strongest set elsewhere.
    """

    first_px: FloatArray
    second_px: FloatArray
    strength: float
    lead: float


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where the dots of an end lie from its first: along the radius or along the rim."""

    along_radius: bool
    spacing: float


def find_marks(planes: Planes, pupil: PupilMargin, rim: Rim, per_end: int) -> Marks | None:
    """Where are the marks of this implant?

    Parameters
    ----------
    planes, pupil, rim
        What the picture shows; the marks lie inside the rim.
    per_end : int
        Dots at each end, as the sheet says, two or more.

    Returns
    -------
    Marks or None
        None where no set of dots, equal at both ends, stands out clearly.

    Notes
    -----
    Own derivation. A dot bends brightness alike in both directions, a fold, an edge or the rim in
    one only: the smaller principal curvature of the smoothed picture tells them apart. Sets of
    ``per_end`` equally spaced dots, dark or bright, along the radius or along the rim, are summed
    with the set opposite; the best is taken if it stands clear of every other set.
    """
    best: tuple[float, float, Float32Array, _Layout, tuple[int, int]] | None = None
    usable = _usable(planes, pupil, rim)
    brightness, origin = _around(planes.log_mean, rim)
    rim = replace(rim, centre_px=(rim.centre_px[0] - origin[0], rim.centre_px[1] - origin[1]))
    shown = _facing(usable)
    layouts = [(layout, _sight(shown, layout, per_end)) for layout in _layouts()]
    for size in SETTINGS.sizes:
        for plane in _dots(brightness, rim, size):
            facing = _facing(np.log1p(_strip(plane, rim)) * usable)
            for layout, sight in layouts:
                level = _set_levels(facing, sight, layout, per_end)
                row, column = np.unravel_index(int(level.argmax()), level.shape)
                peak = float(np.expm1(level[row, column]))
                if best is None or peak > best[0]:
                    lead = peak / max(_elsewhere(level, int(column)), 1e-6)
                    best = (peak, lead, plane, layout, (int(row), int(column)))
    if best is None or best[0] < SETTINGS.least or best[1] < SETTINGS.lead:
        return None
    peak, lead, plane, layout, place = best
    ends = [_settled(plane, _end(rim, layout, per_end, place, turn), rim) for turn in (0, 1)]
    kept = _in_sight(usable, layout, per_end, place) & _one_middle(ends, rim)
    first, second = (end[kept] for end in ends)
    if not _are_set(first, second, layout.spacing * rim.radius_px):
        return None
    return Marks(first + origin, second + origin, peak, lead)


def _around(plane: Float32Array, rim: Rim) -> tuple[Float32Array, IntArray]:
    """Return the part of a plane that the dots' response needs, and its first pixel (u, v)."""
    # A dot settles within 0.06 of the outermost row; the widest blur reaches 4 sd.
    reach = (SETTINGS.outer + 0.06 + 4.0 * max(SETTINGS.sizes)) * float(rim.radii_px.max()) + 4.0
    low = np.maximum(np.floor(np.array(rim.centre_px) - reach), 0.0).astype(np.int64)
    high = np.ceil(np.array(rim.centre_px) + reach).astype(np.int64)
    return np.ascontiguousarray(plane[low[1] : high[1], low[0] : high[0]]), low


def _layouts() -> list[_Layout]:
    low, high = SETTINGS.spacing
    spacings = np.arange(low, high + 1e-9, SETTINGS.step)
    return [_Layout(way, float(spacing)) for way in (True, False) for spacing in spacings]


def _rows() -> FloatArray:
    return np.arange(SETTINGS.inner, SETTINGS.outer + 1e-9, SETTINGS.step)


def _facing(strip: FloatArray) -> FloatArray:
    """Return each sample with the one opposite, (rows, 720 + 360).

    Once round and half a turn more, so that a turned strip is a part of it.
    """
    half = COLUMNS // 2
    both = strip + np.roll(strip, half, axis=1)
    return np.hstack([both, both[:, :half]])


def _usable(planes: Planes, pupil: PupilMargin, rim: Rim) -> FloatArray:
    radii = _rows()[:, None] * rim.radii_px[None, :]
    margin = radius_about(pupil.curve_px, rim.centre_px, directions_rad(COLUMNS))
    clear = radii < margin[None, :] - 0.03 * rim.radius_px
    dull = unroll(planes.glare, rim.centre_px, radii) < 0.05
    inside = inside_frame(planes.log_rgb.shape[:2], rim.centre_px, radii) > 0
    return np.asarray(clear & dull & inside, dtype=np.float64)


def _dots(brightness: Float32Array, rim: Rim, size: float) -> tuple[Float32Array, Float32Array]:
    """Return how dot-like each pixel is, dark and bright, by the smaller principal curvature."""
    sd_px = size * rim.radius_px
    smooth = cv2.GaussianBlur(brightness, (0, 0), sd_px)
    uu = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3, scale=0.25)
    vv = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3, scale=0.25)
    uv = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3, scale=0.25)
    spread = cv2.magnitude(0.5 * (uu - vv), uv)
    mean = cv2.addWeighted(uu, 0.5, vv, 0.5, 0.0)
    scale = np.float32(sd_px**2)
    dark, bright = (mean - spread) * scale, (-mean - spread) * scale
    return np.maximum(dark, 0.0, out=dark), np.maximum(bright, 0.0, out=bright)


def _strip(plane: Float32Array, rim: Rim) -> FloatArray:
    """Unroll in shares of the rim's own radius: an ellipse becomes a circle; noise levels."""
    strip = unroll(plane, rim.centre_px, _rows()[:, None] * rim.radii_px[None, :])
    positive = strip[strip > 0]
    noise = float(np.quantile(positive, 0.75)) if positive.size else 1.0
    slack = round(SETTINGS.slack / SETTINGS.step)
    across = round(SETTINGS.slack * COLUMNS / (2.0 * np.pi))
    closed = np.hstack([strip[:, -across:], strip, strip[:, :across]])
    kernel = np.ones((2 * slack + 1, 2 * across + 1), dtype=np.uint8)
    reached = cv2.dilate(np.ascontiguousarray(closed), kernel)[:, across : across + COLUMNS]
    return np.asarray(np.clip(reached / (noise + 1e-9), 0.0, SETTINGS.clip))


def _offsets(layout: _Layout, per_end: int) -> tuple[IntArray, FloatArray]:
    """Rows and shares of a radian from the first dot to each dot."""
    steps = np.arange(per_end)
    if layout.along_radius:
        rows = np.round(steps * layout.spacing / SETTINGS.step).astype(np.int64)
        return rows, np.zeros(per_end)
    shares = steps * layout.spacing / 0.5 / (SETTINGS.inner + SETTINGS.outer)
    return np.zeros(per_end, dtype=np.int64), np.asarray(shares, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Sight:
    """What of each set is in sight: what its hidden dots add, their number, and whether enough."""

    hidden: FloatArray
    count: FloatArray
    enough: BoolArray


def _sight(shown: FloatArray, layout: _Layout, per_end: int) -> _Sight:
    """Return what is in sight of the set that starts at each sample, with the one opposite.

    Hidden dots are left out, but count as half a weak one.
    """
    count = _summed(shown, layout, per_end)
    hidden = 0.5 * (2.0 * per_end - count)
    return _Sight(hidden * np.log1p(_WEAK), count + hidden, count >= _LEAST_SHOWN * 2.0 * per_end)


def _summed(facing: FloatArray, layout: _Layout, per_end: int) -> FloatArray:
    """Return the sum over the dots of the set that starts at each sample."""
    total = np.zeros((len(facing), COLUMNS))
    for down, turn in zip(*_offsets(layout, per_end), strict=True):
        columns = round(float(turn) * COLUMNS / (2.0 * np.pi))
        kept = len(total) - down
        total[:kept] += facing[down:, columns : columns + COLUMNS]
    return total


def _set_levels(facing: FloatArray, sight: _Sight, layout: _Layout, per_end: int) -> FloatArray:
    """Return how strong the set is that starts at each sample, with the one opposite; logarithm.

    A mean of logarithms of one more than each strength: dots of one set are alike, so that a set
    with one dot missing is worth less than one with all of them faint.
    """
    level = _summed(facing, layout, per_end)
    down = _offsets(layout, per_end)[0][-1]
    level[len(level) - down :] = 0.0
    level += sight.hidden
    level /= sight.count
    level *= sight.enough
    return level


def _elsewhere(level: FloatArray, column: int) -> float:
    """Return the strongest set whose axis is another one."""
    half = COLUMNS // 2
    apart = np.abs((np.arange(COLUMNS) - column + half // 2) % half - half // 2)
    return float(np.expm1(level[:, apart > _APART_COLUMNS].max()))


def _end(rim: Rim, layout: _Layout, per_end: int, place: tuple[int, int], turn: int) -> FloatArray:
    """Return the expected places of the dots of one end, working pixels."""
    down, across = _offsets(layout, per_end)
    share = SETTINGS.inner + (place[0] + down) * SETTINGS.step
    theta = (place[1] / COLUMNS + 0.5 * turn) * 2.0 * np.pi + across
    column = theta * COLUMNS / (2.0 * np.pi)
    radius = np.interp(column, np.arange(COLUMNS), rim.radii_px, period=COLUMNS)
    return points_at(rim.centre_px, theta, share * radius)


def _in_sight(
    usable: FloatArray, layout: _Layout, per_end: int, place: tuple[int, int]
) -> BoolArray:
    """Return which dots are in sight at both ends; the response to others is that of a margin."""
    down, across = _offsets(layout, per_end)
    rows = np.minimum(place[0] + down, len(usable) - 1)
    columns = place[1] + np.round(across * COLUMNS / (2.0 * np.pi)).astype(np.int64)
    facing = columns + COLUMNS // 2
    return np.asarray(usable[rows, columns % COLUMNS] * usable[rows, facing % COLUMNS] > 0.0)


def _one_middle(ends: list[FloatArray], rim: Rim) -> BoolArray:
    """Return the dots whose middles with the facing ones agree with most others."""
    middle = 0.5 * (ends[0] + ends[1])
    apart = np.hypot(*np.moveaxis(middle[:, None] - middle[None, :], -1, 0))
    near = apart < SETTINGS.uneven * rim.radius_px
    return np.asarray(near[int(near.sum(axis=1).argmax())])


def _are_set(first: FloatArray, second: FloatArray, spacing_px: float) -> bool:
    """Return whether these are two dots an end at least, and apart from each other."""
    if len(first) < LEAST_MARKS:
        return False
    steps = np.concatenate([np.diff(first, axis=0), np.diff(second, axis=0)])
    return bool((np.hypot(*steps.T) > SETTINGS.merged * spacing_px).all())


def _settled(plane: Float32Array, points: FloatArray, rim: Rim) -> FloatArray:
    """Move each dot to the centre of gravity of its response, twice."""
    reach = max(3, round(0.032 * rim.radius_px))
    grid = np.arange(-reach, reach + 1, dtype=np.float32)
    du, dv = np.meshgrid(grid, grid)
    for width in (0.024, 0.018, 0.018):
        window = np.exp(-0.5 * (du**2 + dv**2) / (width * rim.radius_px) ** 2)
        moved = []
        for u, v in points:
            map_u, map_v = (du + u).astype(np.float32), (dv + v).astype(np.float32)
            patch = cv2.remap(plane, map_u, map_v, cv2.INTER_LINEAR) * window
            weight = float(patch.sum()) + 1e-9
            moved.append((u + float((patch * du).sum()) / weight,
                          v + float((patch * dv).sum()) / weight))  # fmt: skip
        points = np.array(moved)
    return points
