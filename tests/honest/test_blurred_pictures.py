"""A picture out of focus: the rim's own dark line grows as wide as a blurred edge lies beside it.

Source: the practice set's truth files (an independent program's pictures and sheets), blurred here
by a normal law. What a blurred picture does not show may be left open; nothing may be told wrong.
"""

import json

import cv2
import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster

# Its bright capsule ends 0.4 mm inside of the rim's line, which a haptic darkens over 60 degrees.
PHOTO = FOLDER / "photos" / "photo_easy_003.jpg"
# Of any direction claimed: what also holds for sharp pictures that are measured.
MOST_MM = 0.2


@pytest.mark.skipif(not PHOTO.exists(), reason=AWAY)
@pytest.mark.parametrize("blur_px", [1.5, 2.0, 2.5, 3.0])
def test_the_shade_of_a_blurred_rim_is_no_edge(blur_px):
    pixels = cv2.GaussianBlur(load_picture(PHOTO).raster.pixels, (0, 0), blur_px)
    found = measure_photograph(Raster(pixels), picture_sheet_for(PHOTO), picture="", sha256="")
    truth = json.loads(PHOTO.with_suffix("").with_suffix(".truth.json").read_text())
    assert found.cover is not None
    told = np.array([np.nan if one is None else one for one in found.cover.width_mm])
    assert np.isfinite(told).sum() >= 30
    assert np.nanmax(np.abs(told - np.array(truth["overlap_profile_mm"]))) < MOST_MM
