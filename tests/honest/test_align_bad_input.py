"""Frames that cannot be answered are refused in one sentence that says what to do.

A frame without an eye, a closed lid, two eyes, another number of lamps and references of another
eye are in test_align_own_frames and test_align_practice; clips in steps/test_align_clip.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.frame import align_frame
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.picture.raster import Raster
from rimwise.records.picture import Lamps
from rimwise.terms.errors import MeasurementRefused


@pytest.fixture(scope="module")
def frame():
    pixels, _, sheet = draw_frame(np.random.default_rng(8), FrameWish(turn_deg=(1.0, -1.0)))
    return Raster(pixels), sheet


def one_sentence(refusal: MeasurementRefused) -> bool:
    text = refusal.sentence
    return ". " not in text and ";" in text


@pytest.mark.parametrize("factor", [0.6, 1.6])
def test_a_set_up_of_another_size_is_refused(frame, factor):
    """px_per_mm of another zoom: nothing stands where it would have to, or it fits no eye."""
    raster, sheet = frame
    other = replace(sheet, px_per_mm=factor * sheet.px_per_mm)
    with pytest.raises(MeasurementRefused) as caught:
        align_frame(raster, other, "f")
    assert caught.value.code in ("no-limbus", "no-p1", "no-fit")
    # What was given is not asked for again.
    assert "give px_per_mm" not in caught.value.sentence
    assert one_sentence(caught.value)


def test_a_frame_without_lamps_is_refused(frame):
    raster, sheet = frame
    with pytest.raises(MeasurementRefused) as caught:
        align_frame(raster, replace(sheet, lamps=None), "f")
    assert caught.value.code == "no-lamps"
    assert "places_mm" in caught.value.sentence
    assert one_sentence(caught.value)


@pytest.mark.parametrize("seed", range(3))
def test_without_a_scale_the_limbus_tells_it_and_no_surer_than_it_can(seed):
    """White-to-white alone: never below 2.5 %; with one lamp nothing else speaks."""
    wish = FrameWish(lamps="one", turn_deg=(1.0, -1.0))
    pixels, truth, sheet = draw_frame(np.random.default_rng(80 + seed), wish)
    finding = align_frame(Raster(pixels), replace(sheet, px_per_mm=None), "f").finding
    scale = finding.scale.px_per_mm
    assert scale.sd >= 0.025 * scale.value
    assert abs(scale.value - truth.px_per_mm) < 3.0 * scale.sd


def test_two_eyes_are_told_as_such_though_no_reflex_fits(frame):
    """The lamps of the sheet are another's, so that P1 is not found in either eye."""
    raster, sheet = frame
    both = np.concatenate([raster.pixels, raster.pixels[:, ::-1]], axis=1)
    lamps = Lamps(((-20.0, -9.0), (20.0, -9.0), (0.0, 24.0)))
    with pytest.raises(MeasurementRefused) as caught:
        align_frame(Raster(both), replace(sheet, lamps=lamps), "f")
    assert caught.value.code == "two-eyes"
