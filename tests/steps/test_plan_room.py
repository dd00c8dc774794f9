"""The eye's own room for an opening: its dilated pupil and its bag."""

from dataclasses import replace

import pytest

from rimwise.eye.cornea import Cornea, seen_from_front
from rimwise.plan.make import make_plan
from rimwise.records.case import (
    CaseLengths,
    CaseSheet,
    Centres,
    OpeningWish,
    PlannedImplant,
    Spread,
)
from rimwise.records.picture import CorneaSheet
from rimwise.report.plan_words import plan_table

# An invented eye of a steady hand: without its pupil the upper limit of 5.5 mm is proposed.
EYE = CaseSheet(
    "E-1",
    "right",
    "none",
    age_years=70.0,
    cornea=CorneaSheet(7.8, thickness_um=550.0, posterior_flat_mm=6.5, posterior_steep_mm=6.5),
    lengths=CaseLengths(chamber_depth_mm=3.1),
    implant=PlannedImplant(6.0),
    opening=OpeningWish(centre="lens"),
    centres=Centres((0.0, 0.0), (0.2, 0.0), (0.1, 0.0), 0.0),
    spread=Spread((0.0, 0.0), (0.05, 0.05), 0.0, 0.05, (0.0, 0.0)),
)
# By hand: two surfaces, paraxial.
ENLARGED = seen_from_front(Cornea(7.8, 6.5, 0.55, 1.376, 1.336), 3.1)[0]


def planned(pupil_mm=None, bag_mm=None, **wish):
    lengths = replace(EYE.lengths, pupil_dilated_mm=pupil_mm, bag_diameter_mm=bag_mm)
    return make_plan(replace(EYE, lengths=lengths, opening=replace(EYE.opening, **wish)))


def warned(plan):
    return [one.code for one in plan.warnings]


def test_without_pupil_and_bag_the_sheets_limits_alone_hold():
    plan = planned()
    assert plan.diameter_mm == 5.5
    assert plan.chosen.size_limits == ()


def test_the_largest_opening_shows_all_its_edge_in_the_dilated_pupil():
    plan = planned(pupil_mm=6.0)
    # The lens centre lies 0.1 mm from the pupil's: the far side counts twice.
    assert plan.diameter_mm == pytest.approx(6.0 / ENLARGED - 0.2, abs=1e-6)
    notes = {label: note for label, _, note in plan_table(plan)}
    assert "the dilated pupil allows no more" in notes["Largest opening that reaches the goal"]
    assert "pupil-smaller" not in warned(plan)
    limits = plan.document()["by_centre"]["lens"]["size_limits"]
    assert limits == [{"by": "pupil", "largest_mm": pytest.approx(plan.diameter_mm, abs=1e-6)}]


def test_where_the_pupil_lacks_room_no_size_is_proposed_and_it_is_said_first():
    plan = planned(pupil_mm=4.6)
    assert plan.diameter_mm is None
    assert [one.code for one in plan.chosen.reasons] == ["pupil-too-small"]
    assert warned(plan)[0] == "pupil-smaller"
    assert f"{4.6 / ENLARGED - 0.2:.2f} mm" in plan.chosen.reasons[0].sentence


def test_a_wanted_opening_is_judged_though_it_reaches_under_the_iris():
    plan = planned(pupil_mm=5.2, diameter_mm=5.0)
    assert plan.diameter_mm == 5.0
    assert plan.chosen.p_complete > 0.99
    assert warned(plan)[0] == "pupil-smaller"


def test_the_opening_stays_clear_of_the_zonule_on_a_small_bag():
    plan = planned(bag_mm=8.2)
    # The fibres reach 1.5 mm on to the front from either side (from memory, listed).
    assert plan.diameter_mm == pytest.approx(5.2, abs=1e-6)
    assert any("zonule" in one.what for one in plan.assumptions)
    assert "biometry-bag" in warned(plan)
    visual = next(one for one in plan.centres if one.centre == "visual_axis")
    # 0.2 mm off the lens centre.
    assert visual.size_limits[0].largest_mm == pytest.approx(4.8, abs=1e-9)


def test_the_tighter_of_both_counts():
    plan = planned(pupil_mm=7.5, bag_mm=8.2)
    assert plan.diameter_mm == pytest.approx(5.2, abs=1e-6)
    assert {one.by for one in plan.chosen.size_limits} == {"pupil", "bag"}


def test_nobody_knows_how_large_an_irregular_cornea_shows_the_pupil():
    lengths = replace(EYE.lengths, pupil_dilated_mm=5.0)
    plan = make_plan(replace(EYE, corneal_surgery="keratoconus", lengths=lengths))
    assert plan.chosen.size_limits == ()
