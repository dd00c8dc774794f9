"""What a toric implant is expected to leave in this eye, by steps of its cylinder."""

import math
from collections.abc import Callable

import numpy as np

from rimwise.optics.refraction import PowerVector
from rimwise.plan.expected import biometry_of, first_formula
from rimwise.plan.formulas import formula_eye
from rimwise.plan.toric import (
    STEP_DEG,
    Incision,
    ToricExpectation,
    ToricEye,
    ToricScatter,
    expect_toric,
    steep_cylinder,
    steep_meridian,
    toric_expectation,
)
from rimwise.plan.traced import FORMULA, wanted_power_dpt
from rimwise.plan.traced_eye import trace_lacks, traced_eye
from rimwise.plan.traced_toric import TracedToric
from rimwise.plan.vergence import VERTEX_MM, ThinEye
from rimwise.published.formulas import published_formula
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.lens_power import SphereCylinder, ToricPlan, ToricStep
from rimwise.records.picture import CorneaSheet
from rimwise.terms.units import dpt_from_radius_mm

# From a cylinder and the meridian of its marks to what it leaves.
Expect = Callable[[float, float], ToricExpectation]
_STEPS_DPT = (-0.75, 0.0, 0.75)  # about the planned cylinder, at the implant
_MM = 1000.0
_WORTH_SAYING_DEG = 2.0  # less is read off no dial
# No incision was measured: nothing is added, and that is said.
_NO_INCISION = Incision(PowerVector(0.0, 0.0, 0.0), np.zeros((2, 2)), 0)


def expected_toric(
    case: CaseSheet, add: Incision | None = None
) -> tuple[ToricPlan | None, tuple[Assumption, ...]]:
    """What is each cylinder expected to leave, its marks where the sheet has them or belong?

    Parameters
    ----------
    case : CaseSheet
        With a cylinder in [implant] and flat and steep radius with axis in [cornea]. The marks lie
        at ``axis_deg`` of [implant], else on the steep meridian of front, back and incision.
    add : Incision, optional
        What this surgeon's incision adds, where it is known otherwise than from the sheet.

    Returns
    -------
    ToricPlan or None
        None without a cylinder, after corneal surgery, or where a measurement is missing. By an
        exact trace where this eye can be traced, else by thin lenses that a formula places.
    tuple of Assumption

    Examples
    --------
    >>> expected_toric(CaseSheet("E-1", "right", "none"))
    (None, ())
    """
    implant, cornea = case.implant, case.cornea
    if implant is None or not implant.cylinder_dpt:
        return None, ()
    if cornea.radius_flat_mm is None or cornea.steep_axis_deg is None:
        return None, ()
    back, words, assumed = _back(cornea)
    incision = add or _incision(case)
    found = _traced(case, back, incision) or _thin(case, back, incision)
    if found is None:
        return None, ()
    name, expect = found
    size, steep = steep_meridian(_front(cornea).plus(back).plus(incision.centroid))
    marks = steep if implant.axis_deg is None else (implant.axis_deg or 180.0)
    steps = tuple(
        _step(cylinder, expect(cylinder, marks))
        for change in _STEPS_DPT
        if (cylinder := implant.cylinder_dpt + change) >= 0.0
    )
    notes = (*_notes(name, incision), *_off_steep(marks, steep))
    return ToricPlan(name, size, steep, words, marks, steps, notes), (
        *assumed,
        _rotation(),
    )


def _traced(case: CaseSheet, back: PowerVector, incision: Incision) -> tuple[str, Expect] | None:
    """Return the way by an exact trace; None where something must still be measured."""
    # After surgery nobody knows along which meridian the back is steep.
    if case.implant is None or case.corneal_surgery != "none" or trace_lacks(case) is not None:
        return None
    eye, power = traced_eye(case), case.implant.power_dpt
    if power is None:
        power = wanted_power_dpt(eye, case)
    front = _front(case.cornea).plus(incision.centroid)
    toric, scatter = TracedToric(case, eye, front, back, power), _scatter(case.cornea)

    def expect(cylinder_dpt: float, steep_deg: float) -> ToricExpectation:
        ends = (toric.refraction(cylinder_dpt, steep_deg + half * STEP_DEG) for half in (0.5, -0.5))
        more, less = (np.array([one.j0_dpt, one.j45_dpt]) for one in ends)
        left = toric.refraction(cylinder_dpt, steep_deg)
        return toric_expectation(left, (more - less) / STEP_DEG, incision, scatter)

    return FORMULA, expect


def _thin(case: CaseSheet, back: PowerVector, incision: Incision) -> tuple[str, Expect] | None:
    """Return the way by thin lenses that a formula places; None where none can be used."""
    implant, eye, found = case.implant, biometry_of(case), first_formula(case)
    if implant is None or eye is None or found is None:
        return None
    formula, constants = found
    thin = formula_eye(formula, eye, dict(constants.values))
    power = implant.power_dpt
    if power is None:
        power = float(thin.power_dpt(case.goal.refraction_dpt or 0.0))
    body, scatter = _toric_eye(thin, _front(case.cornea).plus(back)), _scatter(case.cornea)

    def expect(cylinder_dpt: float, steep_deg: float) -> ToricExpectation:
        weak = steep_cylinder(cylinder_dpt, steep_deg + 90.0)
        return expect_toric(body, PowerVector(power, weak.j0_dpt, weak.j45_dpt), incision, scatter)

    return published_formula(formula).name, expect


def _incision(case: CaseSheet) -> Incision:
    """Return what the sheet says of the incision, the doubt of its mean added to its scatter."""
    given = case.incision
    if given is None:
        return _NO_INCISION
    one = given.component_sd_dpt**2 * (1.0 + 1.0 / given.eyes)
    return Incision(
        steep_cylinder(given.centroid_dpt, given.steep_deg), one * np.eye(2), given.eyes
    )


def _toric_eye(thin: ThinEye, astigmatism: PowerVector) -> ToricEye:
    """Return the formula's eye, its mean corneal power kept, with this astigmatism."""
    cornea = PowerVector(float(thin.cornea_dpt), astigmatism.j0_dpt, astigmatism.j45_dpt)
    return ToricEye(float(thin.length_mm), float(thin.lens_mm), cornea, thin.index)


def _front(cornea: CorneaSheet) -> PowerVector:
    index = published_value("cornea", "index_cornea").value
    flat, steep = cornea.radius_flat_mm, cornea.radius_steep_mm
    assert flat is not None
    assert steep is not None
    size = dpt_from_radius_mm(steep, index) - dpt_from_radius_mm(flat, index)
    return steep_cylinder(size, cornea.steep_axis_deg or 180.0)


def _back(cornea: CorneaSheet) -> tuple[PowerVector, str, tuple[Assumption, ...]]:
    """Return the back's astigmatism; steepest upright, it weakens the light most there."""
    flat, steep = cornea.posterior_flat_mm, cornea.posterior_steep_mm
    if flat is not None and steep is not None:
        gap = (
            published_value("cornea", "index_cornea").value
            - published_value("cornea", "index_aqueous").value
        )
        size = _MM * gap * (1.0 / steep - 1.0 / flat)
        return steep_cylinder(size, 180.0), "measured, steep meridian taken as vertical", ()
    prior = published_value("refraction", "back_cylinder")
    assumed = Assumption.of("cylinder of the corneal back, steep meridian vertical", prior)
    return steep_cylinder(prior.value, 180.0), "prior", (assumed,)


def _scatter(cornea: CorneaSheet) -> ToricScatter:
    """Return the scatters: two radii of the front, the back's cylinder, the axis at rest."""
    flat = cornea.radius_flat_mm
    assert flat is not None
    index = published_value("cornea", "index_cornea").value
    front_mm = published_value("instruments", "front_radius").sd or 0.0
    radius = dpt_from_radius_mm(flat, index) / flat * front_mm
    back = published_value("refraction", "back_cylinder").sd or 0.0
    # A component is half a cylinder, and a cylinder the difference of two readings.
    size = math.hypot(0.5 * math.sqrt(2.0) * radius, 0.5 * back)
    return ToricScatter(size, published_value("refraction", "toric_rotation").sd or 0.0)


def _rotation() -> Assumption:
    return Assumption.of(
        "axis of a toric implant at rest from the axis aimed at",
        published_value("refraction", "toric_rotation"),
    )


def _step(cylinder_dpt: float, found: ToricExpectation) -> ToricStep:
    """Return one cylinder: the implant's weak meridian on the cornea's steep one."""
    left = found.residual
    spectacles = left.moved_towards_light(VERTEX_MM)
    return ToricStep(
        cylinder_dpt,
        SphereCylinder(*spectacles.sphere_cylinder_axis()),
        (left.m_dpt, left.j0_dpt, left.j45_dpt),
        found.ellipse,
        found.cost_dpt_per_deg,
    )


def _off_steep(marks_deg: float, steep_deg: float) -> tuple[Reason, ...]:
    """Say how far from the steep meridian the sheet wants the marks, where that costs."""
    off = (marks_deg - steep_deg + 90.0) % 180.0 - 90.0
    if abs(off) < _WORTH_SAYING_DEG:
        return ()
    return (
        Reason(
            "marks-off-steep",
            f"The marks are meant for {marks_deg:.0f}° and the cornea with its incision is steep "
            f"along {steep_deg:.0f}°: {abs(off):.0f}° apart, which is in what the implant leaves.",
        ),
    )


def _notes(name: str, incision: Incision) -> tuple[Reason, ...]:
    way = (
        "an exact trace along the corneal axis through both corneal surfaces and an upright, "
        "centred, generic implant"
        if name == FORMULA
        else "thin lenses placed by a formula from memory"
    )
    notes = [
        Reason(
            "toric-expected",
            f"Residual cylinders are expected from {way}; a cylinder and an axis are never chosen "
            "here.",
        )
    ]
    if incision.eyes == 0:
        notes.append(
            Reason(
                "incision-unknown",
                "What this surgeon's incision adds was not measured, and nothing is added for it; "
                "give it in [incision].",
            )
        )
    return tuple(notes)
