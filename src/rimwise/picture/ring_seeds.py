"""Where could a ring be centred? Gradients of a small picture vote for centres."""

from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray

_KEPT = 6
OPPONENTS = np.array([[1, 1, 1], [3, 0, -3], [-1.5, 3, -1.5]], dtype=np.float32) / 3.0
"""Brightness, redness and greenness from logarithms of red, green and blue."""

_APART = 0.25  # of the radius: nearer peaks are the same ring


@dataclass(frozen=True, slots=True)
class RingSeed:
    """A circle that many gradients point at, in pixels of the plane they were taken from."""

    votes: float
    u_px: float
    v_px: float
    radius_px: float


def ring_seeds(
    log_rgb: Float32Array, radii_px: FloatArray, compiled: bool = False
) -> list[RingSeed]:
    """Which circles of these radii do the picture's gradients point at, likeliest first?

    Parameters
    ----------
    log_rgb : array (h, w, 3)
        Logarithms of a small picture.
    radii_px : array (n,)
        Radii to try.
    compiled : bool
        Whether to load the compiler, for many frames; the circles are the same.

    Notes
    -----
    The circular voting scheme with the gradient's direction (Kimme, Ballard & Sklansky 1975),
    taken by itself for brightness and two colours and for both signs of the step, since an iris
    may be darker, brighter or only of another colour than what surrounds it. Clipped gradients
    count alike, so that an instrument cannot outvote a faint ring.
    """
    told = cv2.GaussianBlur(cv2.transform(log_rgb, OPPONENTS), (0, 0), 1.2)
    du, dv = (cv2.Sobel(told, cv2.CV_32F, a, b, ksize=3) for a, b in ((1, 0), (0, 1)))
    radii = radii_px.astype(np.float32)
    votes = _compiled_votes(du, dv, radii) if compiled else _plain_votes(du, dv, radii)
    total = np.zeros((len(radii), *votes.shape[3:]), dtype=np.float32)
    for k, radius in enumerate(radii_px):
        for down, up in votes[k]:
            total[k] += np.maximum(_spread_out(down, radius), _spread_out(up, radius))
        total[k] *= np.float32(2.0 * _spread(radius) / radius / _BIN**2)
    return _peaks(total, radii_px)


# Small pixels: votes are spread over more than that anyway. Every second pixel is asked, as those
# of a chessboard's one colour: smoothed gradients of neighbours say the same.
_BIN = 2
_FULL, _STRONG = 4.0, 0.25  # noise levels of a gradient that counts fully; share that counts


def _plain_votes(du: Float32Array, dv: Float32Array, radii_px: Float32Array) -> Float32Array:
    """Return the votes by radius, plane, step down or up, and centre."""
    height, width = du.shape[:2]
    shape = (-(-height // _BIN), -(-width // _BIN))
    found = np.zeros((len(radii_px), du.shape[2], 2, *shape), dtype=np.float32)
    asked = np.add.outer(np.arange(height), np.arange(width)) % 2 == 0
    for plane in range(du.shape[2]):
        across, down = du[..., plane], dv[..., plane]
        size: Float32Array = np.sqrt(across * across + down * down)
        noise = np.float32(np.median(size[asked][::2]) + np.float32(1e-6))
        weight: Float32Array = np.minimum(size / (np.float32(_FULL) * noise), np.float32(1.0))
        v, u = np.nonzero((weight > np.float32(_STRONG)) & asked)
        at = u.astype(np.float32), v.astype(np.float32)
        chosen: Float32Array = size[v, u]
        way = across[v, u] / chosen, down[v, u] / chosen
        for k, radius in enumerate(radii_px):
            for step, sign in enumerate((np.float32(1.0), np.float32(-1.0))):
                found[k, plane, step] = _votes(at, way, weight[v, u], sign * radius, shape)
    return found


def _compiled_votes(du: Float32Array, dv: Float32Array, radii_px: Float32Array) -> Float32Array:
    from rimwise.picture.compiled_votes import votes  # noqa: PLC0415 - half a second

    return np.asarray(votes(du, dv, radii_px, (_FULL, _STRONG), _BIN))


def _spread(radius: float) -> float:
    return 1.0 + 0.04 * radius


def _spread_out(votes: Float32Array, radius: float) -> Float32Array:
    """Let votes count for the centres about theirs too, as the share of the whole circle."""
    # A bin has spread them already, over its own width.
    spread = np.sqrt(_spread(radius) ** 2 - (_BIN**2 - 1) / 12.0) / _BIN
    return np.asarray(cv2.GaussianBlur(votes, (0, 0), float(spread)))


def _votes(
    at: tuple[Float32Array, Float32Array],
    way: tuple[Float32Array, Float32Array],
    weight: Float32Array,
    radius: np.float32,
    shape: tuple[int, int],
) -> Float32Array:
    """Return how much votes for a circle of this radius about the centres of each bin."""
    half, share = np.float32(0.5), np.float32(1.0 / _BIN)
    u = np.floor((at[0] - radius * way[0] + half) * share).astype(np.int32)
    v = np.floor((at[1] - radius * way[1] + half) * share).astype(np.int32)
    # A negative column or row is a very large one without its sign.
    inside = (u.view(np.uint32) < shape[1]) & (v.view(np.uint32) < shape[0])
    flat = np.bincount((v * shape[1] + u)[inside], weight[inside], shape[0] * shape[1])
    return flat.reshape(shape).astype(np.float32)


def _peaks(total: Float32Array, radii_px: FloatArray) -> list[RingSeed]:
    best, which = total.max(axis=0), total.argmax(axis=0)
    slope = best.copy()
    middle = 0.5 * (_BIN - 1)
    seeds: list[RingSeed] = []
    for _ in range(_KEPT):
        row, column = (int(k) for k in np.unravel_index(int(best.argmax()), best.shape))
        most, radius = float(best[row, column]), float(radii_px[which[row, column]])
        if most <= 0.0:
            break
        u = _BIN * (column + _fine(slope[row, max(0, column - 1) : column + 2])) + middle
        v = _BIN * (row + _fine(slope[max(0, row - 1) : row + 2, column])) + middle
        seeds.append(RingSeed(most, u, v, radius))
        reach = _APART * radius / _BIN
        top, left = max(0, row - int(reach) - 1), max(0, column - int(reach) - 1)
        near = best[top : row + int(reach) + 2, left : column + int(reach) + 2]
        rows, columns = np.ogrid[: near.shape[0], : near.shape[1]]
        near[(columns + left - column) ** 2 + (rows + top - row) ** 2 < reach**2] = 0.0
        best[row, column] = 0.0
    return seeds


def _fine(three: Float32Array) -> float:
    """How far from the middle one of three neighbours does their parabola peak?"""
    if len(three) < 3:
        return 0.0
    before, here, after = (float(one) for one in three)
    bend = before - 2.0 * here + after
    return min(0.5, max(-0.5, 0.5 * (before - after) / bend)) if bend < 0.0 else 0.0
