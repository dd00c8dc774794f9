"""Records, models and draws of this very eye: what must hold whatever was measured."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.eye.build import eye_model
from rimwise.eye.draws import drawn_eye, spread_matrix, spread_names, varied_eye
from rimwise.eye.implant import ImplantTerms, aberration_um, implant_parts, implant_shape
from rimwise.eye.known import Known, known_from_case, known_from_picture
from rimwise.eye.schematic import eye_optics
from rimwise.eye.this_eye import eye_record
from rimwise.optics.paraxial import ray_matrix
from rimwise.optics.system import System, refract
from rimwise.published.load import published_value
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet, PictureLengths, PictureSheet
from rimwise.terms.errors import WrongInput

MEASURED = CorneaSheet(
    radius_flat_mm=7.8,
    radius_steep_mm=7.6,
    steep_axis_deg=90.0,
    thickness_um=545.0,
    posterior_flat_mm=6.5,
    posterior_steep_mm=6.3,
    asphericity_q=-0.2,
)


def test_every_number_is_measured_or_stands_among_the_assumptions():
    record = eye_record(Known("right", "natural", MEASURED, 70.0, 3.1, 4.5, 23.5, 11.8, 3.0))
    assumed = [name for name, one in record.numbers.items() if "prior" in one.origin]
    # The lens's shape by age, its index and conics; the cornea's back conic; pupil, visual axis.
    assert len(assumed) == len(record.assumptions) == 10
    assert all(one.sd for one in record.assumptions)
    nothing = eye_record(Known("right"))
    assert len(nothing.assumptions) > len(record.assumptions)
    assert all(one.cite and one.status for one in nothing.assumptions)


def test_left_and_right_eyes_mirror_what_is_assumed_of_them():
    right, left = (eye_record(Known(side)) for side in ("right", "left"))
    assert right.value("visual_x_deg") == -left.value("visual_x_deg") > 0.0
    assert right.value("pupil_x_mm") == -left.value("pupil_x_mm")
    assert right.value("visual_y_deg") == left.value("visual_y_deg")


def test_toric_corneas_keep_their_meridians():
    model = eye_model(eye_record(Known("right", "natural", MEASURED, 70.0, axial_mm=23.5)))
    steep, flat = (eye_optics(model, math.radians(a)).corneal_power_dpt for a in (90.0, 0.0))
    assert steep > flat + 0.5


def test_older_lenses_are_steeper():
    young, old = (eye_record(Known("right", age_years=age)) for age in (20.0, 70.0))
    assert young.value("lens_front_radius_mm") > old.value("lens_front_radius_mm")


def test_sheets_lead_to_the_lens_that_is_in_the_eye():
    case = CaseSheet(
        "E-1", "left", "none", age_years=70, lengths=CaseLengths(axial_mm=23.5),
        implant=PlannedImplant(6.0, power_dpt=22.0, index=1.47),
    )  # fmt: skip
    after = eye_record(known_from_case(case, "implant"))
    assert after.implant.power_dpt == 22.0
    assert after.numbers["lens_index"].sd == 0.0
    assert eye_optics(eye_model(after)).lens_power_dpt == pytest.approx(22.0, abs=1e-9)
    for state, lens in (("natural", "natural"), ("gel-natural", "natural"), ("empty-bag", "none"),
                        ("gel-implant", "implant"), ("visit", "implant")):  # fmt: skip
        sheet = PictureSheet(side="left", state=state, lengths=PictureLengths(11.6, 3.4, None))
        assert known_from_picture(sheet).lens == lens
        assert known_from_picture(sheet).lens_front_depth_mm == 3.4


@given(power=st.floats(5, 30), index=st.floats(1.43, 1.56), x=st.floats(-0.8, 0.8))
@settings(max_examples=30)
def test_an_implant_has_the_power_and_rim_that_were_asked_for(power, index, x):
    terms = ImplantTerms(power, index, shape_factor=x, cylinder_dpt=2.0, axis_deg=30.0)
    shape = implant_shape(terms)
    around = published_value("cornea", "index_aqueous").value
    steps = tuple(refract(p.surface, p.behind) for p in implant_parts(shape, 4.0, around))
    matrix = ray_matrix(System(steps, around), way=-1)
    for degrees, wanted in ((30.0, power - 1.0), (120.0, power + 1.0)):
        found = -1000.0 * matrix.in_meridian(math.radians(degrees))[2]
        assert found == pytest.approx(wanted, abs=1e-9)
    half = np.array(shape.optic_diameter_mm / 2.0)
    plain = implant_parts(implant_shape(replace(terms, cylinder_dpt=0.0, axis_deg=None)), 4.0, 1.3)
    sags = [abs(float(part.surface.sag_mm(half, 0.0 * half))) for part in plain]
    rim = shape.thickness_mm - sum(sags)
    assert rim == pytest.approx(terms.edge_mm, abs=1e-9)


def test_an_implants_spherical_aberration_is_made_to_order():
    for wanted in (-0.27, 0.0, 0.10):
        terms = ImplantTerms(21.0, 1.49, spherical_aberration_um=wanted, aberration_aperture_mm=6.0)
        shape = implant_shape(terms)
        # Bisection to round-off of the trace.
        assert aberration_um(shape, terms.aberration_aperture_mm) == pytest.approx(wanted, abs=1e-6)
    assert aberration_um(implant_shape(ImplantTerms(21.0, 1.49)), 5.0) > 0.0


@pytest.mark.parametrize("lens", ["natural", "implant", "none"])
def test_draws_scatter_as_the_record_says(lens):
    record, rng = eye_record(Known("right", lens, MEASURED, 70.0)), np.random.default_rng(2)
    draws = [drawn_eye(record, rng) for _ in range(400)]
    for name in ("front_flat_mm", "axial_mm", "white_to_white_mm"):
        given = record.numbers[name]
        values = np.array([one.value(name) for one in draws])
        # 400 draws: the mean is known to 5 % of an sd, the sd to 4 %; four of each.
        assert values.mean() == pytest.approx(given.value, abs=0.2 * given.sd)
        assert values.std() == pytest.approx(given.sd, rel=0.15)
    assert all(eye_model(one).parts for one in draws)


def test_assumed_lengths_vary_together_as_in_the_population():
    record, rng = eye_record(Known("right")), np.random.default_rng(4)
    draws = [drawn_eye(record, rng) for _ in range(600)]
    axial, depth, thick, flat, steep, back = (
        np.array([one.value(name) for one in draws])
        for name in ("axial_mm", "lens_front_depth_mm", "lens_thickness_mm", "front_flat_mm",
                     "front_steep_mm", "back_flat_mm")
    )  # fmt: skip
    # 600 draws know a correlation to 0.04.
    for one, other, key in (
        (axial, depth, "correlation_axial_chamber"),
        (depth, thick, "correlation_chamber_lens"),
    ):
        wanted = published_value("eye_priors", key).value
        assert np.corrcoef(one, other)[0, 1] == pytest.approx(wanted, abs=0.13)
    assert np.array_equal(flat, steep)
    ratio = published_value("cornea", "back_to_front_radius")
    assert (back / flat).std() == pytest.approx(ratio.sd, rel=0.15)


def test_the_correlations_make_a_possible_matrix():
    for lens in ("natural", "implant", "none"):
        matrix = spread_matrix(eye_record(Known("right", lens)))
        assert np.linalg.eigvalsh(matrix).min() > 0.0


def test_no_step_is_no_change():
    record = eye_record(Known("left", "implant"))
    same = varied_eye(record, np.zeros(len(spread_names(record))))
    assert {name: one.value for name, one in same.numbers.items()} == pytest.approx(
        {name: one.value for name, one in record.numbers.items()}
    )


@pytest.mark.parametrize(
    ("known", "sentence"),
    [
        (Known("right", lens_front_depth_mm=7.9, axial_mm=7.0), r"axial_mm is 7.* allowed"),
        (Known("right", lens_front_depth_mm=0.4), r"chamber_depth_mm is 0.4, and 1 to 8 mm"),
        (Known("right", lens_thickness_mm=9.0), r"lens_thickness_mm is 9"),
        (Known("right", cornea=CorneaSheet(radius_mm=-7.7)), r"radius_flat_mm is -7.7, and 5 to"),
        (
            Known("right", cornea=CorneaSheet(radius_flat_mm=7.5, radius_steep_mm=7.9)),
            r"radius_steep_mm is 7.9, above radius_flat_mm = 7.5",
        ),
        (Known("right", axial_mm=14.5, lens_front_depth_mm=7.5, lens_thickness_mm=7.5),
         r"lens_thickness_mm is 7.5.*retina stands at 14.5"),
    ],
)  # fmt: skip
def test_an_eye_that_cannot_be_is_refused_by_field_value_and_range(known, sentence):
    with pytest.raises(WrongInput, match=sentence):
        eye_record(known)


def test_unusual_but_possible_values_are_warned_of():
    record = eye_record(Known("right", axial_mm=32.0, lens_thickness_mm=2.8))
    assert {one.code for one in record.warnings} == {"unusual-axial", "unusual-natural-lens"}
    assert all("check" in one.sentence or "thin" in one.sentence for one in record.warnings)
    assert not eye_record(Known("right", axial_mm=23.5)).warnings


@pytest.mark.parametrize(
    ("terms", "sentence"),
    [
        (ImplantTerms(21.0, 1.30), "index is 1.3"),
        (ImplantTerms(90.0, 1.45), "does not reach over an optic|no optic"),
        (ImplantTerms(21.0, 1.49, cylinder_dpt=2.0), "axis_deg"),
        (ImplantTerms(-30.0, 1.45, edge_mm=0.1), "thicker edge"),
        (ImplantTerms(21.0, 1.49, spherical_aberration_um=50.0), "no asphere"),
    ],
)
def test_an_implant_that_cannot_be_is_refused(terms, sentence):
    with pytest.raises(WrongInput, match=sentence):
        implant_shape(terms)
