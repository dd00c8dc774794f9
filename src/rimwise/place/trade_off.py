"""What centration on the visual axis costs in cover: the best of both, distance by distance."""

import math
from itertools import combinations

import numpy as np

from rimwise.geometry.enclosing import smallest_enclosing_circle
from rimwise.place.edge import Edge
from rimwise.records.placement import Point, TradeOffPoint
from rimwise.terms.arrays import FloatArray

_POINTS = 25
_PIVOTS = 200
_ROUND_OFF = 1e-12  # relative; a point this near the farthest distance is on it


def trade_off_curve(edge: Edge, visual_axis_mm: Point, best_mm: Point) -> tuple[TradeOffPoint, ...]:
    """Which least cover can be had at most within each distance of the visual axis?

    Parameters
    ----------
    edge : Edge
    visual_axis_mm, best_mm : (float, float)
        The two ends: the axis itself, and the centre of greatest least cover.

    Returns
    -------
    tuple of TradeOffPoint
        From the axis to the best centre; cover grows with the distance, ever more slowly. No other
        place is better in both (own derivation: the least cover is concave in the centre).

    Examples
    --------
    >>> from rimwise.place.edge import edge_of_circle
    >>> curve = trade_off_curve(edge_of_circle(5.0, (0.3, 0.0), 6.0), (0.0, 0.0), (0.3, 0.0))
    >>> [round(point.least_cover_mm, 6) for point in (curve[0], curve[-1])]
    [0.2, 0.5]
    """
    axis, best = np.asarray(visual_axis_mm), np.asarray(best_mm)
    apart = math.hypot(*(best - axis))
    if apart == 0.0:
        return (_point(edge, axis, axis),)
    between = [_best_within(edge, axis, d) for d in np.linspace(0.0, apart, _POINTS)[1:-1]]
    return tuple(_point(edge, axis, centre) for centre in (axis, *between, best))


def _best_within(edge: Edge, axis: FloatArray, within_mm: float) -> FloatArray:
    """Return the centre of greatest least cover inside a disc about the axis, exactly.

    As for the smallest circle, few edge points decide: the farthest of all joins the deciders, and
    the small problem is solved over its finitely many candidates (Welzl's idea with one more
    constraint, own derivation). The farthest distance grows with every round, so it ends.
    """
    points = edge.points_mm
    gap = points - axis
    deciders = points[[int(np.argmax((gap * gap).sum(axis=1)))]]
    for _ in range(_PIVOTS):
        centre, reach = _of_few(deciders, axis, within_mm)
        gap = points - centre
        distance = np.sqrt((gap * gap).sum(axis=1))
        far = int(np.argmax(distance))
        if distance[far] <= reach * (1.0 + _ROUND_OFF):
            break
        held = np.hypot(*(deciders - centre).T) >= reach * (1.0 - 1e3 * _ROUND_OFF)
        deciders = np.concatenate([deciders[held], points[[far]]])
    return centre


def _of_few(points: FloatArray, axis: FloatArray, within_mm: float) -> tuple[FloatArray, float]:
    """Return the best centre for two to four edge points, and its farthest distance.

    It lies where the disc is nearest to one of them, where two are equally far on the disc's rim,
    or, inside the disc, in the middle of their smallest circle.
    """
    gap = points - axis
    candidates = [axis + within_mm * gap / np.hypot(*gap.T)[:, None]]
    cx, cy, _ = smallest_enclosing_circle(points)
    if math.hypot(cx - axis[0], cy - axis[1]) <= within_mm:
        candidates.append(np.array([[cx, cy]]))
    for first, second in combinations(gap, 2):
        across = second - first
        length = math.hypot(*across)
        # The places equally far from both: at this distance from the axis along ``across``.
        along = float(second @ second - first @ first) / (2.0 * length)
        if abs(along) <= within_mm:
            u = across / length
            side = math.sqrt(within_mm**2 - along**2) * np.array([-u[1], u[0]])
            candidates.append(axis + along * u + np.stack([side, -side]))
    places = np.concatenate(candidates)
    reach = np.sqrt(((points - places[:, None]) ** 2).sum(axis=2)).max(axis=1)
    best = int(np.argmin(reach))
    return places[best], float(reach[best])


def _point(edge: Edge, axis: FloatArray, centre: FloatArray) -> TradeOffPoint:
    return TradeOffPoint(
        math.hypot(*(centre - axis)),
        float(edge.least_cover_mm(centre)),
        (float(centre[0]), float(centre[1])),
    )
