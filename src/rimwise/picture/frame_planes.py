"""A microscope frame prepared for the search of rings and spots: small and half-size planes."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from rimwise.picture.planes import Float32Array
from rimwise.picture.raster import Picture, Raster
from rimwise.terms.arrays import FloatArray

LARGEST_LONG_SIDE_PX = 2048
"""Larger frames are averaged down: a reflex is several pixels wide there anyway."""

_SHRUNK_LONG_SIDE_PX = 1600

_HALF = 0.5
_SMALL_LONG_SIDE_PX = 200
_LOG_FLOOR_GREY = 8.0  # keeps sensor noise in black parts from becoming contrast
_GLARE_GREY = 215


@dataclass(frozen=True, slots=True)
class FramePlanes:
    """A frame at working size, at half of it, and small.

    Parameters
    ----------
    grey : array (h, w, 3) of uint8
        Red, green, blue at working size.
    log_half : array (h/2, w/2, 3)
        Natural logarithm of the channels at half the working size.
    glare_half : array (h/2, w/2)
        1 where a mirror reflection hides what lies below.
    log_small : array
        The same, small, for the first look.
    factor : float
        Working pixels per stored pixel.
    small : float
        Small pixels per working pixel.
    compiled : bool
        Whether edges are searched with compiled code, for many frames.
    corner_px : (int, int)
        Working column and row of the whole frame at which a part of it begins; places within the
        planes count from there.
    """

    grey: NDArray[np.uint8]
    log_half: Float32Array
    glare_half: Float32Array
    log_small: Float32Array
    factor: float
    small: float
    compiled: bool = False
    corner_px: tuple[int, int] = (0, 0)

    def stored(self, points_px: FloatArray) -> FloatArray:
        """Return working points (..., 2) in stored pixels.

        Examples
        --------
        >>> planes = frame_planes(Raster(np.zeros((2400, 3200, 3), dtype=np.uint8)))
        >>> planes.stored(np.array([0.5, 0.5])).tolist()
        [1.5, 1.5]
        """
        return np.asarray((points_px + self.corner_px + 0.5) / self.factor - 0.5)

    def working(self, points_px: FloatArray) -> FloatArray:
        """Return stored points (..., 2) in working pixels."""
        return np.asarray((points_px + 0.5) * self.factor - 0.5 - self.corner_px)


def frame_planes(raster: Raster, compiled: bool = False) -> FramePlanes:
    """Which planes does the search need of this frame?

    Examples
    --------
    >>> planes = frame_planes(Raster(np.full((96, 128, 3), 90, dtype=np.uint8)))
    >>> planes.log_half.shape, planes.factor
    ((48, 64, 3), 1.0)
    """
    pixels = _coloured(raster.pixels)
    height, width = pixels.shape[:2]
    factor = _factor(max(height, width))
    if factor < 1.0:
        pixels = _shrunk(pixels, factor)
        factor = pixels.shape[1] / width
    half = _shrunk(pixels, _HALF)
    small, times = _small(half)
    return FramePlanes(
        np.ascontiguousarray(pixels),
        cv2.LUT(half, _log_table()),
        _glare(half, max(half.shape[:2])),
        cv2.LUT(small, _log_table()),
        factor,
        _HALF / times,
        compiled,
    )


def _small(half: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], int]:
    """Return the small picture, and how many half-size pixels a side go into one of its own.

    Whole numbers are many times faster; a rest at the right and lower border is left out.
    """
    height, width = half.shape[:2]
    times = max(1, max(height, width) // _SMALL_LONG_SIDE_PX)
    whole = half[: max(times, height // times * times), : max(times, width // times * times)]
    size = max(1, width // times), max(1, height // times)
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.uint8), times


def whole_planes(picture: Picture, compiled: bool) -> FramePlanes:
    """Which planes does the search need of a frame whose colours are perhaps not made yet?

    Examples
    --------
    >>> whole_planes(Raster(np.full((96, 128, 3), 90, dtype=np.uint8)), False).log_half.shape
    (48, 64, 3)
    """
    return frame_planes(picture.part((0, 0, picture.width_px, picture.height_px)), compiled)


def working_share(picture: Picture) -> float:
    """How many working pixels are there to a stored pixel?

    Examples
    --------
    >>> working_share(Raster(np.zeros((96, 128), dtype=np.uint8)))
    1.0
    """
    return _factor(max(picture.width_px, picture.height_px))


def part_planes(
    picture: Picture, about_px: tuple[tuple[float, float], float], compiled: bool
) -> FramePlanes:
    """Which planes does a search near one place need? Only what lies there is looked at.

    Parameters
    ----------
    picture : Picture
    about_px : ((u, v), reach)
        A square: its middle and half of its side, working pixels of the whole frame.
    compiled : bool

    Returns
    -------
    FramePlanes
        Of the part, on the samples of the whole frame's planes; of the whole frame, where that is
        not shrunk by a whole number.

    Examples
    --------
    >>> raster = Raster(np.full((96, 128, 3), 90, dtype=np.uint8))
    >>> part = part_planes(raster, ((100.0, 50.0), 20.0), False)
    >>> part.grey.shape, part.corner_px, part.stored(np.array([0.0, 0.0])).tolist()
    ((48, 48, 3), (80, 24), [80.0, 24.0])
    """
    width, height = picture.width_px, picture.height_px
    factor = working_share(picture)
    times = round(1.0 / factor)
    if abs(times * factor - 1.0) > 1e-9 or width % times or height % times:
        return whole_planes(picture, compiled)
    left, top, right, bottom = _square(about_px, (width // times, height // times))
    box = (times * left, times * top, times * right, times * bottom)
    pixels = _coloured(picture.part(box).pixels)
    if times > 1:
        pixels = _shrunk(pixels, factor)
    half = _shrunk(pixels, _HALF)
    log_half = cv2.LUT(half, _log_table())
    return FramePlanes(
        np.ascontiguousarray(pixels),
        log_half,
        _glare(half, round(_HALF * factor * max(width, height))),
        np.ascontiguousarray(log_half[::_SAMPLED, ::_SAMPLED]),
        factor,
        _HALF / _SAMPLED,
        compiled,
        (left, top),
    )


_EVEN = 8  # corners of parts lie on such a grid, so that halves and colours of a clip stay aligned
_SAMPLED = 4
_LEAST_SIDE_PX = 32


def _square(
    about_px: tuple[tuple[float, float], float], size_px: tuple[int, int]
) -> tuple[int, int, int, int]:
    """Return left, top, right and bottom of a square on the grid, within the frame."""
    middle, reach = about_px
    sides = []
    for place, size in zip(middle, size_px, strict=True):
        most = max(0, size - _LEAST_SIDE_PX) // _EVEN * _EVEN
        first = min(most, max(0, int((place - reach) // _EVEN) * _EVEN))
        last = min(size, max(first + _LEAST_SIDE_PX, -(-int(place + reach + 1) // _EVEN) * _EVEN))
        sides.append((first, last))
    (left, right), (top, bottom) = sides
    return left, top, right, bottom


def _coloured(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    cv2.setNumThreads(1)  # one picture per core; inner threads stall on a busy machine
    return np.repeat(pixels[..., None], 3, axis=2) if pixels.ndim == 2 else pixels


@cache
def _log_table() -> Float32Array:
    # Single precision throughout: a last bit more moves a search that stands on the verge.
    grey = np.arange(256, dtype=np.float32) + np.float32(_LOG_FLOOR_GREY)
    return np.asarray(np.log(grey), dtype=np.float32)


def _factor(long_side_px: int) -> float:
    """By how much is a frame shrunk? By a whole number where one fits: many times faster."""
    if long_side_px <= LARGEST_LONG_SIDE_PX:
        return 1.0
    times = long_side_px // _SHRUNK_LONG_SIDE_PX
    whole = long_side_px / times <= LARGEST_LONG_SIDE_PX
    return 1.0 / times if whole else _SHRUNK_LONG_SIDE_PX / long_side_px


def _shrunk(pixels: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    height, width = pixels.shape[:2]
    size = (max(8, round(width * factor)), max(8, round(height * factor)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _glare(pixels: NDArray[np.uint8], long_side_px: int) -> Float32Array:
    """Mark reflections, which are white in all channels, with the bloom around them."""
    bright = (least_channel(pixels) > _GLARE_GREY).astype(np.uint8)
    share = _GREY_BLOOM if _grey(pixels) else _BLOOM
    reach = max(3, round(share * long_side_px) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    return np.asarray(cv2.dilate(bright, kernel), dtype=np.float32)


def _grey(pixels: NDArray[np.uint8]) -> bool:
    red, green, blue = cv2.split(np.ascontiguousarray(pixels[::8, ::8]))
    most, least = cv2.max(cv2.max(red, green), blue), cv2.min(cv2.min(red, green), blue)
    return float(cv2.mean(cv2.subtract(most, least))[0]) < _GREY_LEVELS


_GREY_LEVELS = 1.5  # mean difference of the channels
# Of the frame's longer side: in near-infrared a dark pupil shows the glow about the lamps' images
# farther out.
_BLOOM, _GREY_BLOOM = 0.015, 0.06


def least_channel(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the least of red, green and blue; many times faster than along the last axis.

    Examples
    --------
    >>> least_channel(np.array([[[3, 1, 2]]], dtype=np.uint8)).tolist()
    [[1]]
    """
    red, green, blue = cv2.split(pixels)
    return np.asarray(cv2.min(cv2.min(red, green), blue), dtype=np.uint8)


def told_planes(planes: FramePlanes) -> float:
    """Which share of brightness and two colours does this frame have? A grey one has a third.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> round(told_planes(frame_planes(Raster(np.full((64, 64), 90, dtype=np.uint8)))), 2)
    0.33
    """
    red, green, blue = cv2.split(planes.log_small)  # many times faster than along the last axis
    most, least = cv2.max(cv2.max(red, green), blue), cv2.min(cv2.min(red, green), blue)
    return 1.0 if float((most - least).mean()) > _GREY_LOG else 1.0 / 3.0


_GREY_LOG = 0.01
