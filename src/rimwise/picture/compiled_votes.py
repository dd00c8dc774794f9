"""The votes of :mod:`rimwise.picture.ring_seeds`, compiled and cached on disk; for many frames.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.geometry.compiled_algebra import middle
from rimwise.picture.planes import Float32Array

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def votes(
    du: Float32Array, dv: Float32Array, radii: Float32Array, least: tuple[float, float], bins: int
) -> Float32Array:
    """For which centres of circles do gradients, (h, w, planes), speak? Not yet spread.

    By radius, plane, step down or up, and bin of so many pixels a side; every second pixel votes.
    """
    height, width, planes = du.shape
    full, strong = np.float32(least[0]), np.float32(least[1])
    half, share = np.float32(0.5), np.float32(1.0 / bins)
    rows, columns = -(-height // bins), -(-width // bins)
    found = np.zeros((len(radii), planes, 2, rows, columns), dtype=np.float32)
    half_size = (height * width + 1) // 2
    size, sample = np.empty(half_size, dtype=np.float32), np.empty((half_size + 1) // 2)
    for plane in range(planes):
        count = 0
        for row in range(height):
            for column in range(row % 2, width, 2):
                across, down = du[row, column, plane], dv[row, column, plane]
                size[count] = np.sqrt(across * across + down * down)
                count += 1
        for i in range(len(sample)):
            sample[i] = size[2 * i]
        noise = np.float32(middle(sample)) + np.float32(1e-6)
        count = -1
        for row in range(height):
            for column in range(row % 2, width, 2):
                count += 1
                length = size[count]
                weight = min(length / (full * noise), np.float32(1.0))
                if not weight > strong:
                    continue
                way_u, way_v = du[row, column, plane] / length, dv[row, column, plane] / length
                u, v = np.float32(column) + half, np.float32(row) + half
                for k in range(len(radii)):
                    across, down = radii[k] * way_u, radii[k] * way_v
                    for step in range(2):
                        x = (u - across if step == 0 else u + across) * share
                        y = (v - down if step == 0 else v + down) * share
                        if x >= 0 and y >= 0 and x < columns and y < rows:
                            found[k, plane, step, int(y), int(x)] += weight
    return found
