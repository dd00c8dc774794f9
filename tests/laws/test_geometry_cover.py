"""Laws of cover by direction."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwise.geometry.arcs import arc_span_deg, in_arc
from rimwise.geometry.cover import (
    bare_arcs,
    bare_total_deg,
    circle_cover,
    cover_areas,
    cover_of_circles,
    cover_of_curve,
    least_cover,
)
from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.fourier import FourierRadius
from rimwise.terms.errors import WrongInput

ANGLES = np.radians(np.arange(0.0, 360.0))
OFFSETS = st.tuples(st.floats(-0.6, 0.6), st.floats(-0.6, 0.6))
RADII = st.floats(1.5, 3.2)


def lobed(coefficients) -> FourierRadius:
    size = len(coefficients)
    return FourierRadius(np.array(coefficients), np.zeros((size, size)), 0.0, np.ones(0, bool))


WAVES = st.lists(st.floats(-0.12, 0.12), min_size=6, max_size=6)


@given(OFFSETS, RADII, st.floats(0.0, 0.3))
def test_cover_never_grows_when_the_opening_grows(offset, radius, more):
    offset = np.array(offset)
    small = cover_of_circles(3.0, radius, offset, ANGLES)
    large = cover_of_circles(3.0, radius + more, offset, ANGLES)
    assert (large <= small).all()
    assert bare_total_deg(large) >= bare_total_deg(small) - 1e-9
    assert cover_areas(3.0, large).covered_mm2 <= cover_areas(3.0, small).covered_mm2 + 1e-12


def test_edges_that_touch_in_one_direction_leave_the_rest_bare():
    # An opening of 3.25 mm about a point 0.25 mm off touches the optic's edge in one direction.
    touching = cover_of_circles(3.0, 3.25, np.array([0.0, 0.25]), ANGLES)
    assert np.count_nonzero(touching < 0.0) == 359
    assert bare_total_deg(touching) == 360.0


@given(WAVES, OFFSETS, st.floats(0.001, 0.2))
def test_cover_never_grows_when_a_curve_grows(waves, offset, more):
    small = ClosedCurve.from_radius(lobed([2.5, *waves]), offset)
    large = ClosedCurve.from_radius(lobed([2.5 + more, *waves]), offset)
    # The curves are interpolated to 1e-9.
    difference = cover_of_curve(3.0, small, ANGLES) - cover_of_curve(3.0, large, ANGLES)
    assert difference.min() > -1e-9


@given(OFFSETS, RADII)
def test_a_round_curve_covers_as_a_circle(offset, radius):
    curve = ClosedCurve.from_radius(lobed([radius]), offset)
    # Cubic interpolation between 1024 samples of a circle seen off centre.
    assert cover_of_curve(3.0, curve, ANGLES) == pytest.approx(
        cover_of_circles(3.0, radius, np.array(offset), ANGLES), abs=1e-9
    )


@given(OFFSETS, RADII, st.integers(0, 359))
def test_turning_the_eye_turns_the_cover(offset, radius, degrees):
    turn = math.radians(degrees)
    cos, sin = math.cos(turn), math.sin(turn)
    turned = np.array([cos * offset[0] - sin * offset[1], sin * offset[0] + cos * offset[1]])
    before = cover_of_circles(3.0, radius, np.array(offset), ANGLES)
    after = cover_of_circles(3.0, radius, turned, ANGLES)
    # Rounding of a rotation.
    assert after == pytest.approx(np.roll(before, degrees), abs=1e-12)
    assert bare_total_deg(after) == pytest.approx(bare_total_deg(before), abs=1e-6)


@given(WAVES, OFFSETS)
def test_a_mirrored_eye_has_mirrored_cover(waves, offset):
    curve = ClosedCurve.from_radius(lobed([2.7, *waves]), offset)
    mirrored = ClosedCurve.through(curve.points[::4] * [-1.0, 1.0])
    seen, expected = cover_of_curve(3.0, mirrored, ANGLES), cover_of_curve(3.0, curve, ANGLES)
    # A spline through every fourth of 1024 samples.
    assert seen == pytest.approx(expected[(180 - np.arange(360)) % 360], abs=1e-7)
    arcs = bare_arcs(expected[(180 - np.arange(360)) % 360])
    back = sorted(((180.0 - end) % 360.0, (180.0 - start) % 360.0) for start, end in arcs)
    if arcs != ((0.0, 360.0),):
        assert np.array(back) == pytest.approx(np.array(bare_arcs(expected)), abs=1e-9)


@given(WAVES, OFFSETS, st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3)))
def test_moving_optic_and_opening_together_changes_nothing(waves, offset, shift):
    curve = ClosedCurve.from_radius(lobed([2.5, *waves]), offset)
    moved = curve.moved(np.array(shift))
    about = cover_of_curve(3.0, curve, ANGLES)
    again = cover_of_curve(3.0, moved.moved(-np.array(shift)), ANGLES)
    assert again == pytest.approx(about, abs=1e-12)  # rounding of two shifts
    assert moved.radius_along(ANGLES, shift) == pytest.approx(3.0 - about, abs=1e-12)


@given(OFFSETS, RADII)
def test_whole_degrees_tell_what_the_closed_form_says(offset, radius):
    offset = np.array(offset)
    exact = circle_cover(3.0, radius, float(np.hypot(*offset)))
    widths = cover_of_circles(3.0, radius, offset, ANGLES)
    areas = cover_areas(3.0, widths)
    assert np.mean(widths) == pytest.approx(exact.mean_mm, abs=1e-9)
    # The kinks at the ends of bare arcs, at steps of a degree.
    assert areas.covered_mm2 == pytest.approx(exact.covered_mm2, abs=5e-4)
    assert areas.outside_mm2 == pytest.approx(exact.outside_mm2, abs=5e-4)
    width, _ = least_cover(widths)
    assert width == pytest.approx(exact.least_mm, abs=1e-6)  # a parabola over three degrees


WIDTHS = st.lists(
    st.one_of(st.none(), st.floats(0.01, 1.0), st.floats(-1.0, -0.01)), min_size=3, max_size=40
)


@given(WIDTHS)
def test_arcs_hold_the_bare_directions_and_no_others(widths):
    arcs = bare_arcs(widths)
    step = 360.0 / len(widths)
    for index, width in enumerate(widths):
        held = any(in_arc(index * step, arc) for arc in arcs)
        assert held == (width is not None and width < 0.0)
    bare = sum(width is not None and width < 0.0 for width in widths)
    assert bare_total_deg(widths) == pytest.approx(sum(arc_span_deg(arc) for arc in arcs))
    # Every bare direction stands for less than a step to either side.
    assert bare_total_deg(widths) <= 2.0 * bare * step + 1e-9


@given(WIDTHS, st.integers(0, 40))
def test_arcs_turn_with_the_widths(widths, places):
    turned = widths[-places % len(widths) :] + widths[: -places % len(widths)]
    # Only the sum of angles is rounded.
    assert bare_total_deg(turned) == pytest.approx(bare_total_deg(widths), abs=1e-9)


def test_all_bare_none_bare_and_unknown():
    assert bare_arcs([-0.1] * 360) == ((0.0, 360.0),)
    assert bare_total_deg([-0.1] * 360) == 360.0
    assert bare_arcs([0.1] * 360) == ()
    assert bare_arcs([0.0] * 360) == ()
    assert bare_arcs([None] * 360) == ()
    assert least_cover([None] * 360) is None
    broken = [-0.1] * 360
    broken[100] = None
    assert bare_arcs(broken) == ((100.5, 99.5),)
    assert bare_total_deg(broken) == 359.0


def test_an_arc_over_zero_degrees_runs_counter_clockwise():
    widths = cover_of_circles(3.0, 2.5, np.array([0.7, 0.0]), ANGLES)
    ((start, end),) = bare_arcs(widths)
    half = 0.5 * (360.0 - 280.96469441)  # tests/data/two_circles.csv
    # Linear interpolation within a degree.
    assert (start, end) == pytest.approx((360.0 - half, half), abs=0.005)


def test_what_has_no_cover_by_direction_is_refused():
    with pytest.raises(WrongInput, match="inside the opening"):
        cover_of_circles(3.0, 2.5, np.array([2.6, 0.0]), ANGLES)
    with pytest.raises(WrongInput, match="inside the opening"):
        circle_cover(3.0, 2.5, 2.5)
    far = ClosedCurve.from_radius(lobed([2.5]), (2.6, 0.0))
    with pytest.raises(WrongInput, match="not seen whole"):
        cover_of_curve(3.0, far, ANGLES)
    with pytest.raises(WrongInput, match="every direction"):
        cover_areas(3.0, np.array([0.1, np.nan, 0.1]))
