"""The loops of :func:`rimwise.picture.spots.spot_map`, compiled and cached on disk.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.geometry.compiled_algebra import middle
from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import BoolArray, FloatArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def _spread(samples: FloatArray) -> float:
    level = middle(samples.copy())
    return float(1.4826 * middle(np.abs(samples - level)) + 1e-4)


@_compile
def shares(smooth: Float32Array, ground: BoolArray, least: int, every: int) -> Float32Array:
    """With which weights do channels, (h, w, 3), add up to a plane in noise levels of the ground?

    Each counts in its own levels. The noise is that of one pixel in so many (``every``) each way of
    the ground, or of all where that is less than ``least`` of them.
    """
    rows = min(ground.shape[0], (smooth.shape[0] + every // 2 - 1) // every)
    columns = min(ground.shape[1], (smooth.shape[1] + every // 2 - 1) // every)
    first = every // 2
    samples = np.empty((3, rows * columns))
    count = 0
    for few in range(2):
        count = 0
        for row in range(rows):
            for column in range(columns):
                if few or ground[row, column]:
                    for k in range(3):
                        samples[k, count] = smooth[first + every * row, first + every * column, k]
                    count += 1
        if count >= least:
            break
    levels = np.ones(3, dtype=np.float32)
    if count == 0:
        return levels
    added = np.zeros(count)
    for k in range(3):
        levels[k] = _spread(samples[k, :count])
        for i in range(count):
            added[i] += samples[k, i] / levels[k]
    return np.float32(1.0) / (levels * np.float32(_spread(added)))
