"""Into the picture and back: laws of what is seen through the cornea, held by drawn eyes."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.eye.camera import Camera, eye_from_world, world_from_eye
from rimwise.eye.model import EyeModel, Part
from rimwise.eye.schematic import schematic_model
from rimwise.eye.seen import EyePlane, Sight
from rimwise.optics.pose import Pose, tilt_rotation
from rimwise.optics.surface import biconic
from rimwise.published.eyes import schematic_eye
from rimwise.purkinje.through import seen_through
from rimwise.records.eye import EyePose, LensPlace
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import PictureFrame

SMALL = st.floats(-0.25, 0.25)  # rad: 14 degrees
ROUND_TRIP_MM = 1e-9


@st.composite
def sights(draw: st.DrawFn) -> Sight:
    radius, axis = draw(st.floats(7.0, 8.6)), draw(st.floats(0.0, math.pi))
    steep = radius - draw(st.floats(0.0, 0.6))
    front = biconic((-radius, -steep), (-0.3, -0.1), axis)
    back = biconic((-0.83 * radius, -0.83 * steep), (-0.3, 0.0), axis, Pose.at(0, 0, -0.54))
    parts = (Part("cornea front", front, 1.376), Part("cornea back", back, 1.336))
    pose = EyePose((draw(SMALL), draw(SMALL)), (draw(SMALL), draw(SMALL), draw(SMALL)), draw(SMALL))
    frame = PictureFrame(draw(st.floats(0, 360)), draw(st.booleans()))
    camera = Camera.in_front(draw(st.floats(100, 400)), 60.0, (640.0, 512.0), frame)
    return Sight(EyeModel("drawn", parts, 3.0), pose, camera)


@st.composite
def planes(draw: st.DrawFn) -> EyePlane:
    tilt = (draw(st.floats(-0.2, 0.2)), draw(st.floats(-0.2, 0.2)))
    normal = tilt_rotation(*tilt)[:, 2]
    return EyePlane((0.2, -0.1, -draw(st.floats(3.2, 5.0))), tuple(normal))


RING = np.array([(2.6 * math.cos(t), 2.6 * math.sin(t)) for t in np.linspace(0, 6.0, 9)])


def ring_on(plane: EyePlane) -> np.ndarray:
    x, y = RING.T
    a, b, c = plane.normal
    px, py, pz = plane.point_mm
    return np.column_stack([x, y, pz - (a * (x - px) + b * (y - py)) / c])


@given(sight=sights(), plane=planes())
@settings(max_examples=40)
def test_into_the_picture_and_back_closes(sight, plane):
    points = ring_on(plane)
    px = sight.project(points)
    assert np.isfinite(px).all()
    assert np.allclose(sight.back_project(px, plane), points, rtol=0, atol=ROUND_TRIP_MM)
    air = sight.project_in_air(points)
    assert np.allclose(sight.back_project_in_air(air, plane), points, rtol=0, atol=ROUND_TRIP_MM)


@given(sight=sights(), plane=planes())
@settings(max_examples=20)
def test_compiled_and_plain_traces_see_the_same(sight, plane):
    points = ring_on(plane)
    compiled = replace(sight, engine="compiled")
    assert np.allclose(sight.project(points), compiled.project(points), rtol=0, atol=1e-8)
    by_kernel = replace(sight, solver=seen_through)
    assert np.allclose(sight.project(points), by_kernel.project(points), rtol=0, atol=1e-8)


@given(sight=sights(), plane=planes(), x=SMALL, y=SMALL)
@settings(max_examples=20)
def test_turning_eye_and_camera_together_changes_nothing(sight, plane, x, y):
    pose = replace(sight.pose, turn_rad=(0.0, 0.0), torsion_rad=0.0)
    points, rotation = ring_on(plane), tilt_rotation(x, y)
    pivot = np.array([0.0, 0.0, -pose.pivot_depth_mm]) + np.array(pose.shift_mm)
    place = pivot + rotation @ (np.array(sight.camera.place_mm) - pivot)
    camera = replace(sight.camera.moved(rotation), place_mm=tuple(float(v) for v in place))
    still = replace(sight, pose=pose)
    moved = Sight(sight.model, replace(pose, turn_rad=(x, y)), camera)
    assert np.allclose(still.project(points), moved.project(points), rtol=0, atol=1e-8)


@given(pose=st.builds(EyePose, turn_rad=st.tuples(SMALL, SMALL), torsion_rad=SMALL))
def test_a_pose_and_its_inverse(pose):
    points = np.array([[1.0, -2.0, -3.0], [0.0, 0.0, 5.0]])
    back = eye_from_world(pose, world_from_eye(pose, points))
    assert np.allclose(back, points, rtol=0, atol=1e-12)
    axis = world_from_eye(pose, np.array([0.0, 0.0, 1.0])) - world_from_eye(pose, np.zeros(3))
    slopes = np.arctan(axis[:2] / axis[2])
    assert np.allclose(slopes, pose.turn_rad, rtol=0, atol=1e-12)


@given(sight=sights(), plane=planes())
@settings(max_examples=20)
def test_a_mark_on_the_cornea_covers_its_target(sight, plane):
    points = ring_on(plane)
    marks = sight.on_cornea(points)
    assert np.allclose(sight.project_in_air(marks), sight.project(points), rtol=0, atol=1e-7)


def test_the_optic_plane_moves_with_a_tilted_lens():
    eye = schematic_model(schematic_eye("legrand"))
    eye = replace(eye, lens=LensPlace((0.1, 0.0), (0.3, 0.0)))
    plane = EyePlane.of_lens(eye, 3.6)
    assert plane.normal[0] / plane.normal[2] == pytest.approx(math.tan(0.1))
    assert plane.point_mm == pytest.approx(
        (0.3 + 2.0 * math.sin(0.1), 0.0, -5.6 + 2.0 * math.cos(0.1))
    )


def test_what_is_no_point_behind_the_cornea_is_refused():
    sight = Sight(schematic_model(schematic_eye("legrand")), EyePose(), Camera.in_front(200.0))
    with pytest.raises(WrongInput, match=r"0.5 mm behind the corneal front"):
        sight.project(np.array([[0.0, 0.0, -0.5]]))


def test_a_line_of_sight_that_misses_is_nan_and_not_guessed():
    sight = Sight(schematic_model(schematic_eye("legrand")), EyePose(), Camera.in_front(200.0))
    back = sight.back_project(np.array([[0.0, 0.0], [9.0, 0.0]]), EyePlane.at_depth(3.6))
    assert np.isfinite(back[0]).all()
    assert np.isnan(back[1]).all()
