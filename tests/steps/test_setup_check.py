"""The set-up is checked on own renders, whose true scale, lamps and orientation are known."""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.checking import setup_signs
from rimwise.casebook.setting_up import check_setup
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.picture.raster import Raster
from rimwise.records.picture import Lamps
from rimwise.terms.errors import WrongInput


@pytest.fixture(scope="module")
def drawn():
    wish = FrameWish(lamps="triangle", turn_deg=(0.5, 0.5))
    return draw_frame(np.random.default_rng(8), wish)


def test_a_true_set_up_agrees(drawn):
    pixels, truth, sheet = drawn
    signs = setup_signs(Raster(pixels), sheet)
    assert abs(signs.px_per_mm.value - truth.px_per_mm) < 2.6 * signs.px_per_mm.sd
    assert abs(signs.pattern_size.value - 1.0) < 2.6 * signs.pattern_size.sd
    assert abs(signs.pattern_turn_deg.value) < 2.6 * signs.pattern_turn_deg.sd + 1.0
    assert abs(signs.superior_off_deg) < 20.0


def test_lamps_farther_apart_than_stated_are_told(drawn):
    pixels, _, sheet = drawn
    near = tuple((0.9 * x, 0.9 * y) for x, y in sheet.lamps.places_mm)
    signs = setup_signs(Raster(pixels), replace(sheet, lamps=Lamps(near)))
    assert signs.pattern_size.value == pytest.approx(1.0 / 0.9, abs=0.04)


def test_a_sheet_held_a_quarter_wrong_is_told(drawn):
    pixels, _, sheet = drawn
    signs = setup_signs(Raster(pixels), replace(sheet, superior_deg=0.0))
    assert abs(signs.superior_off_deg) > 60.0


def test_a_persons_sheet_is_never_overwritten(tmp_path):
    kept = tmp_path / "clinic.toml"
    kept.write_text("superior_deg = 90\n")
    with pytest.raises(WrongInput, match="never overwritten"):
        check_setup([tmp_path / "f.jpg"], {}, kept)
    assert kept.read_text() == "superior_deg = 90\n"
