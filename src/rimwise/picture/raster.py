"""A decoded picture as a value."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

UInt8Array = NDArray[np.uint8]


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
