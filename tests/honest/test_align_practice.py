"""Frames with exact truth, ray traced by a program that shares nothing with this one.

The limits are half-way between what is reached and what a surgeon needs; a few frames only, since
the whole set is graded by its own scorer.
"""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.align.frame import Question, align_frame
from rimwise.align.reference import make_reference
from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.picture.raster import Raster
from rimwise.records.frame import FrameFinding
from rimwise.records.picture import Lamps, PictureSheet
from rimwise.terms.errors import MeasurementRefused

FRAMES = ("easy_000", "easy_004", "easy_010", "medium_007", "hard_000")
PAIRS = ("easy_003", "medium_000")
needs_practice = pytest.mark.skipif(not FOLDER.is_dir(), reason=AWAY)


def frame(name: str) -> tuple[Raster, PictureSheet, dict]:
    path = FOLDER / "frames" / f"frame_{name}.jpg"
    truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
    return load_picture(path).raster, picture_sheet_for(path), truth


def points(finding: FrameFinding, reflex: str) -> np.ndarray:
    one = finding.reflexes[reflex]
    assert one is not None, f"{reflex} was not found"
    return np.array([(math.nan, math.nan) if p is None else p for p in one.points_px])


def far(found: np.ndarray, truth: list[dict]) -> float:
    return float(np.nanmax(np.hypot(*(found - [one["px"] for one in truth]).T)))


@needs_practice
@pytest.mark.parametrize("name", FRAMES)
def test_reflexes_and_gaze_are_where_they_are(name):
    raster, sheet, truth = frame(name)
    finding = align_frame(raster, sheet, name).finding
    assert far(points(finding, "P1"), truth["purkinje"]["P1"]) < 1.0
    assert far(points(finding, "P4"), truth["purkinje"]["P4"]) < 2.5
    turned = np.array([one.value for one in finding.eye_rotation_deg])
    shown = sheet.frame.picture_from_examiner(turned)
    sd = max(one.sd for one in finding.eye_rotation_deg)
    assert np.abs(shown - truth["gaze_deg"]).max() < 2.5 * sd


@needs_practice
@pytest.mark.parametrize("turns", [1, 2])
def test_a_picture_that_is_held_otherwise_says_the_same(turns):
    """Turned by quarters, with the sheet's superior and lamps turned along."""
    raster, sheet, _ = frame("easy_004")
    plain = align_frame(raster, sheet, "f").finding
    pixels = np.ascontiguousarray(np.rot90(raster.pixels, turns))
    lamps = [
        (round((complex(x, y) * 1j**turns).real, 9), round((complex(x, y) * 1j**turns).imag, 9))
        for x, y in sheet.lamps.places_mm
    ]
    turned = replace(
        sheet,
        superior_deg=(sheet.superior_deg + 90.0 * turns) % 360.0,
        lamps=replace(sheet.lamps, places_mm=tuple(lamps)),
    )
    finding = align_frame(Raster(pixels), turned, "f").finding
    # The search starts from other samples, so that the rings differ by parts of a pixel.
    for one, other in zip(plain.eye_rotation_deg, finding.eye_rotation_deg, strict=True):
        assert other.value == pytest.approx(one.value, abs=0.25)


@needs_practice
@pytest.mark.parametrize("name", PAIRS)
def test_the_turn_back_to_fixation(name):
    folder = FOLDER / "pairs"
    truth = json.loads((folder / f"pair_{name}.truth.json").read_text())
    path = folder / f"pair_{name}_ref.jpg"
    fixating = align_frame(load_picture(path).raster, picture_sheet_for(path), "ref").fixating
    assert fixating is not None
    reference = make_reference([fixating])
    assert reference.status == "unverified"
    path = folder / f"pair_{name}_now.jpg"
    sheet = picture_sheet_for(path)
    answer = align_frame(load_picture(path).raster, sheet, "now", Question(reference, 5.2))
    offset, target = answer.finding.offset, answer.finding.targets["visual_axis"]
    turn = sheet.frame.picture_from_examiner(np.array([one.value for one in offset.turn_deg]))
    assert np.hypot(*(turn - truth["turn_deg"])) < 1.2
    scale = answer.finding.scale.px_per_mm.value
    assert np.hypot(*(np.array(target.px) - truth["target_px"])) < 0.25 * scale
    assert len(target.opening_ring_px) > 60


@needs_practice
def test_lamps_that_are_not_there_are_refused():
    raster, sheet, _ = frame("easy_000")
    wrong = replace(sheet, lamps=Lamps(((-20.0, 0.0), (0.0, 20.0), (20.0, -15.0))))
    with pytest.raises(MeasurementRefused):
        align_frame(raster, wrong, "f")


def test_a_frame_without_an_eye_is_refused():
    noise = np.random.default_rng(3).integers(90, 110, (240, 320, 3)).astype(np.uint8)
    sheet = PictureSheet("left", "frame", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    with pytest.raises(MeasurementRefused):
        align_frame(Raster(noise), sheet, "noise.png")
