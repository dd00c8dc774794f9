"""The smallest circle that holds every point."""

import math
from itertools import combinations

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_PIVOTS = 1000  # the radius grows with every pivot; a few are enough for thousands of points
_ROUND_OFF = 1e-12  # relative; a point this near the circle is on it

Circle = tuple[float, float, float]


def smallest_enclosing_circle(points: FloatArray) -> Circle:
    """Which is the smallest circle that holds all these points?

    Parameters
    ----------
    points : array, shape (n, 2), n >= 1
        Any plane unit, any order, repeats allowed.

    Returns
    -------
    (cx, cy, radius)

    Raises
    ------
    WrongInput
        No points, or a number that is not finite.

    Notes
    -----
    Welzl 1991 shows that at most three points carry the circle; here the point farthest out joins
    the carriers and the circle of these at most four is solved exactly (farthest-point pivots as
    in Gärtner 1999). Deterministic, no recursion.

    Examples
    --------
    >>> smallest_enclosing_circle(np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 4.0]]))
    (1.5, 2.0, 2.5)
    """
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or not len(points) or not np.isfinite(points).all():
        raise WrongInput(f"an enclosing circle needs finite points (n, 2), got {points.shape}")
    # About their mean, so that far-away coordinates cost no digits.
    shift = points.mean(axis=0)
    local = points - shift
    carriers = [int(np.argmax((local * local).sum(axis=1)))]
    circle: Circle = (float(local[carriers[0], 0]), float(local[carriers[0], 1]), 0.0)
    for _ in range(_PIVOTS):
        reach = np.hypot(local[:, 0] - circle[0], local[:, 1] - circle[1])
        farthest = int(np.argmax(reach))
        if reach[farthest] <= circle[2] * (1.0 + _ROUND_OFF) or farthest in carriers:
            break
        circle, carriers = _circle_of_few(local, [*carriers, farthest])
    return circle[0] + float(shift[0]), circle[1] + float(shift[1]), circle[2]


def _circle_of_few(points: FloatArray, index: list[int]) -> tuple[Circle, list[int]]:
    """Smallest circle of two to four points, and the points that carry it."""
    few = [(i, float(points[i, 0]), float(points[i, 1])) for i in index]
    best: tuple[Circle, list[int]] | None = None
    for size in (2, 3):
        for chosen in combinations(few, size):
            circle = _through(chosen)
            if circle is None or (best is not None and circle[2] >= best[0][2]):
                continue
            limit = circle[2] * (1.0 + 4.0 * _ROUND_OFF) + 1e-300
            if all(math.hypot(x - circle[0], y - circle[1]) <= limit for _, x, y in few):
                best = circle, [i for i, _, _ in chosen]
    if best is None:
        raise WrongInput("the points are too close together for a circle in double precision")
    return best


def _through(chosen: tuple[tuple[int, float, float], ...]) -> Circle | None:
    """Circle on two points as diameter, or through three; None where these lie on a line."""
    (_, ax, ay), (_, bx, by) = chosen[:2]
    if len(chosen) == 2:
        return (ax + bx) / 2.0, (ay + by) / 2.0, math.hypot(ax - bx, ay - by) / 2.0
    _, cx, cy = chosen[2]
    ux, uy, vx, vy = bx - ax, by - ay, cx - ax, cy - ay
    turn = 2.0 * (ux * vy - uy * vx)
    if turn == 0.0:
        return None
    u2, v2 = ux * ux + uy * uy, vx * vx + vy * vy
    dx, dy = (vy * u2 - uy * v2) / turn, (ux * v2 - vx * u2) / turn
    return ax + dx, ay + dy, math.hypot(dx, dy)
