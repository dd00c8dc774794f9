"""Which bright spots are which reflex? Lamp pattern, size, brightness and place decide together."""

import math
from dataclasses import replace
from itertools import product
from typing import NamedTuple

import numpy as np

from rimwise.align.expect import Expected
from rimwise.align.plain_reflexes import sizes_tried
from rimwise.align.settling import Found, refined
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.patterns import Prior, Wanted, nearby, pattern_places
from rimwise.picture.planes import Float32Array
from rimwise.picture.spots import SpotMap, dark_ring
from rimwise.records.eye import ReflexName
from rimwise.terms.arrays import FloatArray

Told = dict[ReflexName, Found]
Choices = dict[ReflexName, list[Found | None]]

_HALF = 8.0  # noise levels: where plainness begins to count by its logarithm
_ALIKE_MM = 0.10  # two patterns nearer than this are one


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
    for size in sizes_tried(awaited.size_sd, len(offsets), step).tolist():
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
            chance = by_chance(spots, one, planes, scale)
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
        if not share_a_spot(list(told.values()), near_px):
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
# Plainness by place and size, by the number of lamps as well: of 64 single P4 in own renders one
# has less than 4, of five gleams of bubbles and other reflexes taken for it four have.
_LEAST_WORTH = (4.0, 2.0, 2.0)
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
    lamps = min(len(one.points_px), 3) - 1
    plain = one.level >= _LEAST_LEVEL[name][lamps] and one.worth >= _LEAST_WORTH[lamps]
    return plain and one.off <= _FARTHEST


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


def by_chance(
    spots: SpotMap, awaited: Expected, planes: FramePlanes, scale: tuple[float, float]
) -> float:
    """How well do this frame's spots stand in the pattern turned as no reflex can be?

    Clouds, folds and glints of the same frame, searched at the same places and sizes, make such a
    pattern as easily as the true one.

    Parameters
    ----------
    spots : SpotMap
    awaited : Expected
    planes : FramePlanes
    scale : (float, float)
        Working pixels to the millimetre, and radius of P1's spots in working pixels.
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
    if alone and any(share_a_spot([told["P3"], one], near_px) for one in others):
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
            if alike and share_a_spot([one, other], near_px):
                kept["P4"] = [f for f in kept["P4"] if f is not one]
                kept["P3"] = [f for f in kept["P3"] if f is not other]
    return kept


_EITHER = 0.6


def share_a_spot(found: list[Found], near_px: float) -> bool:
    """Do two of these reflexes claim the same spot?

    Examples
    --------
    >>> one = Found(np.array([[3.0, 4.0]]), 9.0, 1.0, 3.0, 0.0, 9.0)
    >>> [share_a_spot([one, one], 2.0), share_a_spot([one], 2.0)]
    [True, False]
    """
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
