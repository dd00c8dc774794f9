"""The descent of :mod:`rimwise.geometry.ellipse`, compiled and cached on disk; for many ellipses.

Importing this module costs about half a second.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.terms.arrays import FloatArray

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
def descend(
    points: FloatArray, sd: FloatArray, shape: FloatArray, cut: float, enough: float
) -> FloatArray:
    """Follow the squared distances, biweighted beyond a finite cut, down to their least value."""
    damping = 0.0
    distance, slopes = distances_and_slopes(points, shape)
    z = distance / sd
    least = _cost(z, cut)
    for _ in range(40):
        normal, pull = np.zeros((5, 5)), np.zeros(5)
        for i in range(len(z)):
            weight = _weight(z[i], cut) / (sd[i] * sd[i])
            for j in range(5):
                pull[j] += weight * slopes[i, j] * z[i] * sd[i]
                for k in range(5):
                    normal[j, k] += weight * slopes[i, j] * slopes[i, k]
        ridge = (damping + 1e-13) * np.trace(normal) + 1e-300
        for j in range(5):
            normal[j, j] += ridge
        step = -np.linalg.solve(normal, pull)
        trial, small = shape + step, np.abs(step).max() < enough
        if trial[2] - math.hypot(trial[3], trial[4]) > 1e-6 * abs(trial[2]):
            moved, turned = distances_and_slopes(points, trial)
            value = _cost(moved / sd, cut)
            if value <= least:
                gained, least = least - value, value
                shape, z, slopes = trial, moved / sd, turned
                damping *= 0.2
                if small or gained < 1e-12 * least:
                    break
                continue
        damping = max(10.0 * damping, 1e-4)
        if small or damping > 1e6:
            break
    return shape
