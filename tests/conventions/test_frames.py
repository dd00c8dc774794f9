"""Axes, origin, angles, anatomy and pictures: numbers 1, 3, 4, 5 and 19 of docs/conventions.md."""

import ast
from dataclasses import fields

import numpy as np
import pytest
import tree

from rimwise.plan.make import make_plan
from rimwise.records.case import CaseSheet, Centres, OpeningWish, PlannedImplant, Spread
from rimwise.terms.frames import (
    PictureFrame,
    axis_deg,
    clock_hour,
    direction_deg,
    direction_words,
    nasal_superior,
)

PICTURE_RIGHT = np.array([1.0, 0.0])
PICTURE_UP = np.array([0.0, -1.0])  # rows run down
SIDES = ("right", "left")


def test_01_plus_x_is_the_examiners_right_for_either_eye_and_the_frame_is_right_handed():
    assert "side" not in {field.name for field in fields(PictureFrame)}
    upright = PictureFrame(90.0)
    x_axis = upright.examiner_from_picture(PICTURE_RIGHT)
    y_axis = upright.examiner_from_picture(PICTURE_UP)
    np.testing.assert_allclose([x_axis, y_axis], np.eye(2), atol=1e-15)
    # x cross y must point out of the eye, towards the examiner.
    assert np.cross([*x_axis, 0.0], [*y_axis, 0.0])[2] == pytest.approx(1.0)


def test_01_a_plan_of_a_left_eye_is_not_mirrored_inside():
    hand = Spread((0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.1, 0.1), "lens")
    centres = Centres(lens_mm=(0.1, 0.0), visual_axis_mm=(-0.2, 0.05))
    means = {}
    for side in SIDES:
        case = CaseSheet(
            "E-1",
            side,
            "none",
            implant=PlannedImplant(6.0),
            spread=hand,
            centres=centres,
            opening=OpeningWish(5.0, "visual_axis"),
        )
        means[side] = make_plan(case).chosen.opening_from_optic.mean_mm
    # Opening on the visual axis, optic at the lens centre: -0.2 - 0.1 to the examiner's right.
    assert means["right"] == means["left"] == pytest.approx((-0.3, 0.05))


def test_03_angles_run_counter_clockwise_as_the_examiner_sees_them():
    upright = PictureFrame(90.0)
    assert upright.examiner_deg(90.0) == pytest.approx(90.0)
    up_and_right = upright.examiner_from_picture(np.array([1.0, -1.0]))
    assert np.degrees(np.arctan2(up_and_right[1], up_and_right[0])) == pytest.approx(45.0)


def test_03_an_axis_is_written_above_0_up_to_180_and_a_direction_from_0_below_360():
    # The horizontal axis is written 180 on every prescription (common practice, no source).
    assert [axis_deg(a) for a in (0.0, 180.0, 360.0, -180.0)] == [180.0] * 4
    assert axis_deg(-1e-15) == 180.0
    assert direction_deg(360.0) == direction_deg(-1e-15) == 0.0
    for angle in np.linspace(-720.0, 720.0, 577):
        assert 0.0 < axis_deg(angle) <= 180.0
        assert 0.0 <= direction_deg(angle) < 360.0


def test_04_nasal_is_plus_x_in_a_right_eye_and_minus_x_in_a_left_eye():
    # The examiner faces the patient: the right eye is on his left and its nose to his right.
    assert nasal_superior(1.0, 0.0, "right") == (1.0, 0.0)
    assert nasal_superior(1.0, 0.0, "left") == (-1.0, 0.0)
    assert direction_words(0.0, "right") == "nasal"
    assert direction_words(0.0, "left") == "temporal"
    for side in SIDES:
        assert nasal_superior(0.0, 1.0, side)[1] == 1.0


def test_04_only_one_file_decides_by_the_side():
    """Nothing else may compare the side with "right" or "left" to choose a sign or a name."""
    found = set()
    for path in tree.sources():
        for node in ast.walk(tree.parsed(path)):
            if isinstance(node, ast.Compare):
                literals = {
                    c.value
                    for c in [node.left, *node.comparators]
                    if isinstance(c, ast.Constant) and isinstance(c.value, str)
                }
                if literals & set(SIDES):
                    found.add(tree.name(path))
    assert found == {"src/rimwise/terms/frames.py"}


def test_05_a_surgeon_at_the_head_end_sees_the_eye_upside_down():
    head_end = PictureFrame(270.0)
    turned = head_end.examiner_from_picture(np.stack([PICTURE_RIGHT, PICTURE_UP]))
    np.testing.assert_allclose(turned, -np.eye(2), atol=1e-15)


def test_05_a_mirrored_picture_keeps_superior_and_swaps_right_and_left():
    mirrored = PictureFrame(90.0, mirrored=True)
    turned = mirrored.examiner_from_picture(np.stack([PICTURE_RIGHT, PICTURE_UP]))
    np.testing.assert_allclose(turned, np.diag([-1.0, 1.0]), atol=1e-15)


@pytest.mark.parametrize("superior_deg", [0.0, 90.0, 187.0, 270.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_05_the_stated_superior_direction_is_90_degrees_however_the_picture_was_held(
    superior_deg, mirrored
):
    frame = PictureFrame(superior_deg, mirrored)
    assert frame.examiner_deg(superior_deg) == pytest.approx(90.0)
    vectors = np.array([[3.0, -2.0], [0.5, 7.0]])
    back = frame.picture_from_examiner(frame.examiner_from_picture(vectors))
    np.testing.assert_allclose(back, vectors, atol=1e-12)


@pytest.mark.parametrize(("hour", "angle_deg"), [(12, 90), (3, 0), (6, 270), (9, 180), (1, 60)])
def test_19_hour_h_lies_at_90_minus_30_h_degrees(hour, angle_deg):
    assert clock_hour(angle_deg) == pytest.approx(hour)


def test_19_three_o_clock_is_plus_x_for_both_eyes():
    assert clock_hour(0.0) == 3.0
    assert {direction_words(0.0, side) for side in SIDES} == {"nasal", "temporal"}
