"""Biometry that is looked at again: every rule speaks for its cause only, and stops nothing."""

from dataclasses import replace

import pytest

from rimwise.plan.biometry_rules import biometry_warnings, fellow_warnings
from rimwise.plan.make import make_plan
from rimwise.published.load import published_table
from rimwise.records.case import CaseLengths, CaseSheet, Goal, PlannedImplant
from rimwise.records.picture import CorneaSheet

CORNEA = CorneaSheet(
    radius_flat_mm=7.8,
    radius_steep_mm=7.65,
    steep_axis_deg=92.0,
    thickness_um=545.0,
    posterior_flat_mm=6.52,
    posterior_steep_mm=6.31,
)
EYE = CaseSheet(
    "E-1",
    "right",
    "none",
    person="P-1",
    cornea=CORNEA,
    lengths=CaseLengths(23.6, 3.15, 4.5, 11.8),
    implant=PlannedImplant(6.0, 21.0, index=1.49),
    goal=Goal(refraction_dpt=-0.25),
)


def codes(reasons) -> set[str]:
    return {reason.code for reason in reasons}


def test_an_ordinary_eye_is_let_alone():
    assert biometry_warnings(EYE) == ()


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"lengths": CaseLengths(20.4, 2.9, 4.5)}, {"biometry-axial"}),
        ({"lengths": CaseLengths(27.5, 3.5, 4.5)}, {"biometry-axial"}),
        ({"lengths": CaseLengths(23.6, 1.9, 5.2)}, {"biometry-chamber"}),
        # The chamber counted from the corneal back, or as it looks through the cornea.
        ({"lengths": CaseLengths(23.6, 2.55, 4.1)}, {"biometry-segment"}),
        ({"lengths": CaseLengths(21.3, 3.9, 4.8)}, {"biometry-segment-share"}),
        ({"lengths": CaseLengths(23.6, 3.15, 4.5, 13.4)}, {"biometry-white"}),
        ({"lengths": CaseLengths(23.6, 3.15, 6.2)}, {"biometry-lens", "biometry-segment"}),
        (
            {"cornea": replace(CORNEA, radius_flat_mm=7.0, radius_steep_mm=6.9)},
            {"biometry-radius", "biometry-back-ratio"},
        ),
        ({"cornea": replace(CORNEA, thickness_um=430.0)}, {"biometry-thickness"}),
        (
            {"cornea": CorneaSheet(radius_flat_mm=8.1, radius_steep_mm=7.5)},
            {"biometry-cylinder"},
        ),
    ],
)
def test_what_is_unusual_or_does_not_fit_is_told_and_stops_nothing(change, expected):
    case = replace(EYE, **change)
    assert codes(biometry_warnings(case)) - {"biometry-segment-share"} == expected - {
        "biometry-segment-share"
    }
    assert expected <= codes(biometry_warnings(case))
    plan = make_plan(case)
    assert plan.centres
    assert expected <= codes(plan.warnings)


def test_an_operated_cornea_is_not_blamed_for_what_surgery_did():
    flat = CorneaSheet(radius_mm=8.9, thickness_um=440.0)
    assert biometry_warnings(replace(EYE, corneal_surgery="myopic", cornea=flat)) == ()


def test_a_power_far_from_the_goal_hints_at_a_wrong_number():
    wrong = replace(EYE, implant=replace(EYE.implant, power_dpt=12.0))
    assert "power-far-from-goal" in codes(make_plan(wrong).warnings)
    assert "power-far-from-goal" not in codes(make_plan(EYE).warnings)


FELLOW = replace(EYE, code="E-2", side="left", lengths=CaseLengths(23.75, 3.2, 4.55, 11.9))


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, set()),
        ({"side": "right"}, {"fellow-side"}),
        ({"person": "P-2"}, {"fellow-person"}),
        ({"lengths": EYE.lengths}, {"fellow-copy"}),
        ({"lengths": CaseLengths(24.6, 3.2, 4.55)}, {"fellow-axial"}),
        ({"lengths": CaseLengths(23.7, 3.7, 4.55)}, {"fellow-chamber"}),
        ({"lengths": CaseLengths(23.7, 3.2, 5.05, 12.4)}, {"fellow-lens", "fellow-white"}),
        ({"cornea": CorneaSheet(radius_mm=7.4)}, {"fellow-power"}),
    ],
)
def test_eyes_of_one_person_that_differ(change, expected):
    assert codes(fellow_warnings(EYE, replace(FELLOW, **change))) == expected


def test_every_rule_says_where_it_comes_from():
    for entry in published_table("biometry_rules").values():
        assert entry.source.status in ("from memory", "common practice, no source")
