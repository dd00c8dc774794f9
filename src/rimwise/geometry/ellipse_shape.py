"""An ellipse in the regular coordinates (cx, cy, m, p, q) of its symmetric matrix.

The outline is c + S·u, u on the unit circle, S = [[m + p, q], [q, m - p]].
"""

import math

import numpy as np

from rimwise.terms.arrays import FloatArray

_NEWTON_STEPS = 12  # digits double from F <= 1; stops early at round-off


def distances_and_slopes(points: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far is each point from the outline, and how does that change with the shape?

    Parameters
    ----------
    points : array, shape (n, 2)
    shape : array, shape (5,)
        (cx, cy, m, p, q) with m > hypot(p, q).

    Returns
    -------
    distances : array, shape (n,)
        Signed: positive outside.
    slopes : array, shape (n, 5)

    Notes
    -----
    The foot point solves F(w) = (k z0/(w + k - 1))² + (z1/w)² - 1 = 0 with k = (a/b)², z the
    point over the semi-axes: F is convex and falling, so Newton from the left never overshoots
    (own derivation after the root of the distance problem in Eberly's note; from memory).
    By the envelope theorem the slope of the distance is -n · ∂outline/∂shape at the fixed foot.

    Examples
    --------
    >>> circle = np.array([0.0, 0.0, 2.0, 0.0, 0.0])
    >>> distance, slopes = distances_and_slopes(np.array([[3.0, 0.0]]), circle)
    >>> distance.tolist(), (slopes.round(9) + 0.0).tolist()
    ([1.0], [[-1.0, 0.0, -1.0, -1.0, 0.0]])
    """
    cx, cy, m, p, q = shape
    stretch = math.hypot(p, q)
    a, b = m + stretch, m - stretch
    angle = 0.5 * math.atan2(q, p)
    cos, sin = math.cos(angle), math.sin(angle)
    dx, dy = points[:, 0] - cx, points[:, 1] - cy
    x, y = cos * dx + sin * dy, cos * dy - sin * dx
    k = (a / b) ** 2
    z0, z1 = k * np.abs(x) / a, np.maximum(np.abs(y) / b, 1e-150)
    w = np.maximum(z1, z0 - (k - 1.0))
    for _ in range(_NEWTON_STEPS):
        first, second = (z0 / (w + (k - 1.0))) ** 2, (z1 / w) ** 2
        excess = first + second - 1.0
        w = w + excess / (2.0 * (first / (w + (k - 1.0)) + second / w))
        # Newton squares the excess, so the step just made has already reached round-off.
        if np.abs(excess).max() < 1e-8:
            break
    ct, st = np.copysign(z0 / (w + (k - 1.0)), x), np.copysign(z1 / w, y)
    nx, ny = ct / a, st / b
    norm = np.hypot(nx, ny)
    nx, ny = nx / norm, ny / norm
    distance = nx * (x - a * ct) + ny * (y - b * st)
    n1, n2 = cos * nx - sin * ny, sin * nx + cos * ny
    u1, u2 = cos * ct - sin * st, sin * ct + cos * st
    slopes = -np.stack([n1, n2, n1 * u1 + n2 * u2, n1 * u1 - n2 * u2, n1 * u2 + n2 * u1], axis=-1)
    return distance, slopes


def semi_axis_slopes(shape: FloatArray) -> FloatArray:
    """How do (cx, cy, a, b, angle) change with (cx, cy, m, p, q)?

    Returns
    -------
    array, shape (5, 5)
        At the circle, where the angle has no slope, that of a very slight ellipse along x.

    Examples
    --------
    >>> semi_axis_slopes(np.array([0.0, 0.0, 3.0, 1.0, 0.0]))[2:, 2:].tolist()
    [[1.0, 1.0, 0.0], [1.0, -1.0, -0.0], [0.0, -0.0, 0.5]]
    """
    stretch = math.hypot(shape[3], shape[4])
    cos, sin = (shape[3] / stretch, shape[4] / stretch) if stretch > 0.0 else (1.0, 0.0)
    turn = 0.5 / max(stretch, 1e-12 * shape[2])
    slopes = np.eye(5)
    slopes[2, 2:] = 1.0, cos, sin
    slopes[3, 2:] = 1.0, -cos, -sin
    slopes[4, 2:] = 0.0, -sin * turn, cos * turn
    return slopes
