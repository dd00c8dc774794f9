"""Gel deepens the chamber by an unknown length: told, and every answer that needs it is wider.

Common practice, no source: gel in the chamber pushes the lens back.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.frame import align_frame
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.eye.known import known_from_picture
from rimwise.eye.this_eye import eye_record
from rimwise.picture.raster import Raster
from rimwise.records.picture import PictureLengths, PictureSheet


@pytest.mark.parametrize("state", ["natural", "implant"])
def test_the_depth_is_larger_known_less_and_said_so(state):
    lengths = PictureLengths(lens_front_depth_mm=3.4)
    plain, gel = (
        eye_record(known_from_picture(PictureSheet("left", "frame", one, lengths=lengths)))
        for one in (state, f"gel-{state}")
    )
    before, after = (eye.numbers["lens_front_depth_mm"] for eye in (plain, gel))
    assert after.value > before.value
    assert after.sd > before.sd
    said = "gel deepens the chamber by"
    assert said in {one.what for one in gel.assumptions}
    assert said not in {one.what for one in plain.assumptions}


def test_where_the_lens_stands_is_told_less_surely():
    pixels, _, sheet = draw_frame(np.random.default_rng(3), FrameWish(turn_deg=(4.0, -3.0)))
    plain, gel = (
        align_frame(Raster(pixels), replace(sheet, state=one), "f").finding
        for one in ("natural", "gel-natural")
    )
    assert gel.targets["lens_pole"] is not None
    assert sum(gel.targets["lens_pole"].spread_px[:2]) > sum(
        plain.targets["lens_pole"].spread_px[:2]
    )
