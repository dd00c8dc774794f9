"""Gradients against exactly solvable media, dispersion against hand values, poses."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.optics.dispersion import Dispersion, abbe_number
from rimwise.optics.media import Gradient
from rimwise.optics.pose import Pose, tilt_rotation
from rimwise.optics.rays import Status, rays
from rimwise.optics.surface import Surface, conic, plane, sphere
from rimwise.optics.system import System, pass_through, refract
from rimwise.optics.trace import trace
from rimwise.terms.errors import WrongInput


def _lens(tilt: float = 0.0) -> System:
    """Return a gradient lens between curved, tilted surfaces."""
    core = Gradient(
        ((0, 0, 1.368), (0, 1, -0.049057), (0, 2, -0.015427), (1, 0, -0.001978), (2, 0, 1e-6)),
        Pose.at(0.0, 0.0, -3.66).tilted(tilt, 0.5 * tilt),
    )
    front = conic(-12.4, -0.94, Pose.at(0.0, 0.0, -3.66).tilted(tilt, 0.5 * tilt))
    back = plane(Pose.at(0.05, 0.0, -5.25).tilted(-0.3 * tilt, tilt))
    return System((refract(front, core), refract(back, 1.336)), 1.336)


def _start(n: int = 30) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(2)
    place = np.column_stack([rng.uniform(-2.0, 2.0, (n, 2)), np.zeros(n)])
    return place, np.column_stack([rng.uniform(-0.1, 0.1, (n, 2)), -np.ones(n)])


def test_a_gradient_without_slope_is_a_uniform_medium() -> None:
    place, way = _start()
    ends = (plane(Pose().tilted(0.1, 0.0)), sphere(9.0, Pose.at(0.1, 0.0, -4.0)))
    plain = System((refract(ends[0], 1.41), refract(ends[1], 1.336)))
    graded = System((refract(ends[0], Gradient(((0, 0, 1.41),))), refract(ends[1], 1.336)))
    one, two = (trace(s, rays(place + np.array([0.0, 0.0, 3.0]), way)) for s in (plain, graded))
    # A hundred steps of round-off at 5 mm.
    assert np.abs(one.positions_mm - two.positions_mm).max() < 1e-13
    assert np.abs(one.directions - two.directions).max() < 1e-13
    assert np.abs(one.opl_mm - two.opl_mm).max() < 1e-13


def test_a_parabolic_index_squared_bends_rays_into_sines() -> None:
    """n² = n0² - g² y² has y = a sin(g τ + φ) exactly, n dz/ds constant (separation of variables).

    n itself is no polynomial then; its Taylor series to y^14 stands for it within 1e-16 at 0.5 mm.
    """
    n0, g = 1.5, 0.4
    series = [(i, 0, n0 * _half_binomial(i) * (-((g / n0) ** 2)) ** i) for i in range(8)]
    medium = Gradient(tuple(series))
    ends = plane(), plane(Pose.at(0.0, 0.0, 3.0))
    glass = System((refract(ends[0], medium), pass_through(ends[1])), n0)
    height = 0.3
    found = trace(glass, rays([[0.0, height, -1.0]], [0.0, 0.0, 1.0]).advanced(1.0))
    # Launched along z: τ = z / n_z with n_z = n(height), T_y = 0.
    n_z = math.sqrt(n0**2 - (g * height) ** 2)
    assert found.positions_mm[0, 1] == pytest.approx(height * math.cos(g * 3.0 / n_z), abs=1e-13)
    # dS = n² dτ integrates in closed form.
    tau = 3.0 / n_z
    path = n0**2 * tau - (g * height) ** 2 * (tau / 2 + math.sin(2 * g * tau) / (4 * g))
    assert found.opl_mm[0] - 1.0 == pytest.approx(path, abs=1e-12)


def _half_binomial(i: int) -> float:
    """Return the binomial coefficient of 1/2 over i."""
    value = 1.0
    for k in range(i):
        value *= (0.5 - k) / (k + 1)
    return value


@given(st.floats(-0.1, 0.1))
@settings(max_examples=15)
def test_gradient_rays_return(tilt: float) -> None:
    place, way = _start(5)
    lens = _lens(tilt)
    there = trace(lens, rays(place, way))
    back = trace(System((*lens.reversed().steps, pass_through(plane())), 1.336), there.reversed())
    assert there.ok.all()
    assert np.abs(back.positions_mm - place).max() < 1e-12
    assert np.abs(back.directions + rays(place, way).directions).max() < 1e-12
    assert np.abs(back.opl_mm - there.opl_mm).max() < 1e-12


def test_a_moved_gradient_gives_the_moved_answer() -> None:
    place, way = _start()
    turn, about, shift = tilt_rotation(0.2, -0.1), np.array([1.0, 2.0, -4.0]), np.array([0.3, 0, 1])
    here = trace(_lens(0.05), rays(place, way))
    there = trace(
        _lens(0.05).moved(turn, about, shift),
        rays((place - about) @ turn.T + about + shift, way @ turn.T),
    )
    assert (
        np.abs((here.positions_mm - about) @ turn.T + about + shift - there.positions_mm).max()
        < 1e-12
    )
    assert np.abs(here.opl_mm - there.opl_mm).max() < 1e-12


def test_leaving_a_gradient_has_a_status_and_bad_ones_are_refused() -> None:
    place, way = _start(4)
    narrow = Gradient(((0, 0, 1.4),), Pose(), math.inf, (-2.0, 1.0))
    far = System((refract(plane(), narrow), pass_through(plane(Pose.at(0.0, 0.0, -3.0)))))
    out = trace(far, rays(place, way))
    assert set(out.status.tolist()) == {Status.LEFT_MEDIUM}
    assert set(out.at_surface.tolist()) == {1}
    steep = System(
        (refract(plane(), Gradient(((0, 0, 1.4), (0, 1, 0.3)))), refract(sphere(9.0), 1.0))
    )
    assert trace(steep, rays([[9.5, 0.0, 3.0]], [0.0, 0.0, -1.0])).status[0] == Status.LEFT_MEDIUM
    with pytest.raises(WrongInput, match="whole powers"):
        Gradient(((0, -1, 1.0),))
    with pytest.raises(WrongInput, match="limits in order"):
        Gradient(((0, 0, 1.4),), z_limits_mm=(1.0, 0.0))


def test_dispersion_formulas() -> None:
    """Each form evaluated by hand at 500 nm (λ² = 0.25 µm²)."""
    forms = {
        "constant": ((1.4,), 1.4),
        "cauchy": ((1.3, 0.005, 1e-4), 1.3 + 0.005 / 0.25 + 1e-4 / 0.0625),
        "cornu": ((1.3, 0.007, 0.13), 1.3 + 0.007 / 0.37),
        "sellmeier": ((0.75, 0.01), math.sqrt(1.0 + 0.75 * 0.25 / 0.24)),
        "laurent": ((1.75, -0.01, 0.005), math.sqrt(1.75 - 0.0025 + 0.02)),
    }
    for form, (numbers, expected) in forms.items():
        assert Dispersion(form, numbers).index(500.0) == pytest.approx(expected, abs=1e-15)
    water = Dispersion("cauchy", (1.32, 0.003))
    assert water.scaled(1.336, 555.0).index(555.0) == pytest.approx(1.336, abs=1e-15)
    assert abbe_number(water.scaled(1.336, 555.0)) > 55.0


def test_dispersion_refuses_what_it_cannot_know() -> None:
    with pytest.raises(WrongInput, match="wavelength"):
        Dispersion("constant", (1.4,)).index(200.0)
    with pytest.raises(WrongInput, match="pairs"):
        Dispersion("sellmeier", (1.0, 0.1, 0.2))
    with pytest.raises(WrongInput, match="can be shifted"):
        Dispersion("sellmeier", (0.75, 0.01)).scaled(1.4, 555.0)


@given(st.floats(-1.2, 1.2), st.floats(-1.2, 1.2))
def test_a_tilt_points_where_it_says_and_stays_a_rotation(x_rad: float, y_rad: float) -> None:
    turn = tilt_rotation(x_rad, y_rad)
    assert np.abs(turn @ turn.T - np.eye(3)).max() < 1e-14
    assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-14)
    axis = turn[:, 2]
    assert math.atan(axis[0] / axis[2]) == pytest.approx(x_rad, abs=1e-12)
    assert math.atan(axis[1] / axis[2]) == pytest.approx(y_rad, abs=1e-12)
    pivot = (0.3, -0.2, -5.0)
    body = Pose.at(0.0, 0.0, -4.0).tilted(x_rad, y_rad, pivot, "lens centre")
    before = Pose.at(0.0, 0.0, -4.0).inward(np.array(pivot))
    assert np.abs(body.outward(before) - pivot).max() < 1e-14


def test_impossible_surfaces_and_systems_are_refused() -> None:
    with pytest.raises(WrongInput, match="not finite"):
        sphere(0.0)
    with pytest.raises(WrongInput, match="semi_diameter_mm"):
        plane(semi_diameter_mm=-1.0)
    with pytest.raises(WrongInput, match="at most 8"):
        Surface("even asphere", 0.1, 0.1, coefficients=(0.0,) * 9)
    with pytest.raises(WrongInput, match="from 1 to 5"):
        refract(plane(), 0.5)
    with pytest.raises(WrongInput, match="without steps"):
        System(())
    with pytest.raises(WrongInput, match="zero or infinite direction"):
        rays([0.0, 0.0, 0.0], [0.0, 0.0, 0.0])
