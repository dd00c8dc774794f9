"""What each candidate centre costs in contrast: the same as a trace of every place by itself."""

import time
from dataclasses import replace

import numpy as np
import pytest

from rimwise.plan.contrast import with_contrast
from rimwise.plan.make import make_plan
from rimwise.predict.make import JUDGED_CPD, SightQuestion, predict_sight
from rimwise.predict.placed import place_at
from rimwise.predict.sensitivity import sight_map, tolerance
from rimwise.records.case import CaseLengths, CaseSheet, Centres, PlannedImplant, Spread
from rimwise.records.picture import CorneaSheet
from rimwise.terms.estimate import Estimate

# An invented eye; its visual axis lies where a published prior would have it not.
EYE = CaseSheet(
    "E-1",
    "left",
    "none",
    age_years=70.0,
    cornea=CorneaSheet(None, 7.8, 7.65, 92.0, 545.0),
    lengths=CaseLengths(23.6, 3.15, 4.5, pupil_photopic_mm=3.4),
    implant=PlannedImplant(6.0, 21.0, 1.5, 1.49),
    centres=Centres((0.05, 0.0), (-0.35, 0.1), (-0.1, 0.05)),
    spread=Spread((0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.12, 0.08)),
)


@pytest.fixture(scope="module")
def told():
    return with_contrast(EYE, make_plan(EYE))


@pytest.mark.slow
def test_every_centre_costs_what_the_prediction_of_that_placement_says(told):
    """Second way: the whole prediction of sight, each placement traced by itself."""
    from rimwise.plan.contrast import _eye  # noqa: PLC0415 - the same eye, all else anew

    record = _eye(EYE, told)
    lost = {}
    for one in told.centres:
        at = place_at(record, one.target_mm)
        sight = predict_sight(record, at, SightQuestion("E-1", (3.4,)))
        lost[one.centre] = sight.pupils[0].contrast_lost.value
    least = min(lost.values())
    for one in told.contrast.by_centre:
        # A thousandth of the contrast is what sampling and carried waves are good for.
        assert one.contrast_lost.value == pytest.approx(lost[one.centre] - least, abs=1e-3)


def test_the_pm_is_the_scatter_of_drawn_places(told):
    from rimwise.plan.contrast import _ask, _contrasts, _eye  # noqa: PLC0415

    rng = np.random.default_rng(20261126)
    asked = _ask(_eye(EYE, told))
    for one, plan in zip(told.contrast.by_centre, told.centres, strict=True):
        places = np.array(plan.target_mm) + rng.standard_normal((400, 2)) * (0.12, 0.08)
        drawn = float(_contrasts(asked, places).std())
        # A scatter of 400 is known to 3.5 %; contrast is no normal law, so four times that.
        assert one.contrast_lost.sd == pytest.approx(drawn, rel=0.15)


def test_the_frequency_and_the_pupil_are_said_and_the_best_costs_nothing(told):
    document = told.document()["contrast"]
    assert document["frequency_cpd"] == JUDGED_CPD
    assert document["pupil_mm"] == 3.4
    lost = {centre: one["value"] for centre, one in document["lost_by_centre"].items()}
    assert set(lost) == {"visual_axis", "lens", "pupil", "limbus"}
    assert min(lost.values()) == 0.0
    assert max(lost.values()) > 0.001


def test_the_tolerance_is_the_circle_on_the_map_of_the_sight(told):
    """Second way: every place of the sight's map worked out, a spline between them."""
    from rimwise.plan.contrast import _ask, _eye  # noqa: PLC0415

    record = _eye(EYE, told)
    found = sight_map(_ask(record), place_at(record), "mm")
    circle = tolerance(found, Estimate(0.0, 0.0), 0.1)
    entry = told.document()["contrast"]["tolerance"]
    assert (entry["from"], entry["loss"], entry["reach_mm"]) == ("corneal axis", 0.1, 1.0)
    # Told to 0.01 mm.
    assert entry["radius_mm"] == pytest.approx(circle.radius, abs=0.01)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"implant": PlannedImplant(6.0)}, "power_dpt"),
        ({"lengths": CaseLengths()}, "axial_mm"),
        ({"cornea": CorneaSheet()}, "radius_flat_mm"),
        ({"corneal_surgery": "keratoconus"}, "never operated"),
    ],
)
def test_what_stands_in_the_way_is_said(change, word):
    case = replace(EYE, **change)
    plan = with_contrast(case, make_plan(case))
    assert plan.contrast is None
    assert plan.warnings[-1].code == "contrast-not-told"
    assert word in plan.warnings[-1].sentence


def test_plan_and_contrast_take_less_than_two_seconds(told):
    start = time.process_time()
    with_contrast(EYE, make_plan(EYE))
    # Of the processor; about 0.6 s here with tables read, 10,000 drawn eyes a power included.
    assert time.process_time() - start < 2.0


def test_a_refused_plan_stays_as_it_is():
    child = replace(EYE, age_years=9.0)
    assert with_contrast(child, make_plan(child)).contrast is None
