"""The exact trace of a toric implant against closed forms that share no code with it.

Along aligned meridians a narrow pencil obeys the paraxial 2 x 2 matrices of that meridian (any
textbook of geometrical optics); with crossed cylinders the 4 x 4 matrices of Keating 1981 Am J
Optom Physiol Opt 58:810-819 (from memory, hence derived here anew: a refraction subtracts the
power matrix times the place, a gap adds the slope).
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from rimwise.eye.implant import implant_shape
from rimwise.optics.refraction import PowerVector
from rimwise.plan.expected_toric import expected_toric
from rimwise.plan.toric import Incision, steep_cylinder
from rimwise.plan.traced import implant_terms
from rimwise.plan.traced_eye import mean_radius_mm, traced_eye
from rimwise.plan.traced_toric import TracedToric
from rimwise.published.load import published_value
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet

CASE = CaseSheet(
    "E-1",
    "right",
    "none",
    age_years=70.0,
    cornea=CorneaSheet(
        radius_flat_mm=7.9, radius_steep_mm=7.6, steep_axis_deg=80.0, thickness_um=545.0
    ),
    lengths=CaseLengths(23.6, 3.15, 4.5),
    implant=PlannedImplant(6.0, 21.0, 2.25, 1.49, {"a_constant": 118.4}),
)


def matrix(power: PowerVector) -> np.ndarray:
    """Power of a surface as a matrix over (x, y): stronger along the meridian of J0 > 0, x."""
    m, j0, j45 = power.m_dpt, power.j0_dpt, power.j45_dpt
    return np.array([[m + j0, j45], [j45, m - j0]])


def closed_form(toric: TracedToric, cylinder_dpt: float, axis_deg: float) -> PowerVector:
    """Refraction at the corneal vertex by 4 x 4 matrices, retina to air."""
    record, n = toric.eye.record, lambda key: published_value(*key).value
    n_c, n_a = n(("cornea", "index_cornea")), n(("cornea", "index_aqueous"))
    n_v = n(("eye_priors", "index_vitreous"))
    terms = replace(
        implant_terms(toric.case, toric.power_dpt), cylinder_dpt=cylinder_dpt, axis_deg=axis_deg
    )
    shape = implant_shape(terms)

    def surface(step, mean_radius, astigmatism):
        return matrix(PowerVector(1000.0 * step / mean_radius, 0.0, 0.0).plus(astigmatism))

    def radius_matrix(step, weak, steep):
        strong = 1000.0 * step / steep
        weaker = 1000.0 * step / weak
        mean = PowerVector(0.5 * (strong + weaker), 0.0, 0.0)
        return matrix(mean.plus(steep_cylinder(strong - weaker, axis_deg + 90.0)))

    front_mm, back_mm = (mean_radius_mm(record, which) for which in ("front", "back"))
    middle = toric.eye.depth_mm.value
    thick = record.value("corneal_thickness_mm")
    vergence = -np.eye(2) * 1000.0 * n_v / (
        toric.eye.retina_mm.value - middle - 0.5 * shape.thickness_mm
    )  # fmt: skip
    # Light from the retina diverges (below 0 here) and meets the surfaces from behind.
    steps = [
        (radius_matrix(shape.index - n_v, shape.back_radius_weak_mm, shape.back_radius_steep_mm),
         shape.thickness_mm / shape.index),
        (surface(shape.index - n_a, shape.front_radius_mm, PowerVector(0.0, 0.0, 0.0)),
         (middle - 0.5 * shape.thickness_mm - thick) / n_a),
        (surface(n_a - n_c, back_mm, toric.back), thick / n_c),
        (surface(n_c - 1.0, front_mm, toric.front), 0.0),
    ]  # fmt: skip
    for power, reduced_mm in steps:
        vergence = vergence + power
        vergence = np.linalg.inv(np.linalg.inv(vergence) - np.eye(2) * reduced_mm / 1000.0)
    # Light that leaves converging needs a minus lens of that power.
    (xx, xy), (_, yy) = -vergence
    return PowerVector(0.5 * (xx + yy), 0.5 * (xx - yy), xy)


@pytest.mark.parametrize("back_deg", [180.0, 150.0])
@pytest.mark.parametrize("axis_deg", [80.0, 90.0, 35.0, 170.0])
def test_trace_equals_the_matrices_whatever_the_meridians(axis_deg, back_deg):
    front, back = steep_cylinder(1.9, 80.0), steep_cylinder(0.3, back_deg)
    toric = TracedToric(CASE, traced_eye(CASE), front, back, 21.0)
    found, wanted = toric.refraction(2.25, axis_deg), closed_form(toric, 2.25, axis_deg)
    for part in ("m_dpt", "j0_dpt", "j45_dpt"):
        # The pencil is 0.002 mm wide: aberration is below 1e-6 dpt; 1e-4 as for round eyes.
        assert getattr(found, part) == pytest.approx(getattr(wanted, part), abs=1e-4)


def test_turning_by_ten_degrees_adds_what_crossed_cylinders_say():
    """2 C sin θ at the corneal plane (convention 14), of the cylinder that the implant is there."""
    round_cornea = PowerVector(0.0, 0.0, 0.0)
    toric = TracedToric(CASE, traced_eye(CASE), round_cornea, round_cornea, 21.0)
    there = toric.refraction(2.25, 80.0)
    at_cornea = 2.0 * math.hypot(there.j0_dpt, there.j45_dpt)
    gap = toric.refraction(2.25, 90.0).minus(there)
    added = 2.0 * math.hypot(gap.j0_dpt, gap.j45_dpt)
    assert added == pytest.approx(2.0 * at_cornea * math.sin(math.radians(10.0)), rel=1e-6)


def test_the_incision_moves_cornea_and_ellipse():
    before, _ = expected_toric(CASE)
    cut = Incision(steep_cylinder(0.5, 170.0), 0.04 * np.eye(2), 40)
    after, _ = expected_toric(CASE, cut)
    assert before.formula == after.formula == "exact trace"
    # 0.5 dpt steep across the steep meridian takes 0.5 dpt away, but for the back's other axis.
    assert before.corneal_cylinder_dpt - after.corneal_cylinder_dpt == pytest.approx(0.5, abs=0.02)
    for one, other in zip(before.steps, after.steps, strict=True):
        assert other.ellipse_95.minor_dpt > one.ellipse_95.minor_dpt
    assert "incision-unknown" not in [note.code for note in after.notes]


def test_an_eye_without_chamber_depth_is_told_by_thin_lenses_and_says_so():
    plan, _ = expected_toric(replace(CASE, lengths=replace(CASE.lengths, chamber_depth_mm=None)))
    assert plan.formula != "exact trace"
    assert "thin lenses" in plan.notes[0].sentence
