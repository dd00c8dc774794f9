"""Points of a hand that lie far from everything else: followed, and told in words."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rimwise.measure.hand_opening import FoundEdge, Placed, expected_at
from rimwise.measure.hand_rim import rim_misses
from rimwise.records.cover import FoundRim
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused

FAR_SD = 5.0  # one click in two million lies so far from where its scatter puts it
_MOST = 3  # named; who placed more of them so has drawn another edge
_TRIED = 3
_FEWEST_OTHERS = 5  # below, the other points tell no course


@dataclass(frozen=True, slots=True)
class FarPoint:
    """A point far from where the found edge and the other points run.

    Parameters
    ----------
    index : int
        Among the points as they were given.
    out_share : float
        How far outside, in radii of the optic; negative inside.
    sd : float
        Of the point and of where it was expected, together.
    """

    index: int
    out_share: float
    sd: float


def far_on_opening(placed: Placed, found: FoundEdge) -> tuple[FarPoint, ...]:
    """Which points on the opening's edge lie far from what all others and the picture tell?

    Parameters
    ----------
    placed : Placed
    found : FoundEdge

    Returns
    -------
    tuple of FarPoint
        The farthest first, three at most; radii as in ``placed``.

    Notes
    -----
    Each point is left out and expected again from the rest, as the curve would run without it; it
    is far beyond five sd of both. Neighbours that depart together expect each other: a tag, a tear
    or a whole arc that a hand draws in several points is not far.

    Examples
    --------
    >>> from rimwise.measure.hand_opening import FoundEdge, Placed
    >>> nothing = FoundEdge(np.ones(360), np.zeros(360, dtype=bool), np.ones(360))
    >>> radius = np.where(np.arange(12) == 3, 0.3, 0.8)
    >>> ring = Placed(np.arange(12) * 30.0, radius, np.full(12, 0.02))
    >>> [(one.index, round(one.out_share, 1)) for one in far_on_opening(ring, nothing)]
    [(3, -0.5)]
    """

    def tried(left: list[int]) -> list[FarPoint]:
        return [_misses(placed, found, left, index) for index in _suspects(placed, found, left)]

    return _one_after_another(len(placed.at_deg), tried)


def _one_after_another(
    count: int, tried: Callable[[list[int]], list[FarPoint]]
) -> tuple[FarPoint, ...]:
    """Return the farthest points, each judged without those before it."""
    left, far = list(range(count)), list[FarPoint]()
    while len(far) < _MOST:
        worst = max(tried(left), key=lambda one: abs(one.out_share) / one.sd, default=None)
        if worst is None or abs(worst.out_share) <= FAR_SD * worst.sd:
            break
        far.append(worst)
        left.remove(worst.index)
    return tuple(far)


def _suspects(placed: Placed, found: FoundEdge, left: list[int]) -> list[int]:
    """Return the few points farthest from the found edge and from their neighbours as well."""
    if not found.kept.any() and len(left) <= _FEWEST_OTHERS:
        return []
    some = placed.some(left)
    near = np.round(some.at_deg).astype(np.int64) % 360
    apart = np.where(found.kept[near], np.abs(some.radius - found.radius[near]), np.inf)
    if len(left) > 2:
        before, after = np.roll(some.radius, 1), np.roll(some.radius, -1)
        low, high = np.minimum(before, after), np.maximum(before, after)
        # Between its neighbours a point is no slip, wherever the found edge runs.
        apart = np.minimum(apart, np.maximum(np.maximum(low - some.radius, some.radius - high), 0))
    far = apart > FAR_SD * some.sd
    worst = np.argsort(-apart / some.sd)[:_TRIED]
    return [left[k] for k in worst if far[k]]


def _misses(placed: Placed, found: FoundEdge, left: list[int], index: int) -> FarPoint:
    others = placed.some([k for k in left if k != index])
    radius, sd = expected_at(others, found, float(placed.at_deg[index]))
    away = float(placed.radius[index]) - radius
    return FarPoint(index, away, math.hypot(sd, float(placed.sd[index])))


def far_on_optic(
    points_px: FloatArray, sd_px: float, found: FoundRim | None
) -> tuple[FarPoint, ...]:
    """Which points on the optic's edge lie far from the circle of all others?

    Examples
    --------
    >>> turn = np.radians(np.arange(0, 360, 30))
    >>> ring = np.column_stack([400 + 300 * np.cos(turn), 300 - 300 * np.sin(turn)])
    >>> ring[0, 0] += 40.0
    >>> [one.index for one in far_on_optic(ring, 3.0, None)]
    [0]
    """

    def tried(left: list[int]) -> list[FarPoint]:
        apart = np.abs(rim_misses(points_px[left], points_px[left], sd_px, found)[0])
        far = list[FarPoint]()
        for index in (left[k] for k in np.argsort(-apart)[:_TRIED]):
            others = [k for k in left if k != index]
            try:
                away, sd = rim_misses(points_px[[index]], points_px[others], sd_px, found)
            except MeasurementRefused:
                continue
            far.append(FarPoint(index, float(away[0]), float(sd[0])))
        return far

    return _one_after_another(len(points_px), tried)
