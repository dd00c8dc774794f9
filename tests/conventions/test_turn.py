"""The turn, its words, the globe's pivot and the offset: number 20 of docs/conventions.md."""

from types import SimpleNamespace

import numpy as np
import pytest
import tree

from rimwise.align.axes import turn_onto
from rimwise.align.fit import Sighted
from rimwise.align.frame import offset_mm
from rimwise.align.words import turn_words
from rimwise.eye.camera import world_from_eye
from rimwise.records.eye import EyePose
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import PictureFrame

STRAIGHT_AHEAD = (0.0, 0.0, 1e6)


def test_20_the_globe_turns_about_a_point_13_5_mm_behind_the_corneal_vertex():
    pose = EyePose(turn_rad=(0.1, 0.0))
    pivot, vertex = world_from_eye(pose, np.array([[0.0, 0.0, -13.5], [0.0, 0.0, 0.0]]))
    np.testing.assert_allclose(pivot, [0.0, 0.0, -13.5], atol=1e-12)
    # The front of the eye goes where the turn points, on a circle of 13.5 mm about that point.
    np.testing.assert_allclose(vertex, [13.5 * np.sin(0.1), 0.0, 13.5 * np.cos(0.1) - 13.5])


def test_20_a_turn_is_the_rotation_still_to_be_made_not_the_error_found():
    # The visual axis points 0.1 to +x of the corneal axis. To look straight ahead with it, the
    # front of the eye has to go towards -x, by that much.
    turn_rad = turn_onto(STRAIGHT_AHEAD, (0.0, 0.0, 0.0), np.array([0.1, 0.0]))
    # 1e-5: the lamp is a kilometre away, not at infinity.
    np.testing.assert_allclose(np.tan(turn_rad), [-0.1, 0.0], atol=1e-5)


@pytest.mark.parametrize(("side", "name"), [("right", "nasal"), ("left", "temporal")])
def test_20_words_and_numbers_of_a_turn_say_the_same(side, name):
    assert turn_words(2.1, 0.8, side) == f"turn the front of the eye 2.1° {name} and 0.8° up"


def test_20_the_words_of_a_turn_are_made_in_one_place_only():
    made = [
        tree.name(p)
        for p in tree.sources()
        if 'f"turn the front of the eye' in p.read_text("utf-8")
    ]
    assert made == ["src/rimwise/align/words.py"]


@pytest.mark.parametrize(("superior_deg", "sign"), [(90.0, 1.0), (270.0, -1.0)])
def test_20_the_offset_is_p4_minus_p1_over_the_lamps_seen_in_both(superior_deg, sign):
    # Lamp 0: P4 lies 30 px right of P1 and 10 px above. Lamp 1 is not seen in P4 and counts not.
    seen = Sighted(
        {"P1": ((100.0, 200.0), (500.0, 600.0)), "P4": ((130.0, 190.0), None)}, None, None
    )
    looking = SimpleNamespace(
        camera=SimpleNamespace(frame=PictureFrame(superior_deg)),
        px_per_mm=Estimate(50.0, 0.0, "given"),
    )
    x, y = offset_mm(looking, seen)
    assert (x.value, y.value) == (pytest.approx(sign * 0.6), pytest.approx(sign * 0.2))
