"""The picture as planes of numbers that edges are looked for in."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rimwise.geometry.medians import row_medians
from rimwise.picture.raster import Raster
from rimwise.terms.arrays import FloatArray

Float32Array = NDArray[np.float32]

WORKING_LONG_SIDE_PX = 1400
"""Every picture is brought to this size, that of the pictures which the finders were made on.

A line is then as many pixels wide, and noise as long, as their settings expect, whatever size the
same picture was stored at. An edge of an eye that fills the picture is several pixels wide there.
"""

_NEAR_ENOUGH = 0.05  # of the size: resampled for less, a picture loses more than it gains
_LOG_FLOOR_GREY = 6.0  # keeps sensor noise in black parts from becoming contrast
# Blue over red, log units, over and above a tint. Infrared, monochrome and tinted pictures stay
# below 0.05. What a camera or a program has taken colour from keeps a trace, in which compression
# decides which side of an edge is the yellower. So a picture counts as grey with three fifths of
# the colour that the palest of 59 photographs of a second program shows (0.42; 280 own ones 0.73),
# and a pupil with two fifths of theirs (0.39; own ones 0.22).
_LEAST_COLOUR, _LEAST_WITHIN = 0.25, 0.16
_EVEN_PX = 8  # noise and JPEG's blocks are averaged over so much
_LEVELS = 100  # of brightness, within each of which a tint is one colour
_GLARE_GREY = 200  # all three channels above this: a mirror reflection, not tissue


@dataclass(frozen=True, slots=True)
class SizedPicture:
    """A picture at working size.

    Parameters
    ----------
    grey : array (h, w, 3) of uint8
        Red, green, blue.
    glare : array (h, w)
        1 where a lamp's reflection hides what lies below, else 0.
    factor : float
        Working pixels per stored pixel.

    Examples
    --------
    >>> half = SizedPicture(np.zeros((4, 6, 3), np.uint8), np.zeros((4, 6), np.float32), 0.5)
    >>> half.stored_length(3.0), half.width_px
    (6.0, 6)
    """

    grey: NDArray[np.uint8]
    glare: Float32Array
    factor: float

    @property
    def height_px(self) -> int:
        """Rows at working size."""
        return int(self.grey.shape[0])

    @property
    def width_px(self) -> int:
        """Columns at working size."""
        return int(self.grey.shape[1])

    def stored(self, points_px: FloatArray) -> FloatArray:
        """Return points (..., 2) of the working picture in stored pixels."""
        return np.asarray((points_px + 0.5) / self.factor - 0.5)

    def stored_length(self, length_px: float) -> float:
        """Return a length of the working picture in stored pixels."""
        return length_px / self.factor


@dataclass(frozen=True, slots=True)
class Planes(SizedPicture):
    """A picture at working size, as logarithms, so that an edge's contrast is a difference.

    Parameters
    ----------
    grey, glare, factor
        As in :class:`SizedPicture`.
    log_rgb : array (h, w, 3)
        Natural logarithm of the channels.
    log_mean : array (h, w)
        Mean of the three logarithms: brightness.
    log_grey : array (h, w)
        Logarithm of the mean grey level, as an eye sees it.
    is_grey : bool
        Whether the picture carries no colour that could tell capsule from clear.
    """

    log_rgb: Float32Array
    log_mean: Float32Array
    log_grey: Float32Array
    is_grey: bool = False


def planes_of(raster: Raster) -> Planes:
    """Which planes does edge finding need of this picture?

    Examples
    --------
    >>> planes = planes_of(Raster(np.full((400, 600, 3), 90, dtype=np.uint8)))
    >>> planes.log_rgb.shape, planes.factor
    ((933, 1400, 3), 2.3333333333333335)
    """
    sized = sized_picture(raster)
    table = np.log(np.arange(256, dtype=np.float32) + np.float32(_LOG_FLOOR_GREY))
    log_rgb = np.asarray(cv2.LUT(sized.grey, table), dtype=np.float32)
    third = np.full((1, 3), 1.0 / 3.0, dtype=np.float32)
    log_mean = cv2.transform(log_rgb, third)
    log_grey = cv2.log(cv2.transform(sized.grey.astype(np.float32), third) + np.float32(4.0))
    grey = _colour(log_rgb) < _LEAST_COLOUR
    return Planes(sized.grey, sized.glare, sized.factor, log_rgb, log_mean, log_grey, grey)


def with_colour_of(planes: Planes, curve_px: FloatArray) -> Planes:
    """Does what lies within a curve carry colour? Captions and marks beside the eye tell nothing.

    Parameters
    ----------
    planes : Planes
    curve_px : array (n, 2)
        The pupil's margin, working pixels.

    Returns
    -------
    Planes
        The same, known to be grey if the box around the curve is.

    Examples
    --------
    >>> pixels = np.full((1050, 1400, 3), 90, dtype=np.uint8)
    >>> pixels[:200, :700], pixels[:200, 700:] = (200, 90, 20), (20, 90, 200)
    >>> planes = planes_of(Raster(pixels))
    >>> box = np.array([[400.0, 300.0], [1000.0, 900.0]])
    >>> planes.is_grey, with_colour_of(planes, box).is_grey
    (False, True)
    """
    (left, top), (right, bottom) = (
        np.maximum(np.rint(end), 0.0).astype(int)
        for end in (curve_px.min(axis=0), curve_px.max(axis=0))
    )
    inside = planes.log_rgb[top:bottom, left:right]
    if planes.is_grey or inside.size == 0:
        return planes
    return replace(planes, is_grey=_colour(np.ascontiguousarray(inside)) < _LEAST_WITHIN)


def _colour(log_rgb: Float32Array) -> float:
    """Return how far blue over red is more than a function of brightness, as a tint makes it."""
    height, width = log_rgb.shape[:2]
    size = max(1, width // _EVEN_PX), max(1, height // _EVEN_PX)
    even = cv2.resize(log_rgb, size, interpolation=cv2.INTER_AREA)
    ratio = (even[..., 2] - even[..., 0]).ravel()
    ratio = ratio[np.argsort(even.sum(axis=-1), axis=None)]
    # As many to each level, or one more.
    few, more = divmod(len(ratio), _LEVELS)
    first = more * (few + 1)
    alike = (ratio[:first].reshape(more, few + 1), ratio[first:].reshape(_LEVELS - more, few))
    own = np.concatenate(
        [(some - row_medians(some)[:, None]).ravel() for some in alike if some.size]
    )
    return float(np.ptp(np.percentile(own, [2.0, 98.0])))


def working_factor(width_px: int, height_px: int) -> float:
    """How many pixels of working size lie in one of a picture of this size?

    Examples
    --------
    >>> working_factor(4200, 2800) * 3.0, working_factor(1050, 1440)
    (1.0, 1.0)
    """
    factor = WORKING_LONG_SIDE_PX / max(width_px, height_px)
    return 1.0 if abs(factor - 1.0) < _NEAR_ENOUGH else factor


def sized_picture(raster: Raster) -> SizedPicture:
    """How does a picture look at the size that edges are found at?

    Examples
    --------
    >>> sized_picture(Raster(np.full((400, 600), 90, dtype=np.uint8))).grey.shape
    (933, 1400, 3)
    """
    cv2.setNumThreads(1)  # one picture per core; inner threads stall on a busy machine
    pixels = raster.pixels
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, axis=2)
    height, width = pixels.shape[:2]
    factor = working_factor(width, height)
    if factor != 1.0:
        size = (max(1, round(width * factor)), max(1, round(height * factor)))
        # A rounder curve than straight lines overshoots beside a step: a fine line where none is.
        way = cv2.INTER_AREA if factor < 1.0 else cv2.INTER_LINEAR
        pixels = cv2.resize(pixels, size, interpolation=way)
        factor = size[0] / width
    pixels = np.ascontiguousarray(pixels)
    return SizedPicture(pixels, _glare(pixels), factor)


def _glare(pixels: NDArray[np.uint8]) -> Float32Array:
    """Mark reflections with the bloom around them."""
    red, green, blue = cv2.split(pixels)
    least = cv2.min(cv2.min(red, green), blue)
    _, bright = cv2.threshold(least, _GLARE_GREY, 1, cv2.THRESH_BINARY)
    reach = max(3, round(0.015 * max(pixels.shape[:2])) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    glare = np.zeros(bright.shape, dtype=np.float32)
    # Where nothing is bright, nothing blooms.
    left, top, width, height = cv2.boundingRect(bright)
    part = (
        slice(max(0, top - reach), top + height + reach),
        slice(max(0, left - reach), left + width + reach),
    )
    glare[part] = cv2.dilate(bright[part], kernel)
    return glare
