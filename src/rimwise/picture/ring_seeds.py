"""Where could a ring be centred? Gradients of a small picture vote for centres."""

from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray

_KEPT = 6
_APART = 0.25  # of the radius: nearer peaks are the same ring


@dataclass(frozen=True, slots=True)
class RingSeed:
    """A circle that many gradients point at, in pixels of the plane they were taken from."""

    votes: float
    u_px: float
    v_px: float
    radius_px: float


def opponents(log_rgb: Float32Array) -> list[Float32Array]:
    """Return brightness, redness and greenness of a picture of logarithms.

    Examples
    --------
    >>> [plane.shape for plane in opponents(np.zeros((4, 5, 3), dtype=np.float32))]
    [(4, 5), (4, 5), (4, 5)]
    """
    red, green, blue = (log_rgb[..., k] for k in range(3))
    return [(red + green + blue) / 3.0, red - blue, green - 0.5 * (red + blue)]


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
    planes = [cv2.GaussianBlur(plane, (0, 0), 1.2) for plane in opponents(log_rgb)]
    height, width = planes[0].shape
    shape = (len(radii_px), height, width)
    total = np.zeros(shape, dtype=np.float32)
    for plane in planes:
        du, dv = (cv2.Sobel(plane, cv2.CV_32F, a, b, ksize=3) for a, b in ((1, 0), (0, 1)))
        signs = _compiled_votes(du, dv, radii_px) if compiled else _plain_votes(du, dv, radii_px)
        if signs is not None:
            total += np.maximum(*signs)
    return _peaks(total, radii_px)


def _plain_votes(
    du: Float32Array, dv: Float32Array, radii_px: FloatArray
) -> list[Float32Array] | None:
    """Return the votes for each radius and centre, for steps down and up."""
    size: Float32Array = np.hypot(du, dv)
    noise = float(np.median(size)) + 1e-6
    weight: Float32Array = np.clip(size / np.float32(_FULL * noise), 0.0, 1.0)
    strong = np.flatnonzero(weight.ravel() > _STRONG)
    if len(strong) == 0:
        return None
    # Single precision places a vote to a thousandth of a pixel.
    v, u = (k.astype(np.float32) for k in np.unravel_index(strong, weight.shape))
    length, chosen = size.ravel()[strong], weight.ravel()[strong]
    way_u, way_v = du.ravel()[strong] / length, dv.ravel()[strong] / length
    signs = []
    for sign in (1.0, -1.0):
        votes = [
            _votes((u, v), (sign * way_u, sign * way_v), chosen, float(r), weight.shape)
            for r in radii_px
        ]
        signs.append(np.stack(votes))
    return signs


_FULL, _STRONG = 4.0, 0.25  # noise levels of a gradient that counts fully; share that counts


def _compiled_votes(du: Float32Array, dv: Float32Array, radii_px: FloatArray) -> Float32Array:
    from rimwise.picture.compiled_votes import votes  # noqa: PLC0415 - half a second

    found = np.asarray(votes(du, dv, radii_px.astype(np.float32), (_FULL, _STRONG)))
    for sign in found:
        for plane, radius in zip(sign, radii_px, strict=True):
            _spread_out(plane, float(radius), plane)
    return found


def _spread_out(
    votes: Float32Array, radius: float, target: Float32Array | None = None
) -> Float32Array:
    """Let votes count for the centres about theirs too, as the share of the whole circle."""
    spread = 1.0 + 0.04 * radius
    blurred = np.asarray(cv2.GaussianBlur(votes, (0, 0), spread, dst=target))
    blurred *= np.float32(spread / radius)
    return blurred


def _votes(
    at: tuple[Float32Array, Float32Array],
    way: tuple[Float32Array, Float32Array],
    weight: Float32Array,
    radius: float,
    shape: tuple[int, int],
) -> Float32Array:
    """Return the share of a circle of this radius that votes for each centre."""
    height, width = shape
    u = np.rint(at[0] - np.float32(radius) * way[0]).astype(np.int32)
    v = np.rint(at[1] - np.float32(radius) * way[1]).astype(np.int32)
    # A negative column or row is a very large one without its sign.
    inside = (u.view(np.uint32) < width) & (v.view(np.uint32) < height)
    flat = np.bincount((v * width + u)[inside], weight[inside], height * width)
    return _spread_out(flat.reshape(height, width).astype(np.float32), radius)


def _peaks(total: Float32Array, radii_px: FloatArray) -> list[RingSeed]:
    best, which = total.max(axis=0), total.argmax(axis=0)
    seeds: list[RingSeed] = []
    for _ in range(_KEPT):
        v, u = (int(k) for k in np.unravel_index(int(best.argmax()), best.shape))
        if best[v, u] <= 0.0:
            break
        radius = float(radii_px[which[v, u]])
        seeds.append(RingSeed(float(best[v, u]), float(u), float(v), radius))
        reach = int(_APART * radius) + 1
        top, left = max(0, v - reach), max(0, u - reach)
        near = best[top : v + reach + 1, left : u + reach + 1]
        rows, columns = np.ogrid[: near.shape[0], : near.shape[1]]
        apart = (columns + left - u) ** 2 + (rows + top - v) ** 2
        near[apart < (_APART * radius) ** 2] = 0.0
    return seeds
