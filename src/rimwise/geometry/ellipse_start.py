"""Where to start an ellipse fit: direct algebraic fits, also when many points are wrong.

Inside the fits an ellipse is c + S·u, u on the unit circle, with the symmetric matrix
S = [[m + p, q], [q, m - p]]: ``shape`` = (cx, cy, m, p, q). Unlike semi-axes and an angle it has
no singular place at the circle.
"""

import numpy as np

from rimwise.terms.arrays import FloatArray

SUBSETS = 60  # with 30 % wrong points one clean subset of six is missed once in 10^3 fits
SUBSET_SIZE = 6
JUDGES = 120  # points that score a candidate; the median of more is no better a start
_STRIDES = np.sqrt(np.array([2.0, 3.0, 5.0, 7.0, 11.0, 13.0]))  # independent irrational steps


def direct_shapes(points: FloatArray) -> FloatArray:
    """Which ellipses fit these sets of points in the algebraic least-squares sense?

    Parameters
    ----------
    points : array, shape (k, n, 2)
        k sets of n >= 5 points, any plane unit.

    Returns
    -------
    array, shape (k, 5)
        (cx, cy, m, p, q) of each; NaN where the points define no ellipse.

    Notes
    -----
    Direct least squares under 4ac - b² = 1 (Fitzgibbon, Pilu & Fisher 1999) in the numerically
    stable block form of Halir & Flusser 1998.

    Examples
    --------
    >>> t = np.linspace(0.0, 6.0, 9)
    >>> ring = np.stack([2.0 + 3.0 * np.cos(t), 1.0 + 3.0 * np.sin(t)], axis=-1)
    >>> (direct_shapes(ring[None]).round(6) + 0.0).tolist()
    [[2.0, 1.0, 3.0, 0.0, 0.0]]
    """
    shift = points.mean(axis=1, keepdims=True)
    scale = np.sqrt(((points - shift) ** 2).sum(axis=2).mean(axis=1))
    scale = np.where(scale > 0.0, scale, 1.0)
    x, y = np.moveaxis((points - shift) / scale[:, None, None], -1, 0)
    quadratic = np.stack([x * x, x * y, y * y], axis=-1)
    linear = np.stack([x, y, np.ones_like(x)], axis=-1)
    linear_t = np.swapaxes(linear, 1, 2)
    quadratic_t = np.swapaxes(quadratic, 1, 2)
    # The ridge only matters where the points lie on a line, and keeps the solver from raising.
    ridge = 1e-13 * x.shape[1] * np.eye(3)
    back = -np.linalg.solve(linear_t @ linear + ridge, linear_t @ quadratic)
    reduced = quadratic_t @ quadratic + quadratic_t @ linear @ back
    system = np.stack([reduced[:, 2] / 2.0, -reduced[:, 1], reduced[:, 0] / 2.0], axis=1)
    _, vectors = np.linalg.eig(system)
    vectors = vectors.real
    constraint = 4.0 * vectors[:, 0] * vectors[:, 2] - vectors[:, 1] ** 2
    chosen = np.argmax(constraint, axis=1)
    front = np.take_along_axis(vectors, chosen[:, None, None], axis=2)[..., 0]
    conics = np.concatenate([front, np.einsum("kij,kj->ki", back, front)], axis=1)
    shapes = _shapes_of_conics(conics)
    shapes *= scale[:, None]
    shapes[:, :2] += shift[:, 0]
    return shapes


def _shapes_of_conics(conics: FloatArray) -> FloatArray:
    """Turn rows (a, b, c, d, e, f) of ax² + bxy + cy² + dx + ey + f = 0 into shapes."""
    a, b, c, d, e, f = conics.T
    with np.errstate(all="ignore"):
        delta = 4.0 * a * c - b * b
        cx, cy = (b * e - 2.0 * c * d) / delta, (b * d - 2.0 * a * e) / delta
        level = -(f + 0.5 * (d * cx + e * cy))
        # P = S²: the inverse of the quadratic form scaled to 1 on the ellipse.
        p11, p22, p12 = 4.0 * c * level / delta, 4.0 * a * level / delta, -2.0 * b * level / delta
        root = np.sqrt(p11 * p22 - p12 * p12)
        width = np.sqrt(p11 + p22 + 2.0 * root)
        shapes = np.stack([cx, cy, width / 2.0, (p11 - p22) / (2.0 * width), p12 / width], axis=1)
    good = np.isfinite(shapes).all(axis=1) & (delta > 0.0)
    return np.where(good[:, None], shapes, np.nan)


def distances_to_shapes(points: FloatArray, shapes: FloatArray) -> FloatArray:
    """How far, to first order, is each point from each ellipse?

    Parameters
    ----------
    points : array, shape (n, 2)
    shapes : array, shape (k, 5)

    Returns
    -------
    array, shape (k, n)
        Unsigned first-order (Sampson) distances in the unit of the points.

    Examples
    --------
    >>> unit_circle = np.array([[0.0, 0.0, 1.0, 0.0, 0.0]])
    >>> distances_to_shapes(np.array([[1.001, 0.0]]), unit_circle).round(6).tolist()
    [[0.001]]
    """
    cx, cy, m, p, q = shapes.T[:, :, None]
    det = m * m - p * p - q * q
    dx, dy = points[:, 0] - cx, points[:, 1] - cy
    ux, uy = ((m - p) * dx - q * dy) / det, ((m + p) * dy - q * dx) / det
    gx, gy = ((m - p) * ux - q * uy) / det, ((m + p) * uy - q * ux) / det
    return np.asarray(np.abs(ux * ux + uy * uy - 1.0) / (2.0 * np.hypot(gx, gy) + 1e-300))


def spread_subsets(points: FloatArray) -> FloatArray:
    """Which small sets of points, spread around the outline, are worth trying?

    Low-discrepancy choice, the same for the same points: no randomness is needed.

    Returns
    -------
    array, shape (SUBSETS, SUBSET_SIZE, 2)

    Examples
    --------
    >>> t = np.arange(30.0)
    >>> spread_subsets(np.stack([np.cos(t), np.sin(t)], axis=-1)).shape
    (60, 6, 2)
    """
    centred = points - np.median(points, axis=0)
    order = np.argsort(np.arctan2(centred[:, 1], centred[:, 0]), kind="stable")
    within = (np.arange(1, SUBSETS + 1)[:, None] * _STRIDES) % 1.0
    place = (np.arange(SUBSET_SIZE) + within) / SUBSET_SIZE
    index = np.minimum((place * len(points)).astype(np.int64), len(points) - 1)
    return np.asarray(points[order[index]])


def starting_shape(points: FloatArray, robust: bool, compiled: bool = False) -> FloatArray:
    """From which ellipse should the geometric fit start?

    Parameters
    ----------
    points : array, shape (n, 2), n >= 5
    robust : bool
        Also try small subsets and take the ellipse with the least median distance.
    compiled : bool
        Whether to load the compiler, for many ellipses.

    Returns
    -------
    array, shape (5,)
        (cx, cy, m, p, q); NaN where no candidate is an ellipse.

    Examples
    --------
    >>> t = np.arange(30.0)
    >>> ring = np.stack([4.0 * np.cos(t), 2.0 * np.sin(t)], axis=-1)
    >>> (starting_shape(ring, robust=True).round(6) + 0.0).tolist()
    [0.0, 0.0, 3.0, 1.0, 0.0]
    """
    shapes = direct_shapes(points[None])
    if robust and len(points) >= 2 * SUBSET_SIZE:
        shapes = np.concatenate([shapes, direct_shapes(spread_subsets(points))])
    if len(shapes) == 1:
        return np.asarray(shapes[0])
    judges = points[:: max(1, len(points) // JUDGES)]
    if compiled:
        from rimwise.geometry.compiled_ellipse import median_distances  # noqa: PLC0415

        return np.asarray(shapes[int(median_distances(judges, shapes).argmin())])
    with np.errstate(invalid="ignore", over="ignore"):
        score = np.median(distances_to_shapes(judges, shapes), axis=1)
    score = np.where(np.isfinite(score), score, np.inf)
    return np.asarray(shapes[int(np.argmin(score))])
