"""What centration on the visual axis costs in cover: the best of both, distance by distance."""

import math

import numpy as np

from rimwise.place.edge import Edge
from rimwise.records.placement import Point, TradeOffPoint
from rimwise.terms.arrays import FloatArray

_POINTS = 25
_COARSE, _THIRDS = 36, 40


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
    distances = np.linspace(0.0, apart, _POINTS)[1:-1]
    angles = _best_angles(edge, axis, distances, math.atan2(*(best - axis)[::-1]))
    between = axis + distances[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    return tuple(_point(edge, axis, centre) for centre in (axis, *between, best))


def _best_angles(edge: Edge, axis: FloatArray, distances: FloatArray, towards: float) -> FloatArray:
    """Return the direction from the axis with the greatest least cover on each circle about it."""

    def cover(angles: FloatArray) -> FloatArray:
        out = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
        return edge.least_cover_mm(axis + distances[:, None] * out)

    step = 2.0 * math.pi / _COARSE
    around = towards + step * np.arange(_COARSE)[:, None] + np.zeros_like(distances)
    tried = cover(around)
    middle = towards + step * np.argmax(tried, axis=0)
    low, high = middle - step, middle + step
    for _ in range(_THIRDS):
        first, second = low + (high - low) / 3.0, high - (high - low) / 3.0
        rises = np.less(*cover(np.stack([first, second])))
        low, high = np.where(rises, first, low), np.where(rises, high, second)
    return np.asarray(0.5 * (low + high))


def _point(edge: Edge, axis: FloatArray, centre: FloatArray) -> TradeOffPoint:
    return TradeOffPoint(
        math.hypot(*(centre - axis)),
        float(edge.least_cover_mm(centre)),
        (float(centre[0]), float(centre[1])),
    )
