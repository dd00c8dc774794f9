"""However a photograph is held, the eye is the same: turns and mirrors change nothing (conv. 5)."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rimwise.demo.photos import draw_photo
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster


@cache
def _picture():
    pixels, _, sheet = draw_photo(np.random.default_rng([2, 0]), "easy")
    return np.asarray(pixels), sheet


@cache
def _upright():
    pixels, sheet = _picture()
    return measure_photograph(Raster(pixels), sheet, picture="upright", sha256="")


@pytest.mark.parametrize("quarter_turns", [0, 1, 2, 3])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_turned_or_mirrored_photograph_gives_the_same_eye(quarter_turns, mirrored):
    pixels, sheet = _picture()
    superior = sheet.superior_deg
    if mirrored:
        pixels, superior = pixels[:, ::-1], 180.0 - superior
    pixels = np.rot90(pixels, quarter_turns)  # counter-clockwise
    held = replace(sheet, superior_deg=(superior + 90.0 * quarter_turns) % 360.0, mirrored=mirrored)
    turned = measure_photograph(Raster(np.ascontiguousarray(pixels)), held, picture="t", sha256="")
    upright = _upright()
    for name in ("min_mm", "mean_mm"):
        one, other = getattr(turned.cover, name), getattr(upright.cover, name)
        # Resampling and path ties move an edge by a fraction of a pixel (0.01 mm).
        assert abs(one.value - other.value) < 0.012, name
    one = turned.decentration["opening-from-optic"]
    other = upright.decentration["opening-from-optic"]
    assert abs(one.nasal_mm.value - other.nasal_mm.value) < 0.012
    assert abs(one.superior_mm.value - other.superior_mm.value) < 0.012
    assert turned.cover.complete == upright.cover.complete
