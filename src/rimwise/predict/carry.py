"""What changes smoothly is traced at a few places and carried to many by a polynomial."""

import math

import numpy as np

from rimwise.terms.arrays import FloatArray


def chebyshev(count: int) -> FloatArray:
    """At which places between -1 and 1 is a polynomial pinned best?

    Examples
    --------
    >>> chebyshev(3).round(3).tolist()
    [0.866, 0.0, -0.866]
    """
    return np.asarray(np.cos(math.pi * (np.arange(count) + 0.5) / count))


def carrying(nodes: FloatArray, steps: FloatArray) -> FloatArray:
    """Which matrix takes values at the nodes to those of their polynomial at the steps?

    Examples
    --------
    >>> to = carrying(np.array([0.0, 1.0, 2.0]), np.array([3.0]))
    >>> (to @ np.array([0.0, 1.0, 4.0])).round(9).tolist()
    [9.0]
    """
    gaps = nodes[:, None] - nodes + np.eye(len(nodes))
    weight = 1.0 / gaps.prod(axis=1)
    away = steps[:, None] - nodes
    hit = np.asarray(np.abs(away) < 1e-12)
    share = weight / np.where(hit, 1.0, away)
    share = np.where(hit.any(axis=1, keepdims=True), hit, share)
    return np.asarray(share / share.sum(axis=1, keepdims=True))
