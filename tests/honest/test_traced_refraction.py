"""Expected refraction by trace: pupil that shrinks, thin lenses, and a ± that is true."""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.eye.build import eye_model
from rimwise.eye.implant import ImplantTerms, implant_shape
from rimwise.eye.known import Known
from rimwise.eye.refraction import narrow_refraction
from rimwise.eye.this_eye import eye_record
from rimwise.optics.refraction import paraxial_refraction
from rimwise.plan.traced import placed_record, trace_power, traced_refractions
from rimwise.plan.traced_eye import traced_eye
from rimwise.plan.vergence import ThinEye
from rimwise.predict.sight import line_of_sight, placed_waves
from rimwise.published.load import published_value
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet
from rimwise.terms.estimate import Estimate
from rimwise.terms.units import dpt_from_radius_mm

# Invented eyes: ordinary, short, long, steep; back measured or not, lens thickness known or not.
EYES = {
    "ordinary": CaseSheet(
        "E-1",
        "right",
        "none",
        cornea=CorneaSheet(7.8, thickness_um=545.0),
        lengths=CaseLengths(23.6, 3.15, 4.5),
        implant=PlannedImplant(6.0, 21.0, index=1.49),
    ),
    "short": CaseSheet(
        "E-2",
        "left",
        "none",
        cornea=CorneaSheet(
            None, 7.55, 7.40, 90.0, 550.0, posterior_flat_mm=6.4, posterior_steep_mm=6.2
        ),
        lengths=CaseLengths(20.9, 2.5, 4.9),
        implant=PlannedImplant(6.0, 31.0, index=1.55),
    ),
    "long": CaseSheet(
        "E-3",
        "right",
        "none",
        cornea=CorneaSheet(8.0),
        lengths=CaseLengths(29.2, 3.7),
        implant=PlannedImplant(6.0, 6.0, index=1.46),
    ),
}


def model_of(case: CaseSheet, round_cornea: bool = False):
    """Build the traced eye as the plan does, on its own way, with a centred pupil."""
    eye = traced_eye(case)
    terms = ImplantTerms(
        case.implant.power_dpt,
        case.implant.index,
        6.0,
        published_value("eye_priors", "implant_shape_factor").value,
        published_value("eye_priors", "implant_edge").value,
    )
    cornea = case.cornea
    if round_cornea and cornea.radius_mm is None:
        cornea = replace(cornea, steep_axis_deg=None)
    known = Known(case.side, "implant", cornea, axial_mm=case.lengths.axial_mm, implant=terms)
    record = eye_record(known)
    front = eye.depth_mm.value - implant_shape(terms).thickness_mm / 2.0
    places = {
        "lens_front_depth_mm": front,
        "axial_mm": eye.retina_mm.value,
        "pupil_x_mm": 0.0,
        "pupil_y_mm": 0.0,
    }
    numbers = record.numbers | {name: Estimate(at, 0.0) for name, at in places.items()}
    return eye_model(replace(record, numbers=numbers))


def matrix_refraction(model) -> float:
    """Return the refraction at the cornea by the paraxial matrix from corneal front to retina."""
    a, b, c, d = model.matrix.in_meridian(0.0)
    vitreous = published_value("eye_priors", "index_vitreous").value
    gap = (model.retina_depth_mm - model.parts[-1].depth_mm) / vitreous
    # A ray (height 1, reduced slope u) from the far point lands on the axis of the retina.
    return 1000.0 * (a + gap * c) / (b + gap * d)


@pytest.mark.parametrize("name", EYES)
def test_the_trace_becomes_the_paraxial_matrix_as_the_pupil_shrinks(name):
    model = model_of(EYES[name], round_cornea=True)
    paraxial = matrix_refraction(model)
    assert narrow_refraction(model, (0.0, 0.0)).mean_dpt == pytest.approx(paraxial, abs=1e-5)
    fovea = (0.0, 0.0, -model.retina_depth_mm)
    (wave,) = placed_waves(model, fovea, 0.5)
    # Rays through a pupil of 0.5 mm, carried from the entrance pupil to the cornea.
    entrance = model_pupil_depth(model, fovea)
    found = paraxial_refraction(wave).moved_towards_light(entrance)
    assert found.m_dpt == pytest.approx(paraxial, abs=1e-4)


def model_pupil_depth(model, fovea) -> float:
    return line_of_sight(model, fovea).pupil_depth_mm


def test_how_far_thin_lenses_are_from_the_trace():
    """Thin lenses in the same places, the cornea as a keratometer of index 1.3375 prints it.

    A keratometer takes the front for a cornea some 0.8 dpt stronger than both surfaces are, and a
    thick implant's and cornea's principal planes do the rest.
    """
    apart = {}
    for name, case in EYES.items():
        eye = traced_eye(case)
        radius = 2.0 / (
            1.0 / eye.record.value("front_flat_mm") + 1.0 / eye.record.value("front_steep_mm")
        )
        cornea = dpt_from_radius_mm(radius, published_value("cornea", "index_keratometric").value)
        thin = ThinEye(eye.retina_mm.value, eye.depth_mm.value, cornea, 1.336)
        traced = trace_power(eye, case, case.implant.power_dpt).refraction_dpt.value
        apart[name] = traced - float(thin.refraction_dpt(case.implant.power_dpt))
    assert apart == pytest.approx(STATED, abs=5e-3)


# Trace less thin lenses, dpt; own figures, they only tell when something moved.
STATED = {"ordinary": 1.285, "short": 1.365, "long": 1.134}


@pytest.mark.parametrize("name", EYES)
def test_the_band_holds_on_a_thousand_drawn_eyes_traced_exactly(name):
    """Every number of the sheet drawn within its ±, every drawn eye traced ray by ray."""
    case = EYES[name]
    line = trace_power(traced_eye(case), case, case.implant.power_dpt)
    rng = np.random.default_rng(20261125)
    eye, numbers = traced_eye(case), {}
    for key, one in eye.record.numbers.items():
        numbers[key] = one
    share, sd_left = eye.share, published_value("refraction", "implant_depth").sd
    itself = published_value("refraction", "refraction_itself").sd
    base = model_record(case)
    inside = 0
    for _ in range(1000):
        steps = rng.standard_normal(9)
        n = dict(base.numbers)
        front_error = {
            "front_flat_mm": numbers["front_flat_mm"].sd * steps[0],
            "front_steep_mm": numbers["front_steep_mm"].sd
            * steps[0 if case.cornea.radius_mm is not None else 1],
        }
        for key, error in front_error.items():
            n[key] = Estimate(n[key].value + error, 0.0)
        for i, which in enumerate(("flat", "steep")):
            if "ratio" in numbers:
                ratio = numbers["ratio"].value + numbers["ratio"].sd * steps[2]
                back = ratio * n[f"front_{which}_mm"].value
            else:
                back = n[f"back_{which}_mm"].value + numbers["back_flat_mm"].sd * steps[2 + i]
            n[f"back_{which}_mm"] = Estimate(back, 0.0)
        cct = numbers["corneal_thickness_mm"]
        n["corneal_thickness_mm"] = Estimate(cct.value + cct.sd * steps[4], 0.0)
        move = eye.chamber_mm.sd * steps[5] + share * eye.lens_mm.sd * steps[6] + sd_left * steps[7]
        n["lens_front_depth_mm"] = Estimate(n["lens_front_depth_mm"].value + move, 0.0)
        retina = eye.retina_mm
        n["axial_mm"] = Estimate(retina.value + retina.sd * steps[8], 0.0)
        found = narrow_refraction(eye_model(replace(base, numbers=n)), (0.0, 0.0))
        ends = np.array([found.sphere_dpt, found.sphere_dpt + found.cylinder_dpt])
        left = float(np.mean(ends / (1.0 + 0.012 * ends))) + itself * rng.standard_normal()
        inside += abs(left - line.refraction_dpt.value) <= 1.96 * line.refraction_dpt.sd
    assert 0.93 <= inside / 1000 <= 0.97
    assert 0.93 <= line.drawn.inside_95 <= 0.97


def model_record(case: CaseSheet):
    """Return the record of the traced eye with its implant in place."""
    return placed_record(traced_eye(case), case, case.implant.power_dpt)


def test_without_a_constant_the_powers_lie_about_the_goal():
    case = replace(EYES["ordinary"], implant=PlannedImplant(6.0))
    lines, said, _ = traced_refractions(case, ())
    values = [line.refraction_dpt.value for line in lines]
    assert values == sorted(values, reverse=True)
    assert values[0] > 0.0 > values[-1]
    assert "trace-uncalibrated" in [one.code for one in said]


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"corneal_surgery": "keratoconus"}, "maps of both corneal surfaces"),
        ({"corneal_surgery": "myopic"}, "posterior_flat_mm"),
        ({"lengths": CaseLengths(23.6)}, "chamber_depth_mm"),
        ({"cornea": CorneaSheet()}, "radius_flat_mm"),
    ],
)
def test_the_trace_says_what_it_lacks(change, word):
    lines, (reason,), _ = traced_refractions(replace(EYES["ordinary"], **change), ())
    assert lines == ()
    assert reason.code == "trace-lacks"
    assert word in reason.sentence


def test_after_laser_the_trace_asks_for_both_surfaces_and_warns():
    case = replace(EYES["short"], corneal_surgery="myopic")
    lines, said, _ = traced_refractions(case, ())
    assert len(lines) == 7
    assert "trace-after-surgery" in [one.code for one in said]
