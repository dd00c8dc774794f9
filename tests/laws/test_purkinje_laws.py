"""What every reflex obeys, whatever the eye: laws held by drawn eyes."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.eye.camera import Camera
from rimwise.eye.model import EyeModel, Part
from rimwise.eye.schematic import schematic_model
from rimwise.optics.pose import Pose, tilt_rotation
from rimwise.optics.surface import Surface, biconic, conic
from rimwise.published.eyes import schematic_eye
from rimwise.purkinje.flat import flat_eye
from rimwise.purkinje.forward import general_path, reflexes
from rimwise.purkinje.kernel import RAY, WIDTH, cross
from rimwise.purkinje.setup import SetUp, set_up
from rimwise.records.eye import EyePose, Reflex
from rimwise.records.picture import Lamps
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import PictureFrame

# Radians and mm: beyond, P3 may run off the lens and there is no path.
SMALL = st.floats(-0.05, 0.05)
NUMBERS = ("px", "plane_mm", "image_mm", "distance_mm", "magnification", "light", "defocus_dpt")


@st.composite
def eyes(draw: st.DrawFn) -> EyeModel:
    """An eye with a toric cornea and a placed lens, every number of it drawn."""
    radius = draw(st.floats(7.0, 8.6))
    steep = radius - draw(st.floats(0.0, 0.5))
    axis = draw(st.floats(0.0, math.pi))
    depth = draw(st.floats(2.4, 4.0))
    thickness = draw(st.floats(3.4, 5.2))
    front = biconic((-radius, -steep), (-0.2, -0.1), axis, Pose())
    back = biconic((-0.83 * radius, -0.83 * steep), (-0.3, -0.3), axis, Pose.at(0, 0, -0.54))
    lens = conic(-draw(st.floats(8.0, 13.0)), -1.0, Pose.at(0, 0, -depth))
    rear = conic(draw(st.floats(5.4, 7.0)), -1.0, Pose.at(0, 0, -depth - thickness))
    parts = (
        Part("cornea front", front, 1.376),
        Part("cornea back", back, 1.336),
        Part("lens front", lens, 1.42),
        Part("lens back", rear, 1.336),
    )
    eye = EyeModel("drawn", parts, depth, 24.5, pupil_diameter_mm=7.0)
    tilt = (draw(SMALL), draw(SMALL))
    return eye.with_lens(tilt, (5.0 * draw(SMALL), 5.0 * draw(SMALL)))


poses = st.builds(
    EyePose,
    turn_rad=st.tuples(SMALL, SMALL),
    shift_mm=st.tuples(SMALL, SMALL, SMALL),
    torsion_rad=SMALL,
)
lamps = st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(150, 200))


def setup(*places: tuple[float, float, float]) -> SetUp:
    return SetUp(replace(Camera.in_front(200.0, 50.0, (640.0, 512.0)), aperture_mm=20.0), places)


def same(one: Reflex, other: Reflex, close: float) -> bool:
    if one.status != other.status:
        return False
    return all(
        np.allclose(getattr(one, name), getattr(other, name), rtol=close, atol=close)
        for name in NUMBERS
    )


@given(eye=eyes(), pose=poses, lamp=lamps)
@settings(max_examples=25)
def test_kernel_compiled_kernel_and_general_trace_agree(eye, pose, lamp):
    """Three ways to the same path; magnification and depth come from differences, so 1e-7."""
    found = [
        reflexes(eye, pose, setup(lamp), engine=engine)
        for engine in ("plain", "compiled", "general")
    ]
    for plain, compiled, general in zip(*found, strict=True):
        # The same formulas in the same order, but a compiler may join products and sums.
        assert same(plain, compiled, 1e-7)
        assert np.allclose(plain.px, compiled.px, rtol=0, atol=1e-8)
        assert same(plain, general, 1e-7)
        assert np.allclose(plain.px, general.px, rtol=0, atol=1e-8)


@given(eye=eyes(), pose=poses, lamp=lamps)
@settings(max_examples=25)
def test_upright_and_inverted(eye, pose, lamp):
    for one in reflexes(eye, pose, setup(lamp), engine="plain"):
        assert one.upright == (one.name != "P4")


@given(eye=eyes(), pose=poses, lamp=lamps, x=SMALL, y=SMALL)
@settings(max_examples=25)
def test_turning_eye_lamps_and_camera_together_changes_nothing(eye, pose, lamp, x, y):
    """About the eye's own centre of rotation, so that its pose says the same."""
    rotation = tilt_rotation(x, y)
    still = reflexes(eye, replace(pose, turn_rad=(0.0, 0.0), torsion_rad=0.0), setup(lamp))
    pivot = np.array([0.0, 0.0, -pose.pivot_depth_mm]) + np.array(pose.shift_mm)

    def carry(point) -> tuple[float, float, float]:
        moved = pivot + rotation @ (np.array(point) - pivot)
        return (float(moved[0]), float(moved[1]), float(moved[2]))

    camera = setup(lamp).camera
    turned = replace(camera.moved(rotation), place_mm=carry(camera.place_mm))
    pose = replace(pose, turn_rad=(x, y), torsion_rad=0.0)
    moved = reflexes(eye, pose, SetUp(turned, (carry(lamp),)))
    for one, other in zip(still, moved, strict=True):
        assert np.allclose(one.px, other.px, rtol=0, atol=1e-8)
        assert np.allclose(carry(one.image_mm), other.image_mm, rtol=0, atol=1e-6)
        assert one.light == pytest.approx(other.light, rel=1e-10)


def mirrored_surface(surface: Surface) -> Surface:
    return replace(surface, axis_rad=-surface.axis_rad)


@given(eye=eyes(), pose=poses, lamp=lamps)
@settings(max_examples=25)
def test_mirror_image_eyes_give_mirror_image_reflexes(eye, pose, lamp):
    parts = tuple(replace(one, surface=mirrored_surface(one.surface)) for one in eye.parts)
    (tx, ty), (sx, sy) = eye.lens.tilt_rad, eye.lens.shift_mm
    twin = replace(eye, parts=parts).with_lens((-tx, ty), (-sx, sy))
    (rx, ry), (x, y, z) = pose.turn_rad, pose.shift_mm
    there = EyePose((-rx, ry), (-x, y, z), -pose.torsion_rad)
    ones = reflexes(eye, pose, setup(lamp), engine="plain")
    others = reflexes(twin, there, setup((-lamp[0], *lamp[1:])), engine="plain")
    for one, other in zip(ones, others, strict=True):
        assert one.plane_mm[0] == pytest.approx(-other.plane_mm[0], abs=1e-9)
        assert one.plane_mm[1] == pytest.approx(other.plane_mm[1], abs=1e-9)
        assert one.light == pytest.approx(other.light, rel=1e-9)


@given(eye=eyes(), pose=poses, lamp=lamps)
@settings(max_examples=15)
def test_lamp_and_camera_may_change_places(eye, pose, lamp):
    """Light goes the same path back: the lamp's ray leaves where the camera's came in."""
    beside = (lamp[0], lamp[1], 200.0)
    here = setup(beside)
    for name in ("P1", "P4"):
        there = SetUp(replace(here.camera, place_mm=beside), (here.camera.place_mm,))
        one = reflexes(eye, pose, here, (name,), "plain")[0]
        other = reflexes(eye, pose, there, (name,), "plain")[0]
        assert one.light == pytest.approx(other.light, rel=1e-9)


@given(eye=eyes(), pose=poses, lamp=lamps, index=st.integers(0, 3))
@settings(max_examples=20)
def test_optical_path_of_a_solved_reflex_is_stationary(eye, pose, lamp, index):
    """Fermat: moving the points along their surfaces changes the path in the second order only."""
    path = general_path(eye, index)
    name = ("P1", "P2", "P3", "P4")[index]
    here = setup(lamp)
    seen = reflexes(eye, pose, here, (name,), "plain")[0]
    view, places = here.seen_from(pose)
    slopes = np.array([seen.plane_mm]) / here.camera.focus_mm
    axes = view[3:12].reshape(3, 3)
    gap, record = path.misses(view[:3], axes, places, slopes)
    assert np.abs(gap).max() < 1e-11
    points = record.points_mm[:, 0]
    media = path.system.media

    def length(moved: np.ndarray) -> float:
        knots = np.vstack([view[:3], moved, places[0]])
        return float(np.dot(media, np.linalg.norm(np.diff(knots, axis=0), axis=1)))

    best = length(points)
    for i, step in enumerate(path.system.steps):
        pose_of = step.surface.pose
        for way in ((3e-4, 0.0), (0.0, 3e-4)):
            changes = []
            for sign in (1.0, -1.0):
                local = pose_of.inward(points[i])
                local[:2] += sign * np.array(way)
                local[2] = step.surface.sag_mm(local[0], local[1])
                moved = points.copy()
                moved[i] = pose_of.outward(local)
                changes.append(length(moved) - best)
            # Round-off of 400 mm of path leaves 1e-10 of a sine, the third order 1e-8.
            assert abs(changes[0] - changes[1]) / 6e-4 < 1e-7


@given(eye=eyes(), x=st.floats(-2, 2), y=st.floats(-2, 2), part=st.integers(0, 3))
@settings(max_examples=25)
def test_a_crossing_reversed_returns(eye, x, y, part):
    surface = flat_eye(eye).surfaces.tolist()[part * WIDTH : (part + 1) * WIDTH]
    ray = [x, y, 20.0, 0.01, -0.02, -math.sqrt(1.0 - 5e-4)] + [0.0] * RAY
    start = list(ray[:6])
    if cross(ray, surface, 0, 0):
        return
    ray[3:6] = [-one for one in ray[3:6]]
    assert cross(ray, surface, 1, 0) == 0
    assert np.allclose(ray[3:6], [-one for one in start[3:]], rtol=0, atol=1e-13)


def test_depth_defocus_and_blur_of_p1_follow_the_spherical_mirror():
    """Half the radius behind the vertex, a little nearer for a near lamp: 1/f = 2/R."""
    eye = schematic_model(schematic_eye("legrand"))
    p1 = reflexes(eye, EyePose(), setup((0.0, 0.0, 200.0)))[0]
    depth = 1.0 / (2.0 / 7.8 + 1.0 / 200.0)
    assert p1.image_mm[2] == pytest.approx(-depth, abs=1e-6)
    assert p1.magnification == pytest.approx(depth / 200.0, rel=1e-7)
    assert p1.defocus_dpt == pytest.approx(5.0 - 1000.0 / (200.0 + depth), abs=1e-6)
    assert p1.blur_px == pytest.approx(20.0 * depth / (200.0 + depth) * 50.0, rel=1e-6)


def test_a_reflex_that_the_iris_hides_is_said_so():
    eye = schematic_model(schematic_eye("legrand"))
    eye = replace(eye, pupil_diameter_mm=1.0, pupil_mm=(2.0, 0.0))
    seen = reflexes(eye, EyePose((0.15, 0.0)), setup((8.0, 0.0, 200.0)))
    assert {one.name: one.status for one in seen}["P4"] == "behind the iris"
    assert {one.name: one.status for one in seen}["P1"] == "seen"


def test_lamps_behind_the_camera_or_in_the_eye_are_refused():
    camera = Camera.in_front(200.0)
    with pytest.raises(WrongInput, match=r"lamp 0 .*behind the camera"):
        SetUp(camera, ((5.0, 0.0, 200.1),))
    for plane_mm in (-1.0, 200.0):
        with pytest.raises(WrongInput, match=r"plane_mm is .*allowed"):
            set_up(camera, Lamps(((5.0, 0.0),), plane_mm))
    with pytest.raises(WrongInput, match="no lamp came"):
        SetUp(camera, ())


def test_lamps_of_a_sheet_turn_with_the_picture():
    """Picture right of a surgeon at the head end is -x of the examiner; a mirror flips it again."""
    held = Camera.in_front(200.0, frame=PictureFrame(270.0))
    assert set_up(held, Lamps(((8.0, 2.0),))).lamps_mm[0] == pytest.approx((-8.0, -2.0, 200.0))
    mirrored = Camera.in_front(200.0, frame=PictureFrame(90.0, True))
    assert set_up(mirrored, Lamps(((8.0, 2.0),))).lamps_mm[0] == pytest.approx((-8.0, 2.0, 200.0))
