"""The votes of :mod:`rimwise.picture.ring_seeds`, compiled and cached on disk; for many frames.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.picture.planes import Float32Array

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def votes(
    du: Float32Array, dv: Float32Array, radii: Float32Array, least: tuple[float, float]
) -> Float32Array:
    """For which centres of circles do gradients speak? (2 signs, radii, h, w), not yet spread."""
    height, width = du.shape
    size = np.hypot(du, dv)
    noise = np.float32(np.median(size) + 1e-6)
    full, strong = np.float32(least[0]), np.float32(least[1])
    found = np.zeros((2, len(radii), height, width), dtype=np.float32)
    for row in range(height):
        for column in range(width):
            length = size[row, column]
            weight = min(length / (full * noise), np.float32(1.0))
            if not weight > strong:
                continue
            way_u, way_v = du[row, column] / length, dv[row, column] / length
            for k in range(len(radii)):
                across, down = radii[k] * way_u, radii[k] * way_v
                for sign in range(2):
                    u = int(np.rint(column - across if sign == 0 else column + across))
                    v = int(np.rint(row - down if sign == 0 else row + down))
                    if 0 <= u < width and 0 <= v < height:
                        found[sign, k, v, u] += weight
    return found
