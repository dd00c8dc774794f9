"""Thin-lens eyes: positions back from refractions, gradients, vertex, corneas of two surfaces.

Source: check values made by two routes outside this project, status computed. Tolerance: half the
last printed digit, or 1e-9 where all digits of a double are printed.
"""

import numpy as np
import pytest

from rimwise.plan.thick_cornea import thick_cornea
from rimwise.plan.vergence import ThinEye, at_cornea_dpt, at_spectacles_dpt, lens_position_mm
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.units import dpt_from_radius_mm


def haigis_eye(axial: float, radius: float) -> ThinEye:
    return ThinEye(axial, 0.0, dpt_from_radius_mm(radius, 1.3315), 1.336)


@pytest.mark.parametrize(
    ("axial", "radius", "power", "refraction", "position"),
    [
        (23.5, 7.76, 21.0, -0.25, 4.629571340367097),
        (21.0, 7.50, 29.0, 0.5, 4.727961747102146),
    ],
)
def test_position_back_from_the_refraction(axial, radius, power, refraction, position):
    eye = haigis_eye(axial, radius)
    found = lens_position_mm(eye, power, refraction)
    assert found == pytest.approx(position, abs=1e-9)
    again = ThinEye(axial, found, eye.cornea_dpt, 1.336)
    assert float(again.refraction_dpt(power)) == pytest.approx(refraction, abs=1e-9)


def test_a_position_outside_the_eye_is_rejected():
    """A real root of -0.501 mm: it answers the equation and no eye."""
    with pytest.raises(MeasurementRefused, match=r"-0\.50 mm") as caught:
        lens_position_mm(haigis_eye(28.0, 7.80), 6.0, -1.0)
    assert caught.value.code == "lens-position-outside"


@pytest.mark.parametrize("power", [-2.0, 0.0])
def test_no_position_at_all_is_said(power):
    with pytest.raises(MeasurementRefused) as caught:
        lens_position_mm(haigis_eye(31.0, 7.90), power, -0.5)
    assert caught.value.code == "no-lens-position"


def test_emmetropia_of_a_thin_lens_eye():
    eye = ThinEye(23.5, 5.0, 43.0, 1.336)
    assert float(eye.power_dpt(0.0)) == pytest.approx(20.969115413361624, abs=1e-11)


@pytest.mark.parametrize(
    ("axial", "position", "k", "power", "gradient"),
    [
        (23.5, 5.1, 43.5, 20.5, 1.3313600297),
        (21.0, 4.6, 45.0, 29.0, 2.0855757861),
        (27.0, 5.6, 42.5, 11.0, 0.6344443895),
    ],
)
def test_gradient_of_the_refraction_over_the_position(axial, position, k, power, gradient):
    eye = ThinEye(axial, position, k, 1.336)
    assert float(eye.slope_dpt_per_mm(power)) == pytest.approx(gradient, abs=5.1e-11)
    # And against differences, a second way.
    step = 1e-4
    ends = [
        float(ThinEye(axial, position + d, k, 1.336).at_cornea_dpt(power)) for d in (-step, step)
    ]
    assert (ends[1] - ends[0]) / (2.0 * step) == pytest.approx(gradient, abs=1e-6)


def test_vertex_distance():
    spectacles = np.array([-10.0, -8.0, -6.0, -4.0, -2.0, 2.0, 4.0, 6.0, 8.0, 10.0])
    nearer = [-8.9286, -7.2993, -5.5970, -3.8168, -1.9531, 2.0492, 4.2017, 6.4655, 8.8496, 11.3636]
    further = [-11.3636, -8.8496, -6.4655, -4.2017, -2.0492, 1.9531, 3.8168, 5.5970, 7.2993, 8.9286]
    assert at_cornea_dpt(spectacles) == pytest.approx(nearer, abs=5.1e-5)
    assert at_spectacles_dpt(spectacles) == pytest.approx(further, abs=5.1e-5)
    assert float(at_cornea_dpt(3.0)) == pytest.approx(3.112033195020747, abs=1e-12)


@pytest.mark.parametrize(
    ("radii", "values"),
    [
        (
            (7.7, 6.8, 0.5),
            (48.831169, -5.882353, 43.053192, -0.049647, -0.550617, 43.830922, 1.33151),
        ),
        (
            (7.8, 6.5, 0.55),
            (48.205128, -6.153846, 42.169855, -0.058330, -0.610438, 42.998348, 1.328925),
        ),
        (
            (8.2, 6.9, 0.56),
            (45.853659, -5.797101, 40.164739, -0.058740, -0.620733, 40.928521, 1.329351),
        ),
    ],
)
def test_cornea_of_two_surfaces(radii, values):
    found = thick_cornea(*radii)
    assert (
        found.front_dpt,
        found.back_dpt,
        found.total_dpt,
        found.front_plane_mm,
        found.back_plane_mm,
        found.back_vertex_dpt,
        found.equivalent_index,
    ) == pytest.approx(values, abs=6e-7)


def test_toric_cornea_of_two_surfaces():
    flat, steep = thick_cornea(7.8, 6.5, 0.55), thick_cornea(7.6, 6.3, 0.55)
    assert (flat.total_dpt, steep.total_dpt) == pytest.approx((42.169855, 43.250034), abs=5.1e-7)
    assert steep.total_dpt - flat.total_dpt == pytest.approx(1.080179, abs=1e-6)
    assert steep.back_dpt - flat.back_dpt == pytest.approx(-0.195360, abs=5.1e-7)
    keratometric = dpt_from_radius_mm(7.6, 1.3375) - dpt_from_radius_mm(7.8, 1.3375)
    assert keratometric == pytest.approx(1.138664, abs=5.1e-7)


def test_a_keratometers_reading_depends_on_its_index():
    found = [dpt_from_radius_mm(7.7, index) for index in (1.3375, 1.332, 1.336, 1.3315)]
    assert found == pytest.approx([43.831169, 43.116883, 43.636364, 43.051948], abs=5.1e-7)
