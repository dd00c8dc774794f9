"""The picture as the photographer saw it: the orientation tag applied to pixels and points."""

import numpy as np

from rimwise.picture.raster import Raster, UInt8Array
from rimwise.terms.arrays import FloatArray

WIDEST_PX = 1400


def upright_pixels(raster: Raster) -> UInt8Array:
    """Which pixels does a viewer show? (EXIF orientation 1 to 8, CIPA DC-008; from memory)

    Examples
    --------
    >>> stored = Raster(np.array([[1, 2, 3]], dtype=np.uint8), orientation=6)
    >>> upright_pixels(stored).tolist()
    [[1], [2], [3]]
    """
    pixels, tag = raster.pixels, raster.orientation
    if tag in {5, 6, 7, 8}:
        pixels = np.swapaxes(pixels, 0, 1)
    if tag in {2, 3, 6, 7}:
        pixels = pixels[:, ::-1]
    if tag in {3, 4, 7, 8}:
        pixels = pixels[::-1]
    return pixels


def upright_points(points_px: FloatArray, raster: Raster) -> FloatArray:
    """Where do points (..., 2) of the stored raster lie in the picture as shown?

    Examples
    --------
    >>> stored = Raster(np.zeros((1, 3), dtype=np.uint8), orientation=6)
    >>> upright_points(np.array([2.0, 0.0]), stored).tolist()
    [0.0, 2.0]
    """
    u, v = points_px[..., 0], points_px[..., 1]
    right, down = raster.width_px - 1.0, raster.height_px - 1.0
    tag = raster.orientation
    if tag in {5, 6, 7, 8}:
        u, v, right, down = v, u, down, right
    if tag in {2, 3, 6, 7}:
        u = right - u
    if tag in {3, 4, 7, 8}:
        v = down - v
    return np.stack([u, v], axis=-1)


def shrink(pixels: UInt8Array, widest_px: int = WIDEST_PX) -> tuple[UInt8Array, int]:
    """Shrink a picture by whole blocks so that it is no wider than wanted.

    Returns
    -------
    pixels : array of uint8
    factor : int
        Pixels a block; the shrunk picture's pixel i covers i·factor to (i+1)·factor - 1.

    Examples
    --------
    >>> shrink(np.array([[10, 30]], dtype=np.uint8).repeat(2, axis=0), widest_px=1)
    (array([[20]], dtype=uint8), 2)
    """
    factor = max(1, -(-pixels.shape[1] // widest_px))
    if factor == 1:
        return pixels, 1
    rows, columns = pixels.shape[0] // factor, pixels.shape[1] // factor
    cut = pixels[: rows * factor, : columns * factor]
    blocks = cut.reshape(rows, factor, columns, factor, -1).mean(axis=(1, 3))
    return np.rint(blocks).astype(np.uint8).reshape(rows, columns, *pixels.shape[2:]), factor
