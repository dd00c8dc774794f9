"""Matrices, pupils and aiming agree with real rays and with closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwise.optics.aim import Collimated, FromPoint, aim, pupil_outline
from rimwise.optics.media import Gradient
from rimwise.optics.paraxial import (
    cardinal_points,
    entrance_pupil,
    exit_pupil,
    image_z_mm,
    ray_matrix,
)
from rimwise.optics.pose import Pose
from rimwise.optics.rays import Status, rays
from rimwise.optics.surface import biconic, conic, plane, sphere, toric
from rimwise.optics.system import Step, System, pass_through, reflect, refract
from rimwise.optics.trace import trace
from rimwise.terms.errors import WrongInput


def _eye(steps: tuple[Step, ...] = ()) -> System:
    """Return Le Grand's four surfaces with a stop; see the reference table below."""
    at = Pose.at
    return System(
        (
            refract(sphere(-7.8, at(0, 0, 0)), 1.3771),
            refract(sphere(-6.5, at(0, 0, -0.55)), 1.3374),
            pass_through(plane(at(0, 0, -3.6))),
            refract(sphere(-10.2, at(0, 0, -3.6)), 1.42),
            refract(sphere(6.0, at(0, 0, -7.6)), 1.336),
            *steps,
        )
    )


def test_le_grand_eye_has_the_tabulated_pupils_and_points() -> None:
    """Computed by two independent routes (matrices, exact rays); half the last printed digit."""
    eye = _eye()
    points = cardinal_points(ray_matrix(eye))
    assert points.power_dpt == pytest.approx(59.94043, abs=5e-6)
    assert points.front_focus_z_mm == pytest.approx(15.08865, abs=6e-6)
    assert points.back_focus_z_mm == pytest.approx(-24.19655, abs=6e-6)
    assert points.front_principal_z_mm == pytest.approx(-1.59458, abs=6e-6)
    assert points.back_principal_z_mm == pytest.approx(-1.90776, abs=6e-6)
    assert points.front_nodal_z_mm == pytest.approx(-7.20015, abs=6e-6)
    assert points.back_nodal_z_mm == pytest.approx(-7.51332, abs=6e-6)
    before, behind = entrance_pupil(eye, 2), exit_pupil(eye, 2)
    assert (before.z_mm, before.magnification) == pytest.approx((-3.03757, 1.13110), abs=6e-6)
    assert (behind.z_mm, behind.magnification) == pytest.approx((-3.68211, 1.04106), abs=6e-6)


surfaces = st.lists(
    st.tuples(
        st.floats(5.0, 30.0), st.sampled_from([-1.0, 1.0]), st.floats(1.0, 1.6), st.floats(0.3, 4.0)
    ),
    min_size=1,
    max_size=6,
)


@given(surfaces, st.floats(-0.5, 0.5), st.booleans())
def test_matrices_are_the_limit_of_real_rays(
    given_surfaces: list[tuple[float, float, float, float]], k: float, mirrored: bool
) -> None:
    steps, z = [], 0.0
    for radius, sign, index, gap in given_surfaces:
        steps.append(refract(conic(sign * radius, k, Pose.at(0, 0, z)), index))
        z -= gap
    if mirrored:
        steps.append(reflect(sphere(9.0, Pose.at(0, 0, z))))
        steps.append(refract(sphere(-12.0, Pose.at(0, 0, z + 0.2)), 1.0))
    system = System(tuple(steps))
    m = ray_matrix(system)
    a, b, c, d = m.in_meridian(0.3)
    assert a * d - b * c == pytest.approx(1.0, abs=1e-9)
    # Real rays differ from paraxial ones by the cube of the height: (1e-5)² relative.
    h = 1e-5
    start = rays([[h, 0.0, 0.0], [0.0, 0.0, 0.0]], [[0.0, 0.0, -1.0], [h, 0.0, -1.0]])
    end = trace(system, start)
    slope = end.directions[:, 0] * m.end_index / h
    # A ray through the tilted plane z = 0 is a ray through the vertex plane to the same order.
    assert end.positions_mm[:, 0] / h == pytest.approx([a, b], abs=1e-6)
    assert slope == pytest.approx([c, d], abs=1e-6)


@given(st.floats(0.0, math.pi))
def test_a_toric_keeps_only_its_principal_meridians(axis_rad: float) -> None:
    for shape in (biconic((-7.5, -8.0), axis_rad=axis_rad), toric((-7.5, -8.0), 0.0, axis_rad)):
        m = ray_matrix(System((refract(shape, 1.3375),)))
        for turn, radius in ((0.0, 7.5), (math.pi / 2, 8.0)):
            power = cardinal_points(m, axis_rad + turn).power_dpt
            assert power == pytest.approx(337.5 / radius, abs=1e-9)
        with pytest.raises(WrongInput, match="principal meridian"):
            m.in_meridian(axis_rad + 0.5)


def test_gradient_matrix_is_the_limit_of_integrated_rays() -> None:
    lens = Gradient(((0, 0, 1.37), (0, 1, -0.05), (0, 2, -0.015), (1, 0, -0.002), (1, 1, 1e-4)))
    system = System(
        (refract(sphere(-12.0), lens), refract(sphere(8.0, Pose.at(0, 0, -2.4)), 1.336))
    )
    a, b, c, d = ray_matrix(system).in_meridian()
    h = 1e-4
    end = trace(system, rays([[h, 0, 0], [0, 0, 0]], [[0, 0, -1], [h, 0, -1]]))
    # (1e-4)² relative from the cube of the height.
    assert end.positions_mm[:, 0] / h == pytest.approx([a, b], abs=2e-8)
    assert end.directions[:, 0] * 1.336 / h == pytest.approx([c, d], abs=2e-8)


def test_focus_and_image_agree() -> None:
    m = ray_matrix(_eye())
    points = cardinal_points(m)
    assert image_z_mm(m, 1e12) == pytest.approx(points.back_focus_z_mm, abs=1e-9)
    assert abs(image_z_mm(m, points.front_focus_z_mm)) > 1e9
    f = m.end_index / points.power_dpt * 1000.0
    z = points.front_focus_z_mm + 100.0
    newton = -m.start_index * m.end_index / (points.power_dpt / 1000.0) ** 2 / 100.0
    assert image_z_mm(m, z) - points.back_focus_z_mm == pytest.approx(newton, abs=1e-9)
    assert points.back_principal_z_mm - points.back_focus_z_mm == pytest.approx(f, abs=1e-9)


def test_tilted_systems_and_powerless_ones_are_refused() -> None:
    tilted = System((refract(sphere(-7.8, Pose().tilted(0.1, 0.0), name="cornea"), 1.376),))
    with pytest.raises(WrongInput, match="cornea is tilted"):
        ray_matrix(tilted)
    with pytest.raises(WrongInput, match="no power"):
        cardinal_points(ray_matrix(System((refract(plane(), 1.3),))))


@given(st.floats(-0.6, 0.6), st.floats(-0.6, 0.6), st.floats(-0.1, 0.1), st.booleans())
def test_aimed_rays_pass_through_a_decentred_stop(
    x_mm: float, y_mm: float, tilt: float, near: bool
) -> None:
    eye = _eye()
    stop = eye.steps[2].surface.placed(Pose.at(x_mm, y_mm, -3.6).tilted(tilt, -tilt))
    steps = (*eye.steps[:2], replace(eye.steps[2], surface=stop), *eye.steps[3:])
    system = System(steps)
    source = (
        FromPoint((5.0, -3.0, 200.0), (0.0, 0.0, -3.0))
        if near
        else Collimated((0.02, tilt, -1.0), (0.0, 0.0, 3.0))
    )
    angle = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
    rim = np.vstack([2.0 * np.column_stack([np.cos(angle), np.sin(angle)]), [[0.0, 0.0]]])
    found = aim(system, 2, source, rim)
    record = trace(system, found.rays, record=True).record
    assert record is not None
    hit = stop.pose.inward(record.points_mm[2])
    # 200 mm of travel leave some 1e-13 mm of round-off, slopes amplify it.
    assert np.abs(hit[:, :2] - rim).max() < 1e-10
    assert np.abs(hit[:, 2]).max() < 1e-12


def test_unreachable_points_of_a_stop_have_a_status() -> None:
    found = aim(_eye(), 2, Collimated((0, 0, -1), (0, 0, 5)), [[0.0, 0.0], [30.0, 0.0]])
    assert found.rays.status.tolist() == [Status.OK, Status.NO_CONVERGENCE]
    assert found.rays.at_surface.tolist() == [-1, 2]


def test_the_real_pupil_shrinks_to_the_paraxial_one() -> None:
    eye, radius = _eye(), 1e-3
    pupil = entrance_pupil(eye, 2)
    middle = (0.0, 0.0, pupil.z_mm)
    # The real outline differs by the square of its size over the corneal radius, (1e-3 / 8)².
    for source in (Collimated((0.0, 0.0, -1.0), middle), FromPoint((0.0, 0.0, 300.0), middle)):
        outline = pupil_outline(eye, 2, source, radius)
        assert np.hypot(*outline.T[:2]) == pytest.approx(radius * pupil.magnification, rel=1e-6)
        assert outline[:, 2] == pytest.approx(pupil.z_mm, abs=1e-12)
    # Seen from the side the pupil is an ellipse, narrower across (common practice, no source).
    slant = Collimated((math.sin(0.6), 0.0, -math.cos(0.6)), middle)
    side = pupil_outline(eye, 2, slant, 1.5)
    width = np.ptp(side @ np.array([math.cos(0.6), 0.0, math.sin(0.6)]))
    assert width < 0.95 * np.ptp(side[:, 1])
    with pytest.raises(WrongInput, match="radius above 0"):
        pupil_outline(eye, 2, slant, 0.0)
