"""A plan's probabilities against computed tables of a random circle inside a circle.

Sources: tests/data/containment_values.csv and containment_slack.csv, status *computed* by
independent routes (quadrature, closed forms, 4·10⁶ draws), by a program outside this project.
The optic is told to rest where the opening was aimed at, without scatter: then the plan is the
plain containment probability.
"""

import csv
from pathlib import Path

import pytest

from rimwise.plan.make import make_plan
from rimwise.records.case import CaseSheet, Goal, OpeningWish, PlannedImplant, Spread

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, float]]:
    lines = [x for x in (DATA / name).read_text().splitlines() if not x.startswith("#")]
    return [{key: float(text) for key, text in row.items()} for row in csv.DictReader(lines)]


def hand(bias, sd, diameter_sd) -> Spread:
    return Spread(bias, sd, 0.0, diameter_sd, (0.0, 0.0), "opening")


def plan_of(optic_mm, opening_mm, spread, **goal):
    return make_plan(
        CaseSheet(
            "E-1",
            "right",
            "none",
            implant=PlannedImplant(optic_mm),
            goal=Goal(**goal),
            opening=OpeningWish(opening_mm),
            spread=spread,
        )
    )


@pytest.mark.parametrize("row", rows("containment_values.csv"))
def test_the_whole_table(row):
    centring = row["centring_SD_per_axis_mm"]
    plan = plan_of(
        row["optic_diam_mm"],
        row["opening_mean_mm"],
        hand((row["bias_mm"], 0.0), (centring, centring), row["opening_SD_mm"]),
        least_cover_mm=row["margin_mm"],
    )
    opening = plan.document()["opening"]
    # Printed to 1e-10; 1e-8 leaves room for either side's quadrature and for nothing else.
    assert opening["p_least_cover"] == pytest.approx(row["P_exact_10dp"], rel=0, abs=1e-8)
    if row["margin_mm"] == 0.0:
        assert opening["p_complete"] == pytest.approx(row["P_exact_10dp"], rel=0, abs=1e-8)
    assert {p.p_complete for p in plan.centres} == {opening["p_complete"]}


def test_unequal_axes():
    # Computed by two routes: slack 0.375 mm, radius sd 0.05 mm, bias (0.1, -0.05), sd (0.2, 0.1).
    plan = plan_of(6.0, 5.25, hand((0.1, -0.05), (0.2, 0.1), 0.10))
    assert plan.chosen.p_complete == pytest.approx(0.8748270635, rel=0, abs=1e-8)


@pytest.mark.parametrize("row", rows("containment_slack.csv"))
def test_largest_diameter_that_reaches_the_goal(row):
    centring = row["centring_SD_per_axis_mm"]
    plan = plan_of(
        6.0,
        None,
        hand((0.0, 0.0), (centring, centring), row["opening_SD_mm"]),
        p_complete=row["p"],
        diameter_limits_mm=(4.0, 6.0),
    )
    # Six printed decimals, and the search's own step of under 1e-6 mm.
    assert plan.chosen.best_mm == pytest.approx(row["max_mean_diam_in_6_mm"], abs=1.5e-6)
