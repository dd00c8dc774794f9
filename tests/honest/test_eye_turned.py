"""An eye that lies turned about its axis between reference and frame: found, allowed for, ± true.

Own renders: one eye twice, its iris and vessels the same, moved, turned, at another pupil; and the
practice pairs, ray traced by a program that shares nothing with this one.
"""

import json
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.align.axes import axis_through, turn_onto
from rimwise.align.frame import Question, align_frame
from rimwise.align.looking import spread_of
from rimwise.align.reference import make_reference
from rimwise.demo.frame_render import render_frame
from rimwise.demo.frame_scene import FrameScene
from rimwise.demo.frames import FrameWish, draw_frame_scene
from rimwise.demo.hardness import Difficulty
from rimwise.exchange.frames import reference_document, reference_of
from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.picture.raster import Raster
from rimwise.purkinje.setup import set_up
from rimwise.records.eye import EyePose
from rimwise.records.frame import EyeReference, FrameFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused, WrongInput

FIXATED = 0


@dataclass(frozen=True)
class Two:
    """One eye twice: what its reference rests on, what is asked, and the true answers."""

    first: tuple[Raster, PictureSheet]
    now: tuple[Raster, PictureSheet]
    roll_deg: float
    turn_deg: np.ndarray


def rolled_scene(scene: FrameScene, sheet: PictureSheet, roll_deg: float) -> FrameScene:
    """The same eye turned about its axis: camera and lamps turned about it the other way."""
    camera = scene.setup.camera
    frame = replace(camera.frame, superior_deg=(camera.frame.superior_deg + roll_deg) % 360.0)
    assert sheet.lamps is not None
    return replace(scene, setup=set_up(replace(camera, frame=frame), sheet.lamps))


def drawn(scene: FrameScene, seed: int) -> Raster:
    """The generator draws iris and vessels before anything else, so that one seed is one eye."""
    return Raster(render_frame(scene, np.random.default_rng(seed))[0])


def two(seed: int, difficulty: Difficulty = "easy", most_deg: float = 6.0) -> Two:
    rng = np.random.default_rng(seed)
    scene, sheet = draw_frame_scene(rng, FrameWish(difficulty))
    assert sheet.lamps is not None
    sheet = replace(sheet, lamps=replace(sheet.lamps, fixated=FIXATED), fixation="confirmed")
    roll_deg = float(rng.uniform(-most_deg, most_deg))
    shift = scene.pose.shift_mm
    # Steady fixation scatters; the spread is the table's own.
    off = np.radians(rng.normal(0.0, spread_of("fixation_confirmed"), 2))
    lamp = scene.setup.lamps_mm[FIXATED]
    axis = axis_through(scene.pose, lamp) + off
    later = rolled_scene(scene, sheet, roll_deg)
    there = (shift[0] + rng.normal(0.0, 0.4), shift[1] + rng.normal(0.0, 0.4), shift[2])
    turn = np.array(scene.pose.turn_rad) + np.radians(rng.normal(0.0, 2.0, 2))
    wide = replace(scene.pupil, radius_mm=scene.pupil.radius_mm * float(rng.uniform(0.85, 1.0)))
    pose = EyePose((float(turn[0]), float(turn[1])), there)
    later = replace(later, pose=pose, pupil=wide)
    left = np.degrees(turn_onto(later.setup.lamps_mm[FIXATED], there, axis) - turn)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return Two(
        (drawn(scene, seed), sheet),
        (drawn(later, seed), replace(sheet, fixation="none")),
        roll_deg,
        np.array([c * left[0] - s * left[1], s * left[0] + c * left[1]]),
    )


def reference_from(picture: tuple[Raster, PictureSheet]) -> EyeReference:
    fixating = align_frame(*picture, "first").fixating
    assert fixating is not None
    return make_reference([fixating])


def asked(pair: Two, reference: EyeReference) -> FrameFinding:
    return align_frame(*pair.now, "now", Question(reference)).finding


def test_the_turn_about_the_axis_is_found_and_its_sign_is_the_examiners() -> None:
    for seed in (3, 4):
        pair = two(seed)
        kept = reference_of(reference_document(reference_from(pair.first)), "r.json")
        offset = asked(pair, kept).offset
        assert offset is not None
        assert offset.rolled_deg is not None
        off = offset.rolled_deg.value - pair.roll_deg
        assert abs(off) < 3.0 * offset.rolled_deg.sd
        assert offset.rolled_deg.sd < 1.0


def test_another_eye_tells_no_turn_about_its_axis_and_the_turn_is_wider() -> None:
    pair, other = two(3), two(4)
    own = reference_from(pair.first)
    strange = replace(own, around=reference_from(other.first).around)
    known, unknown = asked(pair, own), asked(pair, strange)
    assert "roll-not-told" not in {one.code for one in known.reasons}
    assert "roll-not-told" in {one.code for one in unknown.reasons}
    assert known.offset is not None
    assert known.offset.turn_deg is not None
    assert unknown.offset is not None
    assert unknown.offset.rolled_deg is None
    assert unknown.offset.turn_deg is not None
    for better, worse in zip(known.offset.turn_deg, unknown.offset.turn_deg, strict=True):
        assert better.sd < worse.sd


def test_a_reference_of_an_older_version_is_read_and_a_broken_strip_is_not() -> None:
    document = reference_document(reference_from(two(3).first))
    document["eye"].pop("around")
    assert reference_of(document, "r.json").around == ()
    document["eye"]["around"] = ["12x"]
    with pytest.raises(WrongInput, match="around"):
        reference_of(document, "r.json")


def test_a_picture_held_upside_down_unsaid_is_refused() -> None:
    pair = two(3)
    reference = reference_from(pair.first)
    raster, sheet = pair.now
    upside = Raster(np.ascontiguousarray(raster.pixels[::-1, ::-1]))
    with pytest.raises(WrongInput, match="superior_deg"):
        align_frame(upside, sheet, "now", Question(reference))
    fixating = [align_frame(one, pair.first[1], "f").fixating for one in (pair.first[0], upside)]
    with pytest.raises(WrongInput, match="superior_deg"):
        make_reference([one for one in fixating if one is not None])
    told = replace(sheet, superior_deg=(sheet.superior_deg + 180.0) % 360.0)
    lamps = told.lamps
    assert lamps is not None
    turned = replace(lamps, places_mm=tuple((-x, -y) for x, y in lamps.places_mm))
    offset = align_frame(upside, replace(told, lamps=turned), "now", Question(reference)).finding
    assert offset.offset is not None
    assert offset.offset.rolled_deg is not None
    assert abs(offset.offset.rolled_deg.value - pair.roll_deg) < 1.5


@pytest.mark.slow
@pytest.mark.parametrize("difficulty", ["easy", "medium"])
def test_the_spread_of_turn_and_roll_is_true(difficulty: Difficulty) -> None:
    """Thirty eyes; a true ± of sixty numbers stays below 1.25 in 99 of 100 sets.

    It is on the wide side here (0.5 to 0.7): own renders draw neither the lids that pull a limbus
    nor a lens that hangs otherwise. ``test_align_budget`` draws all and holds both bounds.
    """
    turns, rolls, told = [], [], 0
    for seed in range(30):
        pair = two(1000 + seed, difficulty)
        try:
            found = asked(pair, reference_from(pair.first)).offset
        except MeasurementRefused:
            continue
        if found is None or found.turn_deg is None:
            continue
        told += 1
        turns += [
            (one.value - true) / one.sd
            for one, true in zip(found.turn_deg, pair.turn_deg, strict=True)
        ]
        if found.rolled_deg is not None:
            rolls.append((found.rolled_deg.value - pair.roll_deg) / found.rolled_deg.sd)
    assert told >= 20
    assert len(rolls) >= 18
    assert math.sqrt(float(np.mean(np.square(turns)))) < 1.25
    assert float(np.median(np.abs(rolls))) < 1.0


@pytest.mark.skipif(not FOLDER.is_dir(), reason=AWAY)
@pytest.mark.parametrize("name", ["easy_003", "medium_000"])
def test_practice_pairs_tell_their_turn_about_the_axis(name: str) -> None:
    """Of the practice pairs two are in the quick set; all 22 lie within 1 deg (median 0.06)."""
    path = FOLDER / "pairs" / f"pair_{name}_ref.jpg"
    now = path.with_name(f"pair_{name}_now.jpg")
    truth = json.loads(path.with_name(f"pair_{name}.truth.json").read_text())
    reference = reference_from((load_picture(path).raster, picture_sheet_for(path)))
    offset = align_frame(
        load_picture(now).raster, picture_sheet_for(now), now.name, Question(reference)
    ).finding.offset
    assert offset is not None
    assert offset.rolled_deg is not None
    off = offset.rolled_deg.value - truth["eye_turned_in_picture_ccw_deg"]
    assert abs(off) < max(3.0 * offset.rolled_deg.sd, 0.5)
