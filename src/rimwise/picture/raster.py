"""A decoded picture as a value."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

UInt8Array = NDArray[np.uint8]

# Left, top, right and bottom, stored pixels; right and bottom lie outside.
Box = tuple[int, int, int, int]


class Picture(Protocol):
    """A stored picture of which a part can be had, perhaps without making the whole."""

    @property
    def width_px(self) -> int:
        """Columns of the stored picture."""

    @property
    def height_px(self) -> int:
        """Rows of the stored picture."""

    @property
    def orientation(self) -> int:
        """EXIF orientation tag, 1 to 8."""

    def part(self, box: Box) -> "Raster":
        """Return what lies in a box within the picture."""


@dataclass(frozen=True, slots=True)
class Raster:
    """Pixels as they are stored in the file; the orientation tag is recorded, not applied.

    Parameters
    ----------
    pixels : array of uint8, shape (height, width, 3) or (height, width)
        Red, green, blue; or grey.
    orientation : int
        EXIF orientation tag, 1 to 8.
    """

    pixels: UInt8Array
    orientation: int = 1

    @property
    def height_px(self) -> int:
        """Rows of the stored raster."""
        return int(self.pixels.shape[0])

    @property
    def width_px(self) -> int:
        """Columns of the stored raster."""
        return int(self.pixels.shape[1])

    def part(self, box: Box) -> "Raster":
        """Return what lies in a box within the picture; nothing is copied.

        Examples
        --------
        >>> Raster(np.arange(12, dtype=np.uint8).reshape(3, 4)).part((1, 0, 3, 2)).pixels.tolist()
        [[1, 2], [5, 6]]
        """
        left, top, right, bottom = box
        return Raster(self.pixels[top:bottom, left:right], self.orientation)
