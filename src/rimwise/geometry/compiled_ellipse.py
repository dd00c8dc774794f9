"""The descent of :mod:`rimwise.geometry.ellipse`, compiled and cached on disk; for many ellipses.

Importing this module costs about half a second.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.geometry.compiled_algebra import inverse, middle, solved
from rimwise.terms.arrays import BoolArray, FloatArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)
_NEWTON_STEPS = 12  # digits double from F <= 1; stops at round-off


@_compile
def distances_and_slopes(points: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far is each point from the outline, and how does that change with the shape?

    The same as :func:`rimwise.geometry.ellipse_shape.distances_and_slopes`, point by point.
    """
    n = len(points)
    distance, slopes = np.empty(n), np.empty((n, 5))
    m, stretch = shape[2], math.hypot(shape[3], shape[4])
    a, b = m + stretch, m - stretch
    angle = 0.5 * math.atan2(shape[4], shape[3])
    cos, sin = math.cos(angle), math.sin(angle)
    k = (a / b) ** 2
    for i in range(n):
        dx, dy = points[i, 0] - shape[0], points[i, 1] - shape[1]
        x, y = cos * dx + sin * dy, cos * dy - sin * dx
        z0, z1 = k * abs(x) / a, max(abs(y) / b, 1e-150)
        w = max(z1, z0 - (k - 1.0))
        for _ in range(_NEWTON_STEPS):
            first, second = (z0 / (w + (k - 1.0))) ** 2, (z1 / w) ** 2
            excess = first + second - 1.0
            w += excess / (2.0 * (first / (w + (k - 1.0)) + second / w))
            if abs(excess) < 1e-8:
                break
        ct, st = math.copysign(z0 / (w + (k - 1.0)), x), math.copysign(z1 / w, y)
        nx, ny = ct / a, st / b
        norm = math.hypot(nx, ny)
        nx, ny = nx / norm, ny / norm
        distance[i] = nx * (x - a * ct) + ny * (y - b * st)
        n1, n2 = cos * nx - sin * ny, sin * nx + cos * ny
        u1, u2 = cos * ct - sin * st, sin * ct + cos * st
        slopes[i, 0], slopes[i, 1] = -n1, -n2
        slopes[i, 2], slopes[i, 3] = -(n1 * u1 + n2 * u2), -(n1 * u1 - n2 * u2)
        slopes[i, 4] = -(n1 * u2 + n2 * u1)
    return distance, slopes


@_compile
def _weight(z: float, cut: float) -> float:
    """Return the biweight's weight; 1 where nothing is cut."""
    if not math.isfinite(cut):
        return 1.0
    return float(max(0.0, 1.0 - (z / cut) ** 2) ** 2)


@_compile
def _cost(z: FloatArray, cut: float) -> float:
    total = 0.0
    for one in z:
        if math.isfinite(cut):
            total += cut * cut / 6.0 * (1.0 - max(0.0, 1.0 - (one / cut) ** 2) ** 3)
        else:
            total += 0.5 * one * one
    return total


@_compile
def _misses(points: FloatArray, sd: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how many sds each point lies off, and the slopes of its distance."""
    z, slopes = distances_and_slopes(points, shape)
    for i in range(len(z)):
        z[i] /= sd[i]
    return z, slopes


@_compile
def descend(
    points: FloatArray, sd: FloatArray, shape: FloatArray, cut: float, enough: float
) -> FloatArray:
    """Follow the squared distances, biweighted beyond a finite cut, down to their least value."""
    damping = 0.0
    z, slopes = _misses(points, sd, shape)
    least = _cost(z, cut)
    for _ in range(40):
        normal, pull = np.zeros((5, 5)), np.zeros(5)
        for i in range(len(z)):
            weight = _weight(z[i], cut) / (sd[i] * sd[i])
            for j in range(5):
                pull[j] += weight * slopes[i, j] * z[i] * sd[i]
                for k in range(5):
                    normal[j, k] += weight * slopes[i, j] * slopes[i, k]
        trace = 0.0
        for j in range(5):
            trace += normal[j, j]
        for j in range(5):
            normal[j, j] += (damping + 1e-13) * trace + 1e-300
        step, trial, largest = solved(normal, pull), shape.copy(), 0.0
        for j in range(5):
            trial[j] -= step[j]
            largest = max(largest, abs(step[j]))
        small = largest < enough
        if trial[2] - math.hypot(trial[3], trial[4]) > 1e-6 * abs(trial[2]):
            moved, turned = _misses(points, sd, trial)
            value = _cost(moved, cut)
            if value <= least:
                gained, least = least - value, value
                shape, z, slopes = trial, moved, turned
                damping *= 0.2
                if small or gained < 1e-12 * least:
                    break
                continue
        damping = max(10.0 * damping, 1e-4)
        if small or damping > 1e6:
            break
    return shape


@_compile
def _middle_size(z: FloatArray) -> float:
    size = z.copy()
    for i in range(len(z)):
        size[i] = abs(z[i])
    return float(middle(size))


@_compile
def _chosen(
    points: FloatArray, sd: FloatArray, used: BoolArray, count: int
) -> tuple[FloatArray, FloatArray]:
    some, spread = np.empty((count, 2)), np.empty(count)
    k = 0
    for i in range(len(used)):
        if used[i]:
            some[k, 0], some[k, 1], spread[k] = points[i, 0], points[i, 1], sd[i]
            k += 1
    return some, spread


@_compile
def _lone(slopes: FloatArray, sd: FloatArray, near: BoolArray, leverage: float) -> BoolArray:
    """See :func:`rimwise.geometry.robust.lone_points`."""
    count, normal = 0, np.zeros((5, 5))
    lone = np.zeros(len(near), dtype=np.bool_)
    for i in range(len(near)):
        count += near[i]
        for j in range(5):
            for k in range(5):
                normal[j, k] += near[i] * slopes[i, j] * slopes[i, k] / (sd[i] * sd[i])
    if count <= 5:
        return lone
    spread = inverse(normal)
    limit = max(leverage, 2.0 * 5**2 / count)
    for i in range(len(near)):
        weight = 0.0
        for j in range(5):
            for k in range(5):
                weight += slopes[i, j] * spread[j, k] * slopes[i, k] / (sd[i] * sd[i])
        lone[i] = (weight if near[i] else weight / (1.0 + weight)) > limit
    return lone


@_compile
def settle(
    points: FloatArray, sd: FloatArray, shape: FloatArray, to: tuple[float, float, float, float]
) -> tuple[FloatArray, BoolArray]:
    """Find the shape of least squares and the points that it rests on, fewer than six if none.

    The same as the robust way of :mod:`rimwise.geometry.ellipse`; ``to`` is the factor from a
    median to an sd, cut and inlier limit in sds, and leverage.
    """
    mad_to_sd, cut, inlier, leverage = to
    least, most = sd[0], sd[0]
    for one in sd:
        least, most = min(least, one), max(most, one)
    floor = 1e-9 * (shape[2] / most)
    scale = max(mad_to_sd * _middle_size(_misses(points, sd, shape)[0]), floor)
    shape = descend(points, sd, shape, cut * scale, 0.01 * scale * least)
    scale = max(mad_to_sd * _middle_size(_misses(points, sd, shape)[0]), floor)
    used, near = np.ones(len(points), dtype=np.bool_), np.ones(len(points), dtype=np.bool_)
    while True:
        z, slopes = _misses(points, sd, shape)
        for i in range(len(z)):
            near[i] = abs(z[i]) <= inlier * scale
        lone = _lone(slopes, sd, near, leverage)
        count, changed, squares = 0, False, 0.0
        for i in range(len(z)):
            now = near[i] and not lone[i]
            changed = changed or now != used[i]
            used[i] = now
            if now:
                count += 1
                squares += z[i] * z[i]
        if count < 6:
            return shape, used
        some, spread = _chosen(points, sd, used, count)
        shape = descend(some, spread, shape, np.inf, 1e-9 * shape[2])
        smaller = max(np.sqrt(squares / max(count - 5, 1)), floor)
        if smaller >= scale or not changed:
            return shape, used
        scale = smaller


@_compile
def median_distances(points: FloatArray, shapes: FloatArray) -> FloatArray:
    """How far, to first order, are points from each ellipse in the median? Infinite for none.

    See :func:`rimwise.geometry.ellipse_start.distances_to_shapes`.
    """
    medians, far = np.full(len(shapes), np.inf), np.empty(len(points))
    for s in range(len(shapes)):
        cx, cy, m, p, q = shapes[s]
        if not (math.isfinite(cx + cy) and math.isfinite(m + p + q)):
            continue
        det = m * m - p * p - q * q
        for i in range(len(points)):
            dx, dy = points[i, 0] - cx, points[i, 1] - cy
            ux, uy = ((m - p) * dx - q * dy) / det, ((m + p) * dy - q * dx) / det
            gx, gy = ((m - p) * ux - q * uy) / det, ((m + p) * uy - q * ux) / det
            far[i] = abs(ux * ux + uy * uy - 1.0) / (2.0 * np.sqrt(gx * gx + gy * gy) + 1e-300)
        half = middle(far)
        medians[s] = half if math.isfinite(half) else np.inf
    return medians
