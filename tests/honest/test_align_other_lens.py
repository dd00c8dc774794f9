"""A reference from before the operation, used on a frame with the implant in.

Own renders: the same cornea and limbus, with the natural lens while the eye fixates and with a
tilted, decentred implant later.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.frame import Question, align_frame
from rimwise.align.reference import make_reference
from rimwise.demo.frame_render import render_frame
from rimwise.demo.frames import FrameWish, draw_frame_scene
from rimwise.eye.build import eye_model
from rimwise.eye.known import known_from_picture
from rimwise.eye.this_eye import eye_record
from rimwise.picture.raster import Raster

TURN_RAD = (0.05, -0.03)


def scene_with(seed: int, state: str, turn_rad: tuple[float, float], lens: tuple):
    scene, sheet = draw_frame_scene(np.random.default_rng(seed), FrameWish(turn_deg=(0.0, 0.0)))
    lengths = sheet.lengths
    if state == "implant":
        lengths = replace(lengths, lens_front_depth_mm=4.6, lens_thickness_mm=None)
    sheet = replace(sheet, state=state, lengths=lengths, code="E-1")
    model = eye_model(eye_record(known_from_picture(sheet))).with_lens(*lens)
    pose = replace(scene.pose, turn_rad=turn_rad, shift_mm=(0.0, 0.0, 0.0))
    model = replace(
        model,
        pupil_diameter_mm=scene.model.pupil_diameter_mm,
        pupil_mm=scene.model.pupil_mm,
    )
    look = replace(scene.look, veil=0.5)
    return replace(scene, model=model, pose=pose, clutter=(), look=look), sheet


@pytest.mark.parametrize("seed", [23, 31])
def test_another_lens_is_told_and_its_reflexes_are_not_compared(seed):
    scene, sheet = scene_with(seed, "natural", (0.0, 0.0), ((0.0, 0.0), (0.0, 0.0)))
    fixating = replace(sheet, fixation="confirmed", lamps=replace(sheet.lamps, fixated=0))
    pixels = render_frame(scene, np.random.default_rng(1))[0]
    reference = make_reference([align_frame(Raster(pixels), fixating, "before").fixating])
    # An implant as badly placed as one in a hundred: 6 degrees and 0.5 mm.
    badly = ((math.radians(6.0), math.radians(-3.0)), (0.5, 0.3))
    later, sheet = scene_with(seed, "implant", TURN_RAD, badly)
    pixels = render_frame(later, np.random.default_rng(2))[0]
    finding = align_frame(Raster(pixels), sheet, "after", Question(reference)).finding
    reasons = {reason.code: reason.sentence for reason in finding.reasons}
    assert "natural" in reasons["reference-of-another-lens"]
    assert "implant" in reasons["reference-of-another-lens"]
    true = np.degrees(np.subtract(scene.pose.turn_rad, TURN_RAD))
    for one, t in zip(finding.offset.turn_deg, true, strict=True):
        # The fixated lamp is seen a tenth of a degree elsewhere from a turned eye.
        assert abs(one.value - t) < 2.6 * one.sd + 0.2
    # How the implant itself stands is told as without any reference.
    alone = align_frame(Raster(pixels), sheet, "after").finding
    for one, other in zip(finding.lens_tilt_deg, alone.lens_tilt_deg, strict=True):
        assert one.value == pytest.approx(other.value, abs=1.5 * other.sd)


def test_the_same_lens_needs_no_such_word():
    scene, sheet = scene_with(23, "natural", (0.0, 0.0), ((0.0, 0.0), (0.0, 0.0)))
    sheet = replace(sheet, fixation="confirmed", lamps=replace(sheet.lamps, fixated=0))
    raster = Raster(render_frame(scene, np.random.default_rng(1))[0])
    reference = make_reference([align_frame(raster, sheet, "before").fixating])
    finding = align_frame(raster, sheet, "now", Question(reference)).finding
    assert "reference-of-another-lens" not in {reason.code for reason in finding.reasons}
