"""Gauss-Legendre nodes over rows of panels."""

from functools import cache

import numpy as np

from rimwise.terms.arrays import FloatArray


@cache
def legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Which nodes and weights on [0, 1] integrate polynomials of degree 2 count - 1 exactly?

    Examples
    --------
    >>> nodes, weights = legendre(3)
    >>> round(float(weights @ nodes**5), 12) == round(1 / 6, 12)
    True
    """
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return 0.5 * (nodes + 1.0), 0.5 * weights


def panel_nodes(edges: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Which nodes and weights integrate over every panel between these sorted edges?

    Parameters
    ----------
    edges : array, shape (..., k + 1)
        Rows of sorted panel edges; panels of no width cost nothing but time.
    count : int
        Nodes per panel.

    Returns
    -------
    nodes, weights : arrays, shape (..., k·count)

    Examples
    --------
    >>> nodes, weights = panel_nodes(np.array([0.0, 1.0, 3.0]), 4)
    >>> round(float(weights @ nodes**2), 9)
    9.0
    """
    unit, share = legendre(count)
    width = np.diff(edges, axis=-1)[..., None]
    nodes = edges[..., :-1, None] + width * unit
    weights = width * share
    shape = (*edges.shape[:-1], -1)
    return nodes.reshape(shape), np.broadcast_to(weights, nodes.shape).reshape(shape)
