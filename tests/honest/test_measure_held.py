"""Each practice photograph held, mirrored and encoded otherwise gives the same eye.

Source: the practice set (an independent program's pictures and sheets); conventions 3 and 5 say
what a turned or mirrored picture means. Turned and mirrored pictures give the same within ±.
"""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from practice import AWAY, FOLDER

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster

PHOTOS = sorted(FOLDER.glob("photos/*.jpg"))

pytestmark = [
    pytest.mark.skipif(not PHOTOS, reason=AWAY),
    pytest.mark.slow,
    pytest.mark.timeout(600),
]


def _measured(pixels, sheet):
    raster = Raster(np.ascontiguousarray(pixels))
    return measure_photograph(raster, sheet, picture="held", sha256="")


def _held(pixels, sheet, quarter_turns, mirrored):
    superior = sheet.superior_deg
    if mirrored:
        pixels, superior = pixels[:, ::-1], 180.0 - superior
    turned = np.rot90(pixels, quarter_turns)  # counter-clockwise
    superior = (superior + 90.0 * quarter_turns) % 360.0
    return turned, replace(sheet, superior_deg=superior, mirrored=mirrored)


def _numbers(finding):
    if finding.status != "measured":
        return {}
    place = finding.decentration["opening-from-optic"]
    return {
        "least": finding.cover.min_mm,
        "mean": finding.cover.mean_mm,
        "diameter": finding.opening.equivalent_diameter_mm,
        "x": place.x_mm,
        "y": place.y_mm,
    }


def _agree(one, other):
    first, second = _numbers(one), _numbers(other)
    for name in first.keys() & second.keys():
        limit = 1.96 * max(first[name].sd, second[name].sd)
        assert abs(first[name].value - second[name].value) <= limit, name
    told = {one.cover and one.cover.complete, other.cover and other.cover.complete}
    assert not {True, False} <= told


@pytest.mark.parametrize("path", PHOTOS, ids=lambda path: path.stem)
def test_a_photograph_turned_and_mirrored_gives_the_same_eye(path):
    pixels, sheet = load_picture(path).raster.pixels, picture_sheet_for(path)
    upright = _measured(pixels, sheet)
    for quarter_turns, mirrored in ((1, False), (2, False), (3, False), (0, True)):
        _agree(upright, _measured(*_held(pixels, sheet, quarter_turns, mirrored)))


@pytest.mark.parametrize("path", PHOTOS, ids=lambda path: path.stem)
def test_a_photograph_encoded_or_scaled_otherwise_gives_the_same_eye(path):
    raster, sheet = load_picture(path).raster, picture_sheet_for(path)
    upright = _measured(raster.pixels, sheet)
    image = Image.fromarray(raster.pixels)
    sink = io.BytesIO()
    image.save(sink, format="JPEG", quality=60)
    _agree(upright, _measured(np.array(Image.open(sink)), sheet))
    for scale in (0.5, 2.0):
        size = (round(image.width * scale), round(image.height * scale))
        _agree(upright, _measured(np.array(image.resize(size, Image.Resampling.BOX)), sheet))
