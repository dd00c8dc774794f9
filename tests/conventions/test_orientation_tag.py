"""Convention 5, second opinion: how a stored raster is held, against Pillow's own turning.

``PIL.ImageOps.exif_transpose`` turns a stored picture into the one a viewer displays, for all
eight values of the tag (CIPA DC-008, Exif 2.32, table 6, "Orientation").
"""

import io

import numpy as np
import pytest
from PIL import Image, ImageOps

from rimwise.terms.frames import PictureFrame

TAG = 0x0112
# Two places in the stored raster, (column, row): no symmetry of the raster maps one to the other.
FROM_PX, TO_PX = (7, 5), (23, 9)


def _stored(place_px: tuple[int, int], orientation: int) -> Image.Image:
    pixels = np.zeros((20, 31), np.uint8)
    pixels[place_px[1], place_px[0]] = 255
    exif = Image.Exif()
    exif[TAG] = orientation
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "PNG", exif=exif)
    return Image.open(io.BytesIO(file.getvalue()))


def _displayed_px(place_px: tuple[int, int], orientation: int) -> np.ndarray:
    shown = np.asarray(ImageOps.exif_transpose(_stored(place_px, orientation)))
    row, column = np.argwhere(shown == 255)[0]
    return np.array([column, row], float)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("superior_deg", [90.0, 270.0, 0.0, 180.0, 77.0])
def test_05_a_stored_vector_means_what_the_displayed_one_means(
    orientation: int, mirrored: bool, superior_deg: float
) -> None:
    frame = PictureFrame(superior_deg, mirrored)
    displayed = _displayed_px(TO_PX, orientation) - _displayed_px(FROM_PX, orientation)
    stored = np.subtract(TO_PX, FROM_PX).astype(float)
    # Round-off only: both are the same vector turned by sines and cosines.
    np.testing.assert_allclose(
        frame.stored(orientation).examiner_from_picture(stored),
        frame.examiner_from_picture(displayed),
        atol=1e-12,
    )


def test_05_a_tag_outside_one_to_eight_is_no_tag() -> None:
    for tag in (0, 9):
        with pytest.raises(ValueError, match="1 to 8"):
            PictureFrame().stored(tag)
