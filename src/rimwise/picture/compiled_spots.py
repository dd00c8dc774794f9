"""The loops of :mod:`rimwise.picture.spots`, compiled and cached on disk; for many frames.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.geometry.compiled_algebra import middle
from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray, IntArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def _least_far(row: int, column: int, local: FloatArray) -> float:
    least = np.inf
    for i in range(len(local)):
        least = min(least, np.hypot(column - local[i, 0], row - local[i, 1]))
    return least


@_compile
def _window(plane: Float32Array, place: FloatArray, reach: int) -> tuple[int, int, int, int]:
    u, v = int(np.rint(place[0])), int(np.rint(place[1]))
    bottom, right = min(plane.shape[0], v + reach + 1), min(plane.shape[1], u + reach + 1)
    return max(0, v - reach), bottom, max(0, u - reach), right


@_compile
def _near(places: FloatArray, k: int, far: float) -> FloatArray:
    """Return the other spots that are no farther from one than this."""
    found = np.empty((len(places), 2))
    count = 0
    for i in range(len(places)):
        away = np.hypot(places[i, 0] - places[k, 0], places[i, 1] - places[k, 1])
        if i != k and away <= far:
            found[count] = places[i]
            count += 1
    return found[:count]


@_compile
def _least_square(row: int, column: int, others: FloatArray) -> float:
    least = np.inf
    for i in range(len(others)):
        across, down = column - others[i, 0], row - others[i, 1]
        least = min(least, across * across + down * down)
    return least


@_compile
def _levels(
    plane: Float32Array, place: FloatArray, others: FloatArray, size: tuple[float, int]
) -> tuple[float, float]:
    """Return the median of a spot's core and of its rim; the rim is no lower where one is none."""
    radius, reach = size
    top, bottom, left, right = _window(plane, place, reach)
    room = max(0, bottom - top) * max(0, right - left)
    core, rim = np.empty(room), np.empty(room)
    cores = rims = 0
    inner, outer = (0.6 * radius) ** 2, (1.3 * radius) ** 2
    for row in range(top, bottom):
        for column in range(left, right):
            far = (column - place[0]) ** 2 + (row - place[1]) ** 2
            if far <= inner and far <= _least_square(row, column, others):
                core[cores] = plane[row, column]
                cores += 1
            elif far > outer and _least_square(row, column, others) > outer:
                rim[rims] = plane[row, column]
                rims += 1
    if cores == 0 or rims == 0:
        return 0.0, 0.0
    return middle(core[:cores]), middle(rim[:rims])


@_compile
def _centroid(
    plane: Float32Array, places: FloatArray, k: int, size: tuple[float, int, float]
) -> tuple[float, float]:
    radius, reach, rise = size
    own_u, own_v = places[k, 0], places[k, 1]
    others = _near(places, k, 1.5 * reach + 1.3 * radius)
    high, low = _levels(plane, places[k], others, (radius, reach))
    if high <= low:
        return own_u, own_v
    top, bottom, left, right = _window(plane, places[k], reach)
    total = sum_u = sum_v = 0.0
    for row in range(top, bottom):
        for column in range(left, right):
            far = (column - own_u) ** 2 + (row - own_v) ** 2
            if far <= (1.3 * radius) ** 2 and far <= _least_square(row, column, others):
                weight = (plane[row, column] - low) / (high - low) - rise
                weight = min(max(weight, 0.0), 0.2)
                total += weight
                sum_u += weight * column
                sum_v += weight * row
    if total <= 0.0:
        return own_u, own_v
    step_u, step_v = sum_u / total - own_u, sum_v / total - own_v
    share = min(1.0, radius / max(np.hypot(step_u, step_v), 1e-9))
    return own_u + share * step_u, own_v + share * step_v


@_compile
def centroids(
    plane: Float32Array, places: FloatArray, radius: float, reach: int, rise: float
) -> FloatArray:
    """Where are the centroids of the spots that stand about here? See ``spot_places``."""
    found = places.copy()
    for _ in range(3):
        before = found.copy()
        for k in range(len(places)):
            found[k] = _centroid(plane, before, k, (radius, reach, rise))
    return found


@_compile
def _glow(part: Float32Array, ring: IntArray, rings: int) -> Float32Array:
    """Return the median of each ring, at least 0; 0 in the last, which is beyond reach."""
    height, width = part.shape
    first = np.zeros(rings + 1, dtype=np.int64)
    for row in range(height):
        for column in range(width):
            first[ring[row, column] + 1] += 1
    for k in range(rings):
        first[k + 1] += first[k]
    place = first.copy()
    ordered = np.empty(height * width)
    for row in range(height):
        for column in range(width):
            one = ring[row, column]
            ordered[place[one]] = part[row, column]
            place[one] += 1
    glow = np.zeros(rings, dtype=np.float32)
    for k in range(rings - 1):
        if first[k + 1] > first[k]:
            glow[k] = max(0.0, middle(ordered[first[k] : first[k + 1]]))
    return glow


@_compile
def take_glow(
    level: Float32Array, local: FloatArray, reach: float, hides: float, hidden: float
) -> None:
    """Take the even glow about plain spots off the level, in place.

    See :func:`rimwise.align.identify.without`.

    Examples
    --------
    >>> level = np.full((9, 9), 3.0, dtype=np.float32)
    >>> take_glow(level, np.array([[4.0, 4.0]]), 3.0, 1.5, 1.5)
    >>> level[4].tolist()
    [3.0, 0.0, 0.0, 1.5, 1.5, 1.5, 0.0, 0.0, 3.0]
    """
    height, width = level.shape
    low_u = high_u = local[0, 0]
    low_v = high_v = local[0, 1]
    for i in range(1, len(local)):
        low_u, high_u = min(low_u, local[i, 0]), max(high_u, local[i, 0])
        low_v, high_v = min(low_v, local[i, 1]), max(high_v, local[i, 1])
    left, top = max(0, int(low_u - reach)), max(0, int(low_v - reach))
    right = max(left, min(width, int(high_u + reach) + 1))
    bottom = max(top, min(height, int(high_v + reach) + 1))
    rings = int(reach) + 2
    part = level[top:bottom, left:right]
    ring = np.empty(part.shape, dtype=np.int64)
    for row in range(part.shape[0]):
        for column in range(part.shape[1]):
            far = _least_far(row + top, column + left, local)
            ring[row, column] = min(int(far), rings - 1)
    glow = _glow(part, ring, rings)
    for row in range(part.shape[0]):
        for column in range(part.shape[1]):
            part[row, column] -= glow[ring[row, column]]
            near = 0.0
            for i in range(len(local)):
                u, v = local[i, 0] - left, local[i, 1] - top
                near += (hides / max(np.hypot(column - u, row - v), 1.0)) ** 2
            if near > 1.0:
                part[row, column] = hidden
