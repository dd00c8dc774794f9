"""Small equations and medians for compiled loops, cached on disk.

The general routines take seconds to compile wherever they are used; these take a moment, once.
Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.terms.arrays import FloatArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def _root(matrix: FloatArray) -> FloatArray:
    """Return the lower triangle whose product with its transpose is a positive matrix."""
    n = len(matrix)
    lower = np.zeros((n, n))
    for j in range(n):
        for i in range(j, n):
            left = matrix[i, j]
            for k in range(j):
                left -= lower[i, k] * lower[j, k]
            lower[i, j] = np.sqrt(left) if i == j else left / lower[j, j]
    return lower


@_compile
def _behind(lower: FloatArray, right: FloatArray) -> FloatArray:
    n = len(right)
    found = right.copy()
    for i in range(n):
        for k in range(i):
            found[i] -= lower[i, k] * found[k]
        found[i] /= lower[i, i]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            found[i] -= lower[k, i] * found[k]
        found[i] /= lower[i, i]
    return found


@_compile
def solved(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """What solves these equations of a symmetric positive matrix? By its Cholesky root.

    Examples
    --------
    >>> solved(np.array([[4.0, 2.0], [2.0, 3.0]]), np.array([2.0, 5.0])).round(12).tolist()
    [-0.5, 2.0]
    """
    return np.asarray(_behind(_root(matrix), right))


@_compile
def inverse(matrix: FloatArray) -> FloatArray:
    """What is the inverse of a symmetric positive matrix?

    Examples
    --------
    >>> inverse(np.array([[4.0, 0.0], [0.0, 16.0]])).tolist()
    [[0.25, 0.0], [0.0, 0.0625]]
    """
    lower, found = _root(matrix), np.zeros(matrix.shape)
    for k in range(len(matrix)):
        found[k, k] = 1.0
        found[k] = _behind(lower, found[k])
    return found


@_compile
def middle(values: FloatArray) -> float:
    """What is the median of these numbers? They are put into another order; NaN for none.

    Examples
    --------
    >>> middle(np.array([4.0, 1.0, 3.0, 2.0])), middle(np.array([5.0, 1.0, 3.0]))
    (2.5, 3.0)
    """
    n = len(values)
    if n == 0:
        return np.nan
    half, first, last = n // 2, 0, n - 1
    while first < last:
        pivot, i, j = values[(first + last) // 2], first, last
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i, j = i + 1, j - 1
        if half <= j:
            last = j
        elif half >= i:
            first = i
        else:
            break
    if n % 2:
        return float(values[half])
    below = values[0]
    for i in range(1, half):
        below = max(below, values[i])
    return 0.5 * float(below + values[half])
