"""Where the optic can be put today: best centre, its margin, the region of complete cover."""

import math

import numpy as np

from rimwise.geometry.enclosing import smallest_enclosing_circle
from rimwise.place.edge import Edge
from rimwise.records.placement import Point, Today
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

_OUTLINE = 120  # directions of the region's outline: its area is then good to 0.1 %
_WAVES = 6  # an edge that was fitted smoothly errs in no finer ones
_ON_CIRCLE = 1e-9  # relative; an edge point this near the circle carries it
# An optic is not moved further in its bag than this (common practice, no source): beyond it a
# lesser bare arc is bought with a deeper one.
_REACH_MM = 0.5


def put_today(edge: Edge) -> Today:
    """Where should the optic's centre be put, and how far may it miss?

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    Today
        Of an edge that was not seen all round the margin is an upper limit.

    Notes
    -----
    The least cover is the optic's radius less the distance of the farthest edge point, so the best
    centre is that of the smallest enclosing circle (own derivation; the circle is Welzl's).

    Examples
    --------
    >>> from rimwise.place.edge import edge_of_circle
    >>> today = put_today(edge_of_circle(5.0, (0.2, -0.1), 6.0))
    >>> [round(part, 6) for part in today.best.at_mm], round(today.margin_mm.value, 6)
    ([0.2, -0.1], 0.5)
    """
    cx, cy, reach = smallest_enclosing_circle(edge.points_mm)
    margin = edge.optic_radius_mm - reach
    region = _region(edge, (cx, cy)) if margin > 0.0 else np.empty((0, 2))
    return Today(
        best=edge.spot((cx, cy)),
        sd_mm=_centre_sd_mm(edge),
        margin_mm=Estimate(
            margin, _margin_sd_mm(edge, (cx, cy), reach), "smallest circle about the edge"
        ),
        complete_region_mm=tuple((float(x), float(y)) for x, y in region),
        region_area_mm2=_area_mm2(region),
        least_bare=None if margin > 0.0 else edge.spot(_least_bare(edge, (cx, cy))),
    )


def _margin_sd_mm(edge: Edge, centre: Point, reach: float) -> float:
    """Return the sd of the margin, on the wide side.

    The circle is carried by two or three edge points with weights that add up to 1; their errors
    are taken as pulling the same way, which the optic's diameter makes them do.
    """
    from scipy.optimize import nnls  # noqa: PLC0415 - SciPy is loaded late

    gap = edge.points_mm - np.asarray(centre)
    on = np.flatnonzero(np.hypot(gap[:, 0], gap[:, 1]) >= reach * (1.0 - _ON_CIRCLE))
    outward = gap[on] / reach
    weights, _ = nnls(np.vstack([outward.T, np.ones(len(on))]), np.array([0.0, 0.0, 1.0]))
    along = _directions(edge)[on]
    return float(weights @ (np.abs((outward * along).sum(axis=1)) * edge.sd_mm[on]))


def _centre_sd_mm(edge: Edge) -> float:
    """Return how far the best centre scatters: the edge is bent by its ± in waves, both ways.

    Errors of an edge are smooth in the direction: ``_WAVES`` waves round share their variance.
    The carriers may change from one wave to another, which slopes at one place would not know.
    """
    along = _directions(edge)
    theta = np.arctan2(along[:, 1], along[:, 0])
    bend_mm = edge.sd_mm / math.sqrt(_WAVES)
    if not bend_mm.any():
        return 0.0
    total = 0.0
    for order in range(1, _WAVES + 1):
        for phase in (0.0, 0.5 * math.pi):
            bent = (bend_mm * np.cos(order * theta - phase))[:, None] * along
            first = smallest_enclosing_circle(edge.points_mm + bent)
            second = smallest_enclosing_circle(edge.points_mm - bent)
            total += 0.25 * ((first[0] - second[0]) ** 2 + (first[1] - second[1]) ** 2)
    return math.sqrt(total)


def _directions(edge: Edge) -> FloatArray:
    reach = np.hypot(edge.points_mm[:, 0], edge.points_mm[:, 1])
    return np.asarray(edge.points_mm / reach[:, None])


def _region(edge: Edge, inside: Point) -> FloatArray:
    """Return the outline of the centres with complete cover: the common part of one disc a point.

    Along each direction the nearest disc's far side ends the region.
    """
    theta = np.arange(_OUTLINE) * (2.0 * math.pi / _OUTLINE)
    out = np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    q = edge.points_mm - np.asarray(inside)
    along = out @ q.T
    square = edge.optic_radius_mm**2 - (q * q).sum(axis=1) + along**2
    far = (along + np.sqrt(np.maximum(square, 0.0))).min(axis=1)
    return np.asarray(np.asarray(inside) + far[:, None] * out)


def _area_mm2(outline: FloatArray) -> float:
    if len(outline) == 0:
        return 0.0
    x, y = outline.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def _least_bare(edge: Edge, centre: Point) -> Point:
    """Return the centre within reach of the best one that leaves the fewest directions bare.

    Of places with equal arcs the one with more least cover; a grid, narrowed round by round.
    """
    middle, reach = np.asarray(centre), _REACH_MM
    for _ in range(5):
        steps = np.linspace(-reach, reach, 7)
        grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2) + middle
        grid = grid[np.hypot(*(grid - np.asarray(centre)).T) <= _REACH_MM]
        bare = _bare_deg(edge, grid)
        best = np.lexsort((-edge.least_cover_mm(grid), np.round(bare, 3)))[0]
        middle, reach = grid[best], reach / 3.0
    return float(middle[0]), float(middle[1])


def _bare_deg(edge: Edge, centres: FloatArray) -> FloatArray:
    """Return how many degrees of the optic would be bare at each centre (k, 2)."""
    x, y = (edge.points_mm[:, axis] - centres[:, axis, None] for axis in (0, 1))
    reach = np.sqrt(x * x + y * y) - edge.optic_radius_mm
    x_next, y_next = np.roll(x, -1, axis=1), np.roll(y, -1, axis=1)
    # Neighbours lie a degree or so apart: two terms of the arctangent are good to 1e-8.
    slope = (x * y_next - y * x_next) / (x * x_next + y * y_next)
    span = slope - slope**3 / 3.0
    # A gap in what was seen counts for nothing: bare or not, nobody saw it.
    span = np.where(np.abs(slope) > math.radians(3.0), 0.0, span)
    after = np.roll(reach, -1, axis=1)
    outside = np.maximum(reach, 0.0) + np.maximum(after, 0.0)
    part = outside / np.maximum(np.abs(reach) + np.abs(after), 1e-300)
    return np.asarray(np.degrees((np.maximum(span, 0.0) * part).sum(axis=1)))
