"""The claimed ellipse of a toric implant's residual holds what it says, on drawn eyes.

That a ± is true on drawn eyes proves nothing about patients.
"""

import math

import numpy as np
import pytest

from rimwise.optics.refraction import PowerVector
from rimwise.plan.toric import (
    Incision,
    ToricEye,
    ToricScatter,
    expect_toric,
    steep_cylinder,
    turned,
)

EYE = ToricEye(23.5, 5.1, PowerVector(43.5, 0.0, 0.0).plus(steep_cylinder(1.8, 80.0)))
CUT = Incision(steep_cylinder(0.3, 10.0), np.array([[0.012, 0.002], [0.002, 0.016]]), 40)


@pytest.mark.parametrize("scatter", [ToricScatter(0.12, 4.0), ToricScatter(0.05, 2.0)])
def test_the_ellipse_holds_95_of_100_drawn_eyes(scatter):
    implant = EYE.implant_for(PowerVector(-0.2, 0.0, 0.0))
    claimed = expect_toric(EYE, implant, CUT, scatter)
    rng = np.random.default_rng(4)
    inverse = np.linalg.inv(claimed.covariance)
    middle = np.array([claimed.residual.j0_dpt, claimed.residual.j45_dpt])
    held = 0
    for _ in range(2000):
        added = rng.multivariate_normal([CUT.centroid.j0_dpt, CUT.centroid.j45_dpt], CUT.covariance)
        error = rng.standard_normal(2) * scatter.cornea_dpt
        cornea = EYE.cornea.plus(PowerVector(0.0, *(added + error)))
        turn = rng.standard_normal() * scatter.rotation_deg
        left = ToricEye(EYE.length_mm, EYE.lens_mm, cornea).refraction(turned(implant, turn))
        gap = np.array([left.j0_dpt, left.j45_dpt]) - middle
        held += float(gap @ inverse @ gap) <= 5.991464547107979
    # 2,000 draws: one standard error is 0.5 %; four of them.
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_a_degree_costs_twice_its_sine_where_nothing_was_left():
    implant = EYE.implant_for(PowerVector(0.0, 0.0, 0.0))
    none = Incision(PowerVector(0.0, 0.0, 0.0), np.zeros((2, 2)), 0)
    cost = expect_toric(EYE, implant, none, ToricScatter(0.0, 0.0)).cost_dpt_per_deg
    # 2 C sin θ at the corneal plane; the implant's own plane changes that by its mean power only.
    assert cost == pytest.approx(2.0 * 1.8 * math.sin(math.radians(1.0)), rel=2e-3)
