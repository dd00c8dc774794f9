"""Eyes that do not fill their picture: looked at from nearer by, right or not answered.

Source: the practice set's truth files (an independent program's pictures and sheets); each is made
smaller here and set into a larger picture, with a soft border or as a sharp rectangle.
"""

import json

import cv2
import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.journey import finding_of
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason=AWAY)

# The bar of pictures that are measured: no direction wrong by more.
MOST_MM = 0.2


def found(name: str, pixels: np.ndarray) -> tuple[CoverFinding, float]:
    """Return the finding and the largest error of a direction, mm."""
    path = FOLDER / "photos" / f"{name}.jpg"
    finding = finding_of(Raster(pixels), picture_sheet_for(path), "", "")
    truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
    if finding.cover is None:
        return finding, 0.0
    told = np.array([np.nan if one is None else one for one in finding.cover.width_mm])
    error = np.abs(told - np.array(truth["overlap_profile_mm"]))
    return finding, float(np.nanmax(error)) if np.isfinite(error).any() else 0.0


def smaller(name: str, share: float) -> np.ndarray:
    pixels = load_picture(FOLDER / "photos" / f"{name}.jpg").raster.pixels
    return cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


def ground(size: tuple[int, int], colour: tuple[int, int, int], patch_px: int) -> np.ndarray:
    """A surface that is brighter on one side and mottled in patches of this size."""
    width, height = size
    rng = np.random.default_rng(5)
    coarse = rng.normal(0.0, 14.0, (height // patch_px, width // patch_px)).astype(np.float32)
    mottled = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)[..., None]
    slope = np.linspace(0.75, 1.2, width)[None, :, None]
    return np.clip(np.array(colour) * slope + mottled, 0.0, 255.0)


@pytest.mark.parametrize("colour", [(50, 80, 150), (215, 200, 190), (225, 150, 135)])
@pytest.mark.parametrize("share", [0.70, 0.73])
def test_an_edge_that_leaves_the_rim_is_not_led_along_it(colour, share):
    """Its edge passes beyond the rim; along the rim it was told bare where it was 0.3 mm bare."""
    eye = smaller("photo_easy_005", share).astype(np.float64)
    height, width = eye.shape[:2]
    soft = np.zeros((height, width), dtype=np.float32)
    axes = (int(0.485 * width), int(0.485 * height))
    cv2.ellipse(soft, (width // 2, height // 2), axes, 0.0, 0.0, 360.0, 1.0, -1)
    soft = cv2.GaussianBlur(soft, (0, 0), 4.0)[..., None]
    around = ground((2400, 1800), colour, 40)
    place = around[681 : 681 + height, 763 : 763 + width]
    place[:] = place * (1.0 - soft) + eye * soft
    _, worst_mm = found("photo_easy_005", around.astype(np.uint8))
    assert worst_mm < MOST_MM


@pytest.mark.parametrize("red", [0.62, 0.70])
def test_what_lies_around_a_small_eye_is_taken_for_no_part_of_it(red):
    """A green cast on a page of skin's colour: the iris's border passed for the pupil's margin."""
    eye = smaller("photo_easy_008", 0.58) * np.array([red, 1.05, 0.9])
    height, width = eye.shape[:2]
    around = ground((2600, 1900), (150, 105, 85), 16)
    around[1188 : 1188 + height, 565 : 565 + width] = np.clip(eye, 0.0, 255.0)
    finding, worst_mm = found("photo_easy_008", around.astype(np.uint8))
    assert worst_mm < MOST_MM
    assert finding.cover is None or finding.cover.complete is not False


def test_of_two_eyes_in_one_picture_neither_is_measured():
    """One was measured in silence, under a sheet that may be the other's."""
    first, second = (smaller(f"photo_{name}", 0.9) for name in ("easy_005", "easy_007"))
    around = ground((3200, 1500), (150, 105, 85), 40)
    for eye, left in ((first, 150), (second, 1750)):
        around[250 : 250 + eye.shape[0], left : left + eye.shape[1]] = eye
    finding, _ = found("photo_easy_005", around.astype(np.uint8))
    assert [reason.code for reason in finding.reasons][:1] == ["two-eyes"]
    finding, _ = found("photo_easy_005", around[:, :1700].astype(np.uint8))
    assert finding.status == "measured"
