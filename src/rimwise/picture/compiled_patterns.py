"""The search of :mod:`rimwise.picture.patterns`, compiled and cached on disk; for many frames.

Importing this module costs about half a second.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray, IntArray

_compile: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)


@_compile
def _bell(length: int, middle: float, sd: float) -> Float32Array:
    found = np.empty(length, dtype=np.float32)
    for i in range(length):
        away = (i - middle) / sd
        found[i] = np.exp(-0.5 * away * away)
    return found


@_compile
def _reach(moves: IntArray, axis: int) -> tuple[int, int]:
    """Return how far a pattern reaches back and forth from its own place."""
    back = forth = 0
    for k in range(len(moves)):
        back, forth = max(back, -moves[k, axis]), max(forth, moves[k, axis])
    return back, forth


@_compile
def _rounded(offsets: FloatArray, every: int) -> IntArray:
    found = np.empty(offsets.shape, dtype=np.int64)
    for k in range(len(offsets)):
        for i in range(2):
            found[k, i] = int(np.rint(offsets[k, i] / every))
    return found


@_compile
def _coarse(
    near: Float32Array, moves: IntArray, prior: tuple[FloatArray, float, int], every: int
) -> Float32Array:
    """Return how well a pattern stands at each sample, times how near it is to its place."""
    place, sd, power = prior
    height, width = (near.shape[0] + every - 1) // every, (near.shape[1] + every - 1) // every
    coarse = np.empty((height, width), dtype=np.float32)
    for row in range(height):
        for column in range(width):
            coarse[row, column] = near[every * row, every * column]
    score = np.zeros((height, width), dtype=np.float32)
    left, beyond = _reach(moves, 0)
    top, below = _reach(moves, 1)
    right, bottom = width - beyond, height - below
    if right <= left:
        return score
    along_u = _bell(width, place[0] / every, sd / every)[left:right]
    along_v = _bell(height, place[1] / every, sd / every)
    share = np.float32(1.0) / np.float32(len(moves))
    total = np.empty(right - left, dtype=np.float32)
    least = np.empty(right - left, dtype=np.float32)
    # One whole row after the other, so that the compiler works on many samples at once.
    for row in range(top, bottom):
        for k in range(len(moves)):
            here = coarse[row + moves[k, 1], left + moves[k, 0] : right + moves[k, 0]]
            if k == 0:
                for i in range(len(total)):
                    total[i] = least[i] = here[i]
                continue
            for i in range(len(total)):
                total[i] += here[i]
                least[i] = here[i] if here[i] < least[i] else least[i]
        away, goal = along_v[row], score[row, left:right]
        for i in range(len(total)):
            plain = total[i] * least[i] * share
            goal[i] = (np.sqrt(plain) if power == 1 else plain) * (away * along_u[i])
    return score


@_compile
def _settled(
    near: Float32Array,
    moves: IntArray,
    prior: tuple[FloatArray, float, int],
    at: tuple[int, int, int],
) -> tuple[float, float, float, float]:
    """Return the best place about a sample, its plainness and its worth."""
    place, sd, power = prior
    row, column, reach = at
    height, width = near.shape
    best = -1.0
    found = (0.0, 0.0, 0.0, 0.0)
    for v in range(row - reach, row + reach + 1):
        for u in range(column - reach, column + reach + 1):
            total, least = 0.0, np.inf
            for k in range(len(moves)):
                y, x = v + moves[k, 1], u + moves[k, 0]
                here = 0.0
                if 0 <= y < height and 0 <= x < width:
                    here = near[y, x]
                total += here
                least = min(least, here)
            plain = np.sqrt(total / len(moves) * least)
            far = ((u - place[0]) ** 2 + (v - place[1]) ** 2) / sd**2
            worth = plain**power * np.exp(-0.5 * far)
            if worth > best:
                best = worth
                found = (float(u), float(v), plain, worth)
    return found


@_compile
def _most(row: Float32Array) -> np.float32:
    most = np.float32(0.0)
    for one in row:
        most = one if one > most else most
    return most


@_compile
def _where_most(row: Float32Array) -> int:
    best = 0
    for i in range(1, len(row)):
        if row[i] > row[best]:
            best = i
    return best


@_compile
def places(
    near: Float32Array,
    offsets: FloatArray,
    prior: tuple[FloatArray, float, int],
    count: int,
    apart: int,
    every: int,
) -> FloatArray:
    """Where does a pattern stand most likely? Rows of ``pattern_places``."""
    moves, fine = _rounded(offsets, every), _rounded(offsets, 1)
    score = _coarse(near, moves, prior, every)
    height, width = score.shape
    most = np.empty(height, dtype=np.float32)
    for row in range(height):
        most[row] = _most(score[row])
    found = np.zeros((count, 4))
    for i in range(count):
        row = _where_most(most)
        if most[row] <= 0.0:
            return found[:i]
        column = _where_most(score[row])
        found[i] = _settled(near, fine, prior, (every * row, every * column, 2 * every))
        u, v = int(np.rint(found[i, 0] / every)), int(np.rint(found[i, 1] / every))
        score[row, column] = 0.0
        for y in range(max(0, min(v - apart, row)), min(height, max(v + apart, row) + 1)):
            for x in range(max(0, u - apart), min(width, u + apart + 1)):
                if (x - u) ** 2 + (y - v) ** 2 <= apart * apart:
                    score[y, x] = 0.0
            most[y] = _most(score[y])
    return found
