"""The loops of :mod:`rimwise.picture.rings`, compiled and cached on disk; for many frames.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from rimwise.geometry.compiled_algebra import inverse, middle, solved
from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import AnyArray, BoolArray, FloatArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


class Samples(NamedTuple):
    """A picture unrolled along a ring, and what its two sides are like.

    Parameters
    ----------
    colours : array (rows, n, 3)
    frame, usable : array (rows, n) of bool
        What lies in the picture, and what of it no reflection hides.
    middles : array (2, 3)
        Median of inside and outside.
    scatter : array (3, 3)
        Of both sides, of the nearer half of their samples.
    counts : array (2,)
        Usable samples inside and outside.
    """

    colours: Float32Array
    frame: BoolArray
    usable: BoolArray
    middles: FloatArray
    scatter: FloatArray
    counts: FloatArray


@_compile
def _between(at: float, size: int) -> tuple[int, int, Any]:
    """Return the two samples between which a place lies, and its share of the way."""
    first = int(np.floor(at))
    share = np.float32(at - first)
    return min(max(first, 0), size - 1), min(max(first + 1, 0), size - 1), share


@_compile
def _bilinear(
    plane: Float32Array, rows: tuple[int, int, float], columns: tuple[int, int, float], k: int
) -> Any:
    top, bottom, y = rows
    left, right, x = columns
    above = plane[top, left, k] + x * (plane[top, right, k] - plane[top, left, k])
    below = plane[bottom, left, k] + x * (plane[bottom, right, k] - plane[bottom, left, k])
    return above + y * (below - above)


@_compile
def _side(colours: Float32Array, chosen: BoolArray, level: FloatArray, scatter: FloatArray) -> int:
    """Fill in the median of the chosen samples, add their scatter, and return how many they are.

    Every second direction is asked: neighbours say the same.
    """
    samples = np.empty((3, chosen.size // 2 + chosen.shape[0]))
    count = 0
    for row in range(chosen.shape[0]):
        for column in range(0, chosen.shape[1], 2):
            if chosen[row, column]:
                for k in range(3):
                    samples[k, count] = colours[row, column, k]
                count += 1
    if count == 0:
        return 0
    samples = samples[:, :count]
    far = np.zeros(count)
    for k in range(3):
        level[k] = middle(samples[k].copy())
        for i in range(count):
            samples[k, i] -= level[k]
            far[i] += abs(samples[k, i])
    limit, near = middle(far.copy()), 0
    for i in range(count):
        near += far[i] <= limit
    for a in range(3):
        for b in range(3):
            total = 0.0
            for i in range(count):
                if far[i] <= limit:
                    total += samples[a, i] * samples[b, i]
            scatter[a, b] += 2.0 * total / max(1, near)
    return count


@_compile
def unrolled(
    planes: tuple[Float32Array, Float32Array],
    centre: tuple[float, float],
    base: FloatArray,
    offset: FloatArray,
    gap: float,
) -> tuple[Float32Array, BoolArray, BoolArray, FloatArray, FloatArray, FloatArray]:
    """What does the picture show along a ring? The fields of :class:`Samples`."""
    pixels, glare = planes
    height, width = pixels.shape[:2]
    n, rows = len(base), len(offset)
    colours = np.empty((rows, n, 3), dtype=np.float32)
    frame = np.zeros((rows, n), dtype=np.bool_)
    usable = np.zeros((rows, n), dtype=np.bool_)
    for column in range(n):
        theta = 2.0 * np.pi * column / n
        along, down = np.cos(theta), np.sin(theta)
        for row in range(rows):
            radius = max(base[column] + offset[row], 1.0)
            u, v = centre[0] + radius * along, centre[1] - radius * down
            frame[row, column] = 1 < u < width - 2 and 1 < v < height - 2
            across, upright = _between(u, width), _between(v, height)
            for k in range(3):
                colours[row, column, k] = _bilinear(pixels, upright, across, k)
            if frame[row, column]:
                usable[row, column] = _bilinear(glare, upright, across, 0) < 0.05
    middles, scatter, counts = np.zeros((2, 3)), np.zeros((3, 3)), np.zeros(2)
    first, last = 0, rows
    while first < rows and offset[first] < -gap:
        first += 1
    while last > 0 and offset[last - 1] > gap:
        last -= 1
    counts[0] = _side(colours[:first], usable[:first], middles[0], scatter)
    counts[1] = _side(colours[last:], usable[last:], middles[1], scatter)
    return colours, frame, usable, middles, scatter, counts


@_compile
def steps(
    colours: Float32Array, direction: FloatArray, limits: tuple[float, float], half: int
) -> FloatArray:
    """How much larger is the level along a direction of colour inside than outside?"""
    rows, n = colours.shape[:2]
    total = np.zeros((rows + 1, n))
    for row in range(rows):
        for column in range(n):
            level = 0.0
            for k in range(3):
                level += colours[row, column, k] * direction[k]
            total[row + 1, column] = total[row, column] + min(max(level, limits[0]), limits[1])
    step = np.empty((rows, n))
    for row in range(rows):
        low, high = max(0, row - half), min(rows, row + half + 1)
        inner, outer = max(1, row - low), max(1, high - min(row + 1, rows))
        after = min(row + 1, rows)
        for column in range(n):
            step[row, column] = (total[row, column] - total[low, column]) / inner - (
                total[high, column] - total[after, column]
            ) / outer
    return step


@_compile
def outline(
    found: FloatArray, seen: BoolArray, basis: FloatArray, ridge: FloatArray, cut: float
) -> tuple[FloatArray, float, AnyArray]:
    """Fit few waves robustly: outline, scatter, and the inverse of the last equations."""
    n, terms = basis.shape
    weights, fit, residual = np.empty(n), np.empty(n), np.empty(n)
    scale, normal = 1.0, ridge.copy()
    for column in range(n):
        weights[column] = seen[column]
    for _ in range(8):
        normal, pull = ridge.copy(), np.zeros(terms)
        for column in range(n):
            for j in range(terms):
                weighted = weights[column] * basis[column, j]
                pull[j] += weighted * found[column]
                for k in range(terms):
                    normal[j, k] += weighted * basis[column, k]
        waves = solved(normal, pull)
        left, count = np.empty(n), 0
        for column in range(n):
            fit[column] = 0.0
            for j in range(terms):
                fit[column] += basis[column, j] * waves[j]
            residual[column] = found[column] - fit[column]
            if seen[column]:
                left[count] = abs(residual[column])
                count += 1
        scale = 1.4826 * middle(left[:count]) + 0.15
        for column in range(n):
            ratio = residual[column] / (cut * scale)
            weights[column] = seen[column] * max(0.0, 1.0 - ratio * ratio) ** 2
    return fit, scale, inverse(normal)


@_compile
def circle_scores(
    strips: FloatArray, radii: FloatArray, moves: FloatArray, rows: tuple[float, float]
) -> FloatArray:
    """On which share of moved circles does an edge run? One row a move, one column a radius."""
    height, columns = strips.shape[:2]
    first, spacing = rows
    score = np.zeros((len(moves), len(radii)))
    wave = np.empty(columns)
    for m in range(len(moves)):
        for column in range(columns):
            theta = 2.0 * np.pi * column / columns
            wave[column] = 1.0 + moves[m, 0] * np.cos(theta) + moves[m, 1] * np.sin(theta)
            wave[column] /= spacing
        for i in range(len(radii)):
            bright = red = green = 0.0
            for column in range(columns):
                # Rounded down from half a row on; what lies before the first row is the first.
                row = min(
                    int(max(radii[i] * wave[column] - first / spacing + 0.5, 0.0)), height - 1
                )
                bright += strips[row, column, 0]
                red += strips[row, column, 1]
                green += strips[row, column, 2]
            score[m, i] = (abs(bright) + abs(red) + abs(green)) / columns
    return score
