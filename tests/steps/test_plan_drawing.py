"""The plan's picture: the same bytes each time, readable without colour and without eyes."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from rimwise.plan.make import make_plan
from rimwise.records.case import CaseSheet, Centres, OpeningWish, PlannedImplant, Spread
from rimwise.report.plan_drawing import draw_plan, plan_description
from rimwise.terms.cautions import CAUTIONS

CASE = CaseSheet(
    "E-017",
    "left",
    "none",
    age_years=71.0,
    implant=PlannedImplant(6.0),
    opening=OpeningWish(5.2, "visual_axis"),
    centres=Centres((0.10, 0.02), (-0.18, 0.05)),
    spread=Spread((0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.1, 0.1)),
)


def words_in(svg: bytes) -> str:
    return " ".join(" ".join(ET.fromstring(svg).itertext()).split())


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_plan_gives_the_same_bytes(kind):
    assert draw_plan(make_plan(CASE), kind) == draw_plan(make_plan(CASE), kind)


def test_every_curve_is_named_at_its_end_and_the_caution_stands_at_the_foot():
    words = words_in(draw_plan(make_plan(CASE)))
    for name in (
        "visual axis",
        "lens centre",
        "pupil centre",
        "limbus centre",
        "nasal",
        "goal 95.0 %",
    ):
        assert name in words
    assert CAUTIONS[0] in words
    assert plan_description(make_plan(CASE)) in words


def test_no_date_and_no_machine_in_the_bytes():
    svg = draw_plan(make_plan(CASE))
    assert b"dc:date" not in svg
    assert b"/home" not in svg


def test_png_is_a_png():
    assert draw_plan(make_plan(CASE), "png").startswith(b"\x89PNG\r\n\x1a\n")


def test_candidates_that_agree_share_one_curve():
    together = replace(CASE, spread=replace(CASE.spread, optic_rest="opening"))
    words = words_in(draw_plan(make_plan(together)))
    assert "visual axis, lens centre, pupil centre, limbus centre" in words


def test_a_refused_plan_is_not_drawn():
    with pytest.raises(ValueError, match="refused"):
        draw_plan(make_plan(replace(CASE, age_years=7.0)))
