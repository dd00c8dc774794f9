"""Refractions, toric cylinders and wavefronts: numbers 12, 14, 15 and 16 of docs/conventions.md."""

from dataclasses import MISSING, fields

import numpy as np
import pytest

from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.optics.zernike import Wavefront, basis, number_of


@pytest.mark.parametrize(
    ("written", "stored"),
    [((-3.0, 2.0, 90.0), (-1.0, -2.0, 180.0)), ((1.5, -1.0, 90.0), (1.5, -1.0, 90.0))],
)
def test_12_a_refraction_is_written_as_sphere_minus_cylinder_and_axis(written, stored):
    # The transposition of a plus cylinder (common practice, no source).
    assert PowerVector.of(*written).sphere_cylinder_axis() == pytest.approx(stored)


# Source: a check table of vertex distances made outside this project; status computed.
@pytest.mark.parametrize(
    ("spectacle_dpt", "cornea_dpt"), [(-10.0, -8.928571428571427), (10.0, 11.363636363636363)]
)
def test_12_the_spectacle_plane_lies_12_mm_in_front_of_the_cornea(spectacle_dpt, cornea_dpt):
    at_cornea = PowerVector(spectacle_dpt, 0.0, 0.0).moved_towards_light(-12.0)
    assert at_cornea.m_dpt == pytest.approx(cornea_dpt, rel=1e-12)


@pytest.mark.parametrize("turn_deg", [1.0, 5.0, 10.0, 30.0, 90.0])
def test_14_a_turn_between_equal_cylinders_leaves_twice_the_cylinder_times_the_sine(turn_deg):
    cylinder_dpt = -2.5
    before = PowerVector.of(0.0, cylinder_dpt, 20.0)
    after = PowerVector.of(0.0, cylinder_dpt, 20.0 + turn_deg)
    sphere, cylinder, axis = before.minus(after).sphere_cylinder_axis()
    assert -cylinder == pytest.approx(2.0 * 2.5 * np.sin(np.radians(turn_deg)))
    # No mean power is left, and the axis is new: 45° away from the middle of the two.
    assert sphere == pytest.approx(-cylinder / 2.0)
    assert np.cos(np.radians(2.0 * (axis - (20.0 + turn_deg / 2.0)))) == pytest.approx(0.0)


def test_15_the_single_index_of_a_mode_is_n_times_n_plus_2_plus_m_halved():
    # In this order defocus is 4, vertical coma 7, horizontal coma 8, spherical aberration 12.
    named = {(0, 0): 0, (1, -1): 1, (1, 1): 2, (2, 0): 4, (3, -1): 7, (3, 1): 8, (4, 0): 12}
    assert {mode: number_of(*mode) for mode in named} == named


def test_15_every_mode_has_unit_mean_square_over_the_pupil():
    # Equal areas: the radius is the root of evenly spread numbers.
    radius = np.sqrt((np.arange(400) + 0.5) / 400)
    angle = 2.0 * np.pi * np.arange(64) / 64
    r, t = np.meshgrid(radius, angle)
    modes = basis(4, r * np.cos(t), r * np.sin(t)).reshape(-1, 15)
    # The midpoint rule over 400 rings is good to about 1e-4 for these polynomials.
    np.testing.assert_allclose(modes.T @ modes / len(modes), np.eye(15), atol=2e-4)


def test_15_cosine_for_m_of_0_or_more_and_sine_below():
    on_x, on_diagonal = basis(2, 1.0, 0.0), basis(2, np.sqrt(0.5), np.sqrt(0.5))
    assert on_x[number_of(2, 2)] == pytest.approx(np.sqrt(6.0))
    assert on_x[number_of(2, -2)] == pytest.approx(0.0)
    assert on_diagonal[number_of(2, -2)] == pytest.approx(np.sqrt(6.0))


def test_15_pupil_and_plane_stand_beside_the_coefficients():
    by_name = {field.name: field for field in fields(Wavefront)}
    assert by_name["coefficients_um"].default is MISSING
    assert by_name["pupil_radius_mm"].default is MISSING
    assert by_name["plane"].default == "entrance pupil"


def test_15_a_myopic_eye_has_positive_defocus():
    myopia = np.zeros(6)
    myopia[number_of(2, 0)] = 1.0
    assert least_squares_refraction(Wavefront(myopia, 3.0)).m_dpt < 0.0


def test_16_the_wavelength_is_555_nm_unless_another_is_named():
    assert Wavefront(np.zeros(6), 3.0).wavelength_nm == 555.0
