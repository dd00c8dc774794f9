"""Which bright spots are which reflex? Lamp pattern, size, brightness and place decide together."""

import math
from dataclasses import replace
from itertools import product
from typing import NamedTuple

import cv2
import numpy as np

from rimwise.align.expect import Expected
from rimwise.align.settling import Found, refined
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.patterns import Prior, Wanted, nearby, pattern_places
from rimwise.picture.planes import Float32Array
from rimwise.picture.spots import SpotMap, dark_ring, spot_places, stands_out
from rimwise.records.eye import ReflexName
from rimwise.terms.arrays import FloatArray

Told = dict[ReflexName, Found]
Choices = dict[ReflexName, list[Found | None]]

_WHITE_OVER = 70.0  # grey: a plain reflex of a lamp rises so much over what lies around it
_LARGEST_MM = 0.22  # radius of a lamp's plain reflex: the image of a lamp 20 mm wide
_HALF = 8.0  # noise levels: where plainness begins to count by its logarithm
_ALIKE_MM = 0.10  # two patterns nearer than this are one


def find_p1(
    spots: SpotMap, awaited: Expected, scale: tuple[float, float], planes: FramePlanes
) -> Found | None:
    """Where are the lamps' plain reflexes in the cornea's front?

    Parameters
    ----------
    spots : SpotMap
    awaited : Expected
        P1 of a straight eye, with the spread that gaze leaves open.
    scale : (float, float)
        Working pixels to the millimetre, and its relative sd.
    planes : FramePlanes

    Returns
    -------
    Found or None
        None where no pattern of white spots stands where a cornea may show it.
    """
    px_per_mm, scale_sd = scale
    place = planes.working(awaited.place_px)
    offsets = awaited.offsets_px * planes.factor
    every = 2 if px_per_mm > _LARGE_PX_PER_MM else 1
    rise = _white_rise(spots, px_per_mm, every)
    # Squared: P1 is the brightest of all, and gaze may be far off.
    prior: Prior = (_thinned(place, spots, every), awaited.sd_px * planes.factor / every, 2)
    near = nearby(rise, 1e4, 1)
    best: tuple[float, FloatArray, float] | None = None
    for size in _sizes((math.hypot(awaited.size_sd[0], scale_sd),) * 2, len(offsets), 0.03):
        pattern, wanted = size / every * offsets, Wanted(1, 1.0, 2 // every)
        for u, v, _, worth in pattern_places(near, pattern, prior, wanted, spots.compiled):
            if best is None or worth > best[0]:
                best = (worth, np.array([u, v]), float(size))
    if best is None or best[0] <= 0.0:
        return None
    _, middle, size = best
    guess = every * middle + 0.5 * (every - 1) + np.array(spots.corner_px) + offsets * size
    if _least_at(rise, _thinned(guess, spots, every)) < _WHITE_OVER:
        return None
    radius = _spot_radius(spots, guess, px_per_mm)
    points = spot_places(spots, guess, radius, saturated=True)
    if not stands_out(spots, points, radius):
        return None
    return _checked(points, offsets, (place, awaited.sd_px * planes.factor), (spots, radius))


def _checked(
    points: FloatArray,
    offsets: FloatArray,
    prior: tuple[FloatArray, float],
    of: tuple[SpotMap, float],
) -> Found | None:
    """Refuse points that do not stand as the lamps do: a cornea that is indented or irregular."""
    middle = points.mean(axis=0)
    spread = float((offsets**2).sum())
    size = float(((points - middle) * offsets).sum()) / spread if spread > 0.0 else 1.0
    left = points - middle - size * offsets
    length = math.sqrt(spread / len(offsets))
    if length > 0.0 and float(np.abs(left).max()) > max(2.5, 0.15 * length):
        return None
    place, sd = prior
    spots, radius = of
    off = float(np.hypot(*(middle - place))) / sd
    level = float(spots.at(points).min())
    return Found(points, level, size, radius, off, level)


_LARGE_PX_PER_MM = 45.0  # from here on a lamp's reflex is wide enough for every second pixel


def _white_rise(spots: SpotMap, px_per_mm: float, every: int) -> Float32Array:
    """Return how white it is over the ground, smoothed, on one pixel in so many each way."""
    rows, columns = (size // every for size in spots.white.shape)
    white = spots.white[: every * rows, : every * columns]
    if every > 1:
        white = np.asarray(cv2.resize(white, (columns, rows), interpolation=cv2.INTER_AREA))
    smooth = cv2.GaussianBlur(white, (0, 0), max(0.7, 0.03 * px_per_mm) / every)
    return np.asarray(np.maximum(smooth - np.float32(spots.ground_grey), 0.0), dtype=np.float32)


def _thinned(points_px: FloatArray, spots: SpotMap, every: int) -> FloatArray:
    """Return working points in thinned out pixels of a map."""
    return np.asarray((points_px - np.array(spots.corner_px) + 0.5) / every - 0.5)


def _sizes(spread: tuple[float, float], lamps: int, step: float) -> FloatArray:
    """Which relative sizes are worth trying? One, where a single lamp shows none."""
    if lamps < 2:
        return np.array([1.0])
    down, up = (math.ceil(2.0 * one / step) for one in spread)
    return np.asarray(np.exp(step * np.arange(-max(1, down), max(1, up) + 1)))


def _least_at(plane: Float32Array, local: FloatArray) -> float:
    at = local.astype(np.float32)
    return float(cv2.remap(plane, at[:, 0], at[:, 1], cv2.INTER_LINEAR).min())


def _spot_radius(spots: SpotMap, guess: FloatArray, px_per_mm: float) -> float:
    """How large are the white spots? From the area that belongs to each."""
    local = guess - np.array(spots.corner_px)
    reach = int(_LARGEST_MM * px_per_mm) + 2
    radii = []
    for u, v in local:
        left, top = max(0, round(u) - reach), max(0, round(v) - reach)
        part = spots.white[top : round(v) + reach + 1, left : round(u) + reach + 1]
        rows, columns = np.indices(part.shape)
        far = np.hypot(
            columns + left - local[:, 0, None, None], rows + top - local[:, 1, None, None]
        )
        mine = np.hypot(columns + left - u, rows + top - v) <= far.min(axis=0)
        high, low = float(part.max(initial=0.0)), float(np.median(part)) if part.size else 0.0
        radii.append(math.sqrt(float((mine & (part > 0.5 * (high + low))).sum()) / math.pi))
    return float(np.clip(np.median(radii), 1.5, _LARGEST_MM * px_per_mm))


def candidates(
    spots: SpotMap, awaited: Expected, planes: FramePlanes, scale: tuple[float, float]
) -> list[Found]:
    """Where could this fainter reflex be, likeliest first?

    Parameters
    ----------
    spots : SpotMap
        Without the plain reflexes that were told before.
    awaited : Expected
    planes : FramePlanes
    scale : (float, float)
        Working pixels to the millimetre, and radius of a spot in working pixels.
    """
    px_per_mm, radius = scale
    place, sd = planes.working(awaited.place_px), awaited.sd_px * planes.factor
    offsets = awaited.offsets_px * planes.factor
    corner, part = _crop(spots, place, 3.0 * sd + float(np.abs(offsets).max(initial=0.0)) * 1.5)
    if min(part.shape) < 8:
        return []
    prior: Prior = (place - corner, _BROAD * sd, 1)
    near = nearby(part, _HALF, 1)
    ways: list[_Way] = []
    wanted = Wanted(3, _ALIKE_MM * px_per_mm)
    step, middle = 0.06 if max(awaited.size_sd) < _WIDE else 0.10, offsets.mean(axis=0)
    for size in _sizes(awaited.size_sd, len(offsets), step).tolist():
        spread = awaited.size_sd[0] if size < 1.0 else awaited.size_sd[1]
        fit = math.exp(-0.5 * (math.log(size) / (_BROAD * spread)) ** 2)
        x, y = (float(one) for one in corner + size * middle)
        places = pattern_places(near, offsets * size, prior, wanted, spots.compiled)
        for u, v, level, worth in places:
            if worth * fit <= 1.0:
                break
            ways.append(_Way(worth * fit, level, size, u + x, v + y))
    ways.sort(key=lambda way: -way.worth)
    kept = [ways[k] for k in _distinct([(w.u, w.v) for w in ways], _ALIKE_MM * px_per_mm)]
    return [
        Found(
            np.array([one.u, one.v]) + one.size * (offsets - middle),
            one.level,
            one.size,
            radius,
            math.hypot(one.u - float(place[0]), one.v - float(place[1])) / sd,
            one.worth,
        )
        for one in kept
    ]


class _Way(NamedTuple):
    """How a pattern may stand: its size, and the mean of its spots."""

    worth: float
    level: float
    size: float
    u: float
    v: float


_WIDE = 0.3  # spread of sizes from which coarser steps have to do
_BROAD = 1.8  # sds of the place are widened so much: a strong reflex may lie farther off


def fainter(
    spots: SpotMap,
    awaited: dict[ReflexName, Expected],
    planes: FramePlanes,
    scale: tuple[float, float],
    clear: bool,
) -> list[Told]:
    """Which of the lens's reflexes could be where, likeliest first?

    No spot may be two of them at once.

    Parameters
    ----------
    spots : SpotMap
        Without the cornea's reflexes.
    awaited : dict
        P3 and P4, where the eye can show them.
    planes : FramePlanes
    scale : (float, float)
        Working pixels to the millimetre, and radius of P1's spots in working pixels.
    clear : bool
        Whether the lens takes no light away, as an implant.
    """
    choices: Choices = {}
    for name, one in awaited.items():
        found = candidates(spots, one, planes, scale)
        settled = [refined(spots, f, one, (planes, scale[0])) for f in found]
        good = [f for f in settled if f is not None and believed(name, f, spots)]
        if any(doubtful(name, f) for f in good):
            chance = _by_chance(spots, one, planes, scale)
            good = [f for f in good if not doubtful(name, f) or f.worth > chance]
        middles = [(float(u), float(v)) for u, v in (f.points_px.mean(axis=0) for f in good)]
        choices[name] = [*(good[k] for k in _distinct(middles, 3.0)), None]
    if clear:
        choices = _told_apart(choices, _NEAR * scale[1])
    return _readings(choices, clear, _NEAR * scale[1])


_NEAR = 0.8  # radii: two spots so near to each other are one


def _readings(choices: Choices, clear: bool, near_px: float) -> list[Told]:
    names = list(choices)
    others = [one for one in choices.get("P4", []) if one is not None] if clear else []
    ways: list[tuple[float, Told]] = []
    for way in product(*choices.values()):
        told = {name: one for name, one in zip(names, way, strict=True) if one is not None}
        if clear and _too_pale(told):
            continue
        if not _share_a_spot(list(told.values()), near_px):
            ways.append((_worth(told, others, near_px), told))
    ways.sort(key=lambda pair: -pair[0])
    return [told for worth, told in ways if worth >= _OTHERWISE * ways[0][0]][:_WAYS]


_OTHERWISE, _WAYS = 0.45, 4  # other readings of the spots that the fit of the eye may prefer


# Noise levels that a reflex needs, by the number of lamps: the more spots have to stand as the
# lamps do, the rarer chance makes such a pattern. P3 is large and blurred, so that clouds and
# folds are taken for it more easily.
_LEAST_LEVEL: dict[ReflexName, tuple[float, float, float]] = {
    "P3": (7.0, 6.0, 5.0),
    "P4": (7.0, 4.0, 2.6),
}
_LEAST_WORTH = 2.0
_FARTHEST = 3.0  # sds from where the eye can show it
_BUBBLE = 0.3  # darkness of a bubble's rim; one in a hundred true reflexes stands in such a ring


def believed(name: ReflexName, one: Found, spots: SpotMap) -> bool:
    """Is it plain enough, near enough to where it is foretold, and no bubble?

    Examples
    --------
    >>> flat = np.zeros((40, 40), dtype=np.float32)
    >>> spots, point = SpotMap((0, 0), flat, flat, flat), np.array([[20.0, 20.0]])
    >>> [believed("P4", Found(point, k, 1.0, 3.0, 0.0, k), spots) for k in (6.0, 8.0)]
    [False, True]
    """
    if dark_ring(spots, one.points_px, one.radius_px, name == "P4") > _BUBBLE:
        return False
    least = _LEAST_LEVEL[name][min(len(one.points_px), 3) - 1]
    return one.level >= least and one.worth >= _LEAST_WORTH and one.off <= _FARTHEST


def doubtful(name: ReflexName, one: Found) -> bool:
    """Is it a pattern that chance may make as well?

    Examples
    --------
    >>> pair = np.array([[20.0, 20.0], [30.0, 20.0]])
    >>> [doubtful("P4", Found(pair, level, 1.0, 3.0, 0.0, level)) for level in (6.0, 12.0)]
    [True, False]
    """
    least = _LEAST_LEVEL[name][min(len(one.points_px), 3) - 1]
    return len(one.points_px) > 1 and one.level < _PLAIN * least


_PLAIN = 2.5  # times the least level: nothing so plain stands in a pattern by chance


def _by_chance(
    spots: SpotMap, awaited: Expected, planes: FramePlanes, scale: tuple[float, float]
) -> float:
    """How well do this frame's spots stand in the pattern turned as no reflex can be?

    Clouds, folds and glints of the same frame, searched at the same places and sizes, make such a
    pattern as easily as the true one.
    """
    turned = awaited.offsets_px @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    patterns = [turned] if len(turned) == 2 else [turned, -turned]
    worth = 0.0
    for pattern in patterns:
        other = replace(awaited, offsets_px=pattern)
        for one in candidates(spots, other, planes, scale):
            if one.worth > worth and refined(spots, one, other, (planes, scale[0])) is not None:
                worth = one.worth
    return worth


_PALER = 0.7  # noise and uneven ground take or add a third of a level


def _too_pale(told: dict[ReflexName, Found]) -> bool:
    """Is P4 fainter than P3, though a clear lens mirrors alike on both sides?

    P4 is smaller and sharper there, so that the same light makes it the plainer one.
    """
    return "P3" in told and "P4" in told and told["P4"].level < _PALER * told["P3"].level


def _worth(told: Told, others: list[Found], near_px: float) -> float:
    """How well does a reading hold?

    P3 of a clear lens seldom shows without its plainer P4: less so where the same spots may be
    that P4 (``others``).
    """
    alone = "P3" in told and "P4" not in told
    if alone and any(_share_a_spot([told["P3"], one], near_px) for one in others):
        return _ALONE * told["P3"].worth
    return sum(one.worth for one in told.values())


_ALONE = 0.3


def _told_apart(choices: Choices, near_px: float) -> Choices:
    """Give up a single spot that may be P3 of an implant as well as P4: no pattern tells which."""
    kept: Choices = {name: list(found) for name, found in choices.items()}
    for one in choices.get("P4", []):
        for other in choices.get("P3", []):
            if one is None or other is None or len(one.points_px) > 1:
                continue
            alike = other.worth > _EITHER * one.worth
            if alike and _share_a_spot([one, other], near_px):
                kept["P4"] = [f for f in kept["P4"] if f is not one]
                kept["P3"] = [f for f in kept["P3"] if f is not other]
    return kept


_EITHER = 0.6


def _share_a_spot(found: list[Found], near_px: float) -> bool:
    for i, one in enumerate(found):
        for other in found[i + 1 :]:
            apart = one.points_px[:, None] - other.points_px[None]
            if float(np.nanmin(np.hypot(apart[..., 0], apart[..., 1]), initial=np.inf)) < near_px:
                return True
    return False


def _crop(spots: SpotMap, place: FloatArray, reach: float) -> tuple[FloatArray, Float32Array]:
    local = place - np.array(spots.corner_px)
    left, top = (max(0, int(c - reach)) for c in local)
    right, bottom = (max(0, int(c + reach) + 1) for c in local)
    part = np.ascontiguousarray(spots.level[top:bottom, left:right])
    return np.array([spots.corner_px[0] + left, spots.corner_px[1] + top], dtype=np.float64), part


def _distinct(middles: list[tuple[float, float]], apart_px: float) -> list[int]:
    """Return which of these places, best first, are not nearly one that was kept already."""
    kept: list[int] = []
    for k, (u, v) in enumerate(middles):
        # Written so that a place that is not told is near to all.
        if all(math.hypot(u - middles[i][0], v - middles[i][1]) > apart_px for i in kept):
            kept.append(k)
            if len(kept) == _KEPT:
                break
    return kept


_KEPT = 4
