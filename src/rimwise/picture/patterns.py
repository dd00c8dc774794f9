"""Where does a pattern of spots stand? Looked for on every second pixel, settled on every one."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray, IntArray

Prior = tuple[FloatArray, float, Literal[1, 2]]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which places of a pattern are asked for.

    Parameters
    ----------
    count : int
        How many at most.
    apart_px : float
        Least distance between two of them.
    every : int
        The search is thinned out to one pixel in so many each way: a spot is several pixels wide,
        and each sample holds the plainest of its neighbours.
    """

    count: int
    apart_px: float
    every: int = 2


def nearby(level: Float32Array, half: float, tolerance_px: int) -> Float32Array:
    """How plain is the plainest thing near each pixel?

    Parameters
    ----------
    level : array (h, w)
    half : float
        Levels far beyond count by their logarithm: one bright speck does not make a pattern.
    tolerance_px : int
        How far each spot of a pattern may lie off.

    Examples
    --------
    >>> level = np.zeros((5, 5), dtype=np.float32); level[2, 2] = 5.0
    >>> [round(float(k), 1) for k in nearby(level, 1e4, 1)[2]]
    [0.0, 5.0, 5.0, 5.0, 0.0]
    """
    # Many times faster than log1p, and as good to a ten-millionth of half.
    near = np.float32(half) * np.log(1.0 + np.maximum(level, 0.0) * np.float32(1.0 / half))
    if tolerance_px > 0:
        size = 2 * tolerance_px + 1
        near = cv2.dilate(near, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    return np.asarray(near, dtype=np.float32)


def pattern_score(near: Float32Array, offsets_px: FloatArray) -> Float32Array:
    """How strongly do all spots of a pattern appear, if it stands at each pixel?

    Parameters
    ----------
    near : array (h, w)
        Of :func:`nearby`.
    offsets_px : array (n, 2)
        Of each spot from the pattern's own place.

    Returns
    -------
    array (h, w)
        Geometric mean of the mean and of the least of the spots; 0 where one lies outside.

    Examples
    --------
    >>> near = np.zeros((9, 9), dtype=np.float32); near[4, 2] = near[4, 6] = 5.0
    >>> score = pattern_score(near, np.array([[-2.0, 0.0], [2.0, 0.0]]))
    >>> round(float(score[4, 4]), 3), float(score[4, 2])
    (5.0, 0.0)
    """
    height, width = near.shape
    moves = np.rint(offsets_px).astype(np.intp)
    left, top = np.maximum(0, -moves.min(axis=0))
    right, bottom = np.array([width, height]) - np.maximum(0, moves.max(axis=0))
    score = np.zeros_like(near)
    if right <= left or bottom <= top:
        return score
    total = np.zeros((bottom - top, right - left), dtype=np.float32)
    least = np.full_like(total, np.inf)
    for du, dv in moves:
        moved = near[top + dv : bottom + dv, left + du : right + du]
        total += moved
        np.minimum(least, moved, out=least)
    total *= least
    total /= np.float32(len(moves))
    score[top:bottom, left:right] = np.sqrt(total)
    return score


def pattern_places(
    near: Float32Array,
    offsets_px: FloatArray,
    prior: Prior,
    wanted: Wanted,
    compiled: bool = False,
) -> Iterator[tuple[float, float, float, float]]:
    """Where does a pattern stand most likely?

    Parameters
    ----------
    near : array (h, w)
        Of :func:`nearby`.
    offsets_px : array (n, 2)
        Of each spot from the pattern's own place.
    prior : (place, sd, power)
        Where it is awaited, column and row, with the sd of each coordinate; plainness counts
        with this power beside closeness.
    wanted : Wanted
    compiled : bool
        Whether to load the compiler, for many patterns; the places are the same.

    Yields
    ------
    u, v, plainness, worth : float
        Likeliest first; worth is plainness to its power times closeness.

    Examples
    --------
    >>> level = np.zeros((24, 30), dtype=np.float32); level[8, 11] = level[8, 17] = 5.0
    >>> near, ends = nearby(level, 1e4, 1), np.array([[-3.0, 0.0], [3.0, 0.0]])
    >>> place = (np.array([14.0, 8.0]), 9.0, 1)
    >>> found = pattern_places(near, ends, place, Wanted(1, 3.0))
    >>> [tuple(round(k, 1) for k in one) for one in found]
    [(14.0, 8.0, 5.0, 5.0)]
    """
    place, sd, power = prior
    count, apart_px, every = wanted.count, wanted.apart_px, wanted.every
    if compiled:
        from rimwise.picture.compiled_patterns import places  # noqa: PLC0415 - half a second

        apart = max(1, round(apart_px / every))
        yield from places(near, offsets_px, prior, count, apart, every).tolist()
        return
    around = np.arange(-2 * every, 2 * every + 1)
    coarse = np.ascontiguousarray(near[::every, ::every])
    score = pattern_score(coarse, offsets_px / every)
    if power == 2:
        score *= score
    score *= closeness(score.shape, place / every, sd / every)
    for _ in range(count):
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        if score[row, column] <= 0.0:
            return
        middle = np.array([every * column, every * row], dtype=np.float64)
        plain = _about(near, offsets_px, middle, around)
        away = [(around + m - p) / sd for m, p in zip(middle, place, strict=True)]
        along_u, along_v = (np.exp(-0.5 * one**2) for one in away)
        worth = plain**power * np.outer(along_v, along_u)
        k, j = np.unravel_index(int(worth.argmax()), worth.shape)
        u, v = float(middle[0] + around[j]), float(middle[1] + around[k])
        yield u, v, float(plain[k, j]), float(worth[k, j])
        here = (round(u / every), round(v / every))
        cv2.circle(score, here, max(1, round(apart_px / every)), 0.0, -1)
        score[row, column] = 0.0


def closeness(shape: tuple[int, ...], place: FloatArray, sd_px: float) -> Float32Array:
    """How near is each pixel to where something is awaited? 1 there, falling like a bell.

    Examples
    --------
    >>> closeness((1, 3), np.array([1.0, 0.0]), 1.0).round(3).tolist()
    [[0.6069999933242798, 1.0, 0.6069999933242798]]
    """
    v, u = (np.arange(n, dtype=np.float64) - c for n, c in zip(shape, place[::-1], strict=True))
    along_v, along_u = (np.exp(-0.5 * (away / sd_px) ** 2) for away in (v, u))
    return np.asarray(np.outer(along_v, along_u), dtype=np.float32)


def _about(
    near: Float32Array, offsets_px: FloatArray, middle: FloatArray, around: IntArray
) -> FloatArray:
    """Return the score of the pattern on the pixels about one place, each by itself."""
    moves = np.rint(offsets_px).astype(np.intp) + middle.astype(np.intp)
    columns = moves[:, :1] + around
    rows = moves[:, 1:] + around
    height, width = near.shape
    inside = ((rows >= 0) & (rows < height))[:, :, None] & ((columns >= 0) & (columns < width))[
        :, None, :
    ]
    values = near[rows.clip(0, height - 1)[:, :, None], columns.clip(0, width - 1)[:, None, :]]
    values = np.where(inside, values, 0.0)
    return np.asarray(np.sqrt(values.mean(axis=0) * values.min(axis=0)), dtype=np.float64)
