"""The search of :mod:`rimwise.picture.paths`, compiled and cached on disk.

Importing this module costs about half a second: only those who look at many frames do.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.terms.arrays import FloatArray, IntArray


def _cheapest(doubled: FloatArray, toll: FloatArray, largest_step: int) -> IntArray:
    columns, rows = doubled.shape
    came_from = np.zeros((columns, rows), dtype=np.int64)
    before, here = doubled[0].copy(), np.empty(rows)
    for column in range(1, columns):
        for row in range(rows):
            least, way = np.inf, 0
            for step in range(-largest_step, largest_step + 1):
                if 0 <= row + step < rows:
                    cost = before[row + step] + toll[step + largest_step]
                    if cost < least:
                        least, way = cost, step
            here[row] = least + doubled[column, row]
            came_from[column, row] = way
        before, here = here, before
    path = np.empty(columns, dtype=np.int64)
    best = 0
    for row in range(rows):
        best = row if before[row] < before[best] else best
    path[columns - 1] = best
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] + came_from[column, path[column]]
    return path


cheapest: Callable[..., Any] = njit(cache=True, nogil=True)(_cheapest)
