"""Cylinders: crossed, turned, induced, and toric implants in a thin-lens eye.

Source: check values made outside this project by two or three independent routes (power vectors,
matrices, Stokes' construction), status computed. Tolerance: the last printed digit.
"""

import math

import numpy as np
import pytest

from rimwise.optics.refraction import PowerVector
from rimwise.plan.toric import (
    ToricEye,
    cylinder_ratio,
    ellipse_95,
    incision_of,
    induced_astigmatism,
    rotation_residual_dpt,
    steep_cylinder,
    steep_meridian,
    turned,
)
from rimwise.plan.vergence import ThinEye


@pytest.mark.parametrize(
    ("first", "second", "total"),
    [
        ((0, 1, 30), (0, 2, 60), (2.822876, -2.645751, 140.446697)),
        ((1, 2, 20), (-1, 3, 80), (3.822876, -2.645751, 149.553303)),
        ((0, -2, 10), (0, -1.5, 55), (-0.5, -2.5, 28.434949)),
        ((2, -1, 45), (-1, -2, 120), (0.119657, -1.239314, 108.103012)),
        ((0, 1, 180), (0, 1, 45), (1.707107, -1.414214, 112.5)),
    ],
)
def test_crossed_cylinders(first, second, total):
    found = PowerVector.of(*first).plus(PowerVector.of(*second)).sphere_cylinder_axis()
    assert found == pytest.approx(total, abs=1e-6)


def test_the_single_argument_arctangent_would_be_90_degrees_off():
    """The third case above: 118.43 is the trap."""
    total = PowerVector.of(0, -2, 10).plus(PowerVector.of(0, -1.5, 55))
    trap = math.degrees(0.5 * math.atan(total.j45_dpt / total.j0_dpt)) % 180.0 + 90.0
    assert total.sphere_cylinder_axis()[2] == pytest.approx(28.434949, abs=1e-6)
    assert trap == pytest.approx(118.43, abs=0.01)


def test_handbook_steps_of_an_over_refraction():
    """-2.00 -2.00 x 180 with +1.00 -1.00 x 90 over it: -2.00 -1.00 x 180.

    Source: steps of the trade, read off meridian by meridian (-4 + 1 along 90, -2 + 0 along 180);
    status common practice, no source.
    """
    found = PowerVector.of(-2.0, -2.0, 180.0).plus(PowerVector.of(1.0, -1.0, 90.0))
    assert found.sphere_cylinder_axis() == pytest.approx((-2.0, -1.0, 180.0), abs=1e-12)


@pytest.mark.parametrize(
    ("written", "vector"),
    [
        ((-1.0, -2.0, 180), (-2.0, 1.0, 0.0)),
        ((1.5, -1.0, 90), (1.0, -0.5, 0.0)),
        ((-2.25, -0.75, 30), (-2.625, 0.1875, 0.32475953)),
        ((0.5, -1.25, 135), (-0.125, 0.0, -0.625)),
        ((2.0, -3.0, 15), (0.5, 1.29903811, 0.75)),
        ((-4.0, -1.5, 72), (-4.75, -0.60676275, 0.44083894)),
    ],
)
def test_power_vectors(written, vector):
    found = PowerVector.of(*written)
    assert (found.m_dpt, found.j0_dpt, found.j45_dpt) == pytest.approx(vector, abs=5.1e-9)


@pytest.mark.parametrize(
    ("turn", "share"),
    [
        (1, 0.034905),
        (2, 0.069799),
        (3, 0.104672),
        (5, 0.174311),
        (10, 0.347296),
        (15, 0.517638),
        (20, 0.684040),
        (30, 1.0),
        (45, 1.414214),
        (90, 2.0),
    ],
)
def test_residual_of_a_turn(turn, share):
    assert rotation_residual_dpt(1.0, turn) == pytest.approx(share, abs=5.1e-7)
    # And with power vectors, where the axis comes with it: θ/2 - 45 from the old one in plus form.
    left = PowerVector.of(0.0, -1.0, 90.0).plus(PowerVector.of(0.0, 1.0, 90.0 + turn))
    _, cylinder, axis = left.sphere_cylinder_axis()
    assert -cylinder == pytest.approx(share, abs=5.1e-7)
    plus_axis = axis - 90.0
    away = (plus_axis - (90.0 + 0.5 * turn - 45.0)) % 90.0
    assert min(away, 90.0 - away) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("cornea", "implant", "turn", "refraction"),
    [
        (2.5, 2.25, 0, (-2.25, -0.25, 180.0)),
        (2.5, 2.25, 7, (-2.06009, -0.62982, 150.101192)),
        (2.5, 2.5, 10, (-2.06588, -0.868241, 140.0)),
        (1.5, 1.75, -5, (-1.436414, -0.377173, 63.16153)),
    ],
)
def test_unequal_cylinders_turned(cornea, implant, turn, refraction):
    """Cornea of plus cylinder with axis 180, implant at the corneal plane with axis 90 + turn."""
    both = PowerVector.of(0.0, cornea, 180.0).plus(turned(PowerVector.of(0.0, implant, 90.0), turn))
    found = PowerVector(0.0, 0.0, 0.0).minus(both).sphere_cylinder_axis()
    assert found == pytest.approx(refraction, abs=1e-5)


@pytest.mark.parametrize(
    ("axial", "position", "k", "ratio"),
    [
        (23.5, 5.1, (42.5, 45.0), 1.441233655),
        (21.5, 4.6, (44.0, 46.0), 1.400335962),
        (26.0, 5.5, (41.5, 44.0), 1.472834117),
        (23.5, 4.5, (43.0, 44.0), 1.372822680),
        (23.5, 5.5, (43.0, 44.0), 1.483885396),
    ],
)
def test_cylinder_at_the_implant_for_one_at_the_cornea(axial, position, k, ratio):
    assert cylinder_ratio(ThinEye(axial, position, 0.0, 1.336), *k) == pytest.approx(
        ratio, abs=5.1e-10
    )


@pytest.mark.parametrize(
    ("turn", "cornea", "spectacles"),
    [
        (0, (-0.790096889, -0.399501745, 180.0), (-0.797659629, -0.409166672, 180.0)),
        (
            5,
            (-0.707377371, -0.564940781, 159.893205884),
            (-0.713433370, -0.578611487, 159.893205884),
        ),
        (
            10,
            (-0.544600816, -0.890493890, 153.109830419),
            (-0.548183309, -0.912058419, 153.109830419),
        ),
    ],
)
def test_refraction_of_a_turned_toric_implant(turn, cornea, spectacles):
    eye = ToricEye(23.5, 5.1, PowerVector.of(42.5, 2.5, 180.0))
    left = eye.refraction(turned(PowerVector.of(20.0, 3.0, 90.0), turn))
    assert left.sphere_cylinder_axis() == pytest.approx(cornea, abs=1.1e-8)
    moved = left.moved_towards_light(12.0)
    assert moved.sphere_cylinder_axis() == pytest.approx(spectacles, abs=1.1e-8)
    # And the other way: which implant leaves this refraction.
    again = eye.implant_for(left)
    wanted = PowerVector.of(20.0, 3.0, 90.0 + turn)
    assert again.minus(wanted).blur_dpt() == pytest.approx(0.0, abs=1e-10)


@pytest.mark.parametrize(
    ("before", "after", "added"),
    [
        ((1.0, 90), (0.5, 90), (0.5, 180.0)),
        ((1.0, 90), (1.0, 100), (0.347296, 140.0)),
        ((0.75, 15), (0.5, 170), (0.574812, 125.892720)),
        ((2.0, 95), (0.75, 70), (1.623003, 15.365904)),
        ((1.25, 180), (1.5, 10), (0.537264, 36.362839)),
        ((0.6, 45), (0.6, 135), (1.2, 135.0)),
    ],
)
def test_astigmatism_that_an_incision_added(before, after, added):
    found = induced_astigmatism(steep_cylinder(*before), steep_cylinder(*after))
    assert found == pytest.approx(added, abs=1e-6)


def test_centroid_and_scatter_of_a_surgeons_incisions():
    """Twelve invented eyes; components there are of the double angle, twice those here."""
    data = [
        (0.50, 10), (0.35, 170), (0.62, 25), (0.20, 90), (0.41, 5), (0.75, 160),
        (0.30, 45), (0.55, 178), (0.15, 120), (0.48, 15), (0.66, 35), (0.25, 150),
    ]  # fmt: skip
    made = incision_of([steep_cylinder(*one) for one in data])
    assert steep_meridian(made.centroid) == pytest.approx((0.2780629241, 7.7416923021), abs=1e-9)
    mean = (2.0 * made.centroid.j0_dpt, 2.0 * made.centroid.j45_dpt)
    assert mean == pytest.approx((0.26797144, 0.07423138), abs=5.1e-9)
    sd = 2.0 * np.sqrt(np.diag(made.covariance))
    assert sd == pytest.approx((0.25319765, 0.30718259), abs=5.1e-9)
    assert 4.0 * made.covariance[0, 1] == pytest.approx(-0.0050254971, abs=5.1e-11)
    # The mean size is no measure of the centroid.
    assert np.mean([size for size, _ in data]) == pytest.approx(0.435)


def test_the_ellipse_of_the_data():
    """95 % by the chi-square law: semi-axes 0.7551373629 and 0.6158214890 in double components."""
    covariance = np.array([[0.25319765**2, -0.0050254971], [-0.0050254971, 0.30718259**2]])
    found = ellipse_95(covariance)
    assert (found.major_dpt, found.minor_dpt) == pytest.approx(
        (0.7551373629, 0.6158214890), abs=5e-8
    )
    assert found.angle_deg == pytest.approx(99.1893097, abs=1e-4)
