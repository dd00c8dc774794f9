"""What spoils a plan first: swings, limits, words and the drawing."""

import json
import math
import time
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.eye.build import eye_model
from rimwise.eye.refraction import narrow_refraction
from rimwise.plan.make import make_plan
from rimwise.plan.margin import plan_margin
from rimwise.plan.traced import placed_record, trace_power
from rimwise.plan.traced_eye import traced_eye
from rimwise.records.case import CaseLengths, CaseSheet, OpeningWish, PlannedImplant, Spread
from rimwise.records.picture import CorneaSheet
from rimwise.report.margin_drawing import draw_margin, margin_description
from rimwise.report.plan_words import plan_table
from rimwise.terms.cautions import CAUTIONS

HAND = Spread((0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.05, 0.05), "opening")
CASE = CaseSheet(
    "E-1",
    "right",
    "none",
    age_years=70.0,
    cornea=CorneaSheet(7.8, thickness_um=545.0),
    lengths=CaseLengths(23.6, 3.15, 4.5),
    implant=PlannedImplant(6.0, 21.0, index=1.49),
    opening=OpeningWish(5.2, "lens"),
    spread=HAND,
)


def limit(plan, thing, target):
    return next(
        one.value for one in plan.margin.allowed if (one.thing, one.target) == (thing, target)
    )


def test_a_source_that_is_gone_gives_what_a_plan_without_it_gives():
    margin = make_plan(CASE).margin
    swings = {one.source: one for one in margin.cover}
    assert set(swings) == {"centring-scatter", "rest-scatter", "size-scatter"}
    for factor, field in ((0.0, "p_without"), (2.0, "p_doubled")):
        hand = replace(HAND, opening_from_target_sd_mm=(0.2 * factor, 0.2 * factor))
        other = make_plan(replace(CASE, spread=hand))
        assert getattr(swings["centring-scatter"], field) == other.chosen.p_complete
    assert margin.weakest_of_cover == "centring-scatter"
    assert margin.cover[0].source == "centring-scatter"


def test_an_opening_moved_or_widened_to_its_limit_just_touches():
    plan = make_plan(CASE)
    centring, size = (limit(plan, one, "complete-cover") for one in ("centring", "size"))
    assert 5.2 / 2 + centring == pytest.approx(3.0)
    assert (5.2 + size) / 2 == pytest.approx(3.0)
    assert limit(plan, "centring", "least-cover") == pytest.approx(centring - 0.25)


def test_a_helpful_bias_towards_small_openings_is_not_the_weakest():
    small = replace(HAND, diameter_bias_mm=-0.4, opening_from_target_sd_mm=(0.02, 0.02))
    margin = make_plan(replace(CASE, spread=small)).margin
    assert next(one for one in margin.cover if one.source == "size-bias").p_without < (
        margin.p_complete
    )
    assert margin.weakest_of_cover != "size-bias"


def test_the_limits_of_the_refraction_are_the_traced_eye_s():
    """A traced eye with its implant off by the limit is half a dioptre from the expected one.

    The slope's straight line is told as such: 5 % of half a dioptre.
    """
    plan, eye = make_plan(CASE), traced_eye(CASE)
    expected = trace_power(eye, CASE, 21.0).refraction_dpt.value
    record = placed_record(eye, CASE, 21.0)
    for name, thing in (
        ("lens_front_depth_mm", "implant-depth"),
        ("axial_mm", "axial-length"),
    ):
        off = limit(plan, thing, "refraction")
        moved = replace(record.numbers[name], value=record.value(name) + off)
        model = eye_model(replace(record, numbers=record.numbers | {name: moved}))
        found = narrow_refraction(model, (0.0, 0.0)).mean_dpt
        found /= 1.0 + 0.012 * found
        assert abs(found - expected) == pytest.approx(0.5, rel=0.05)


def test_tilt_is_worth_what_thin_lenses_say():
    """A tilted thin lens of power F has a cylinder F·tan² of the tilt (textbook form, from memory).

    So only the order of size is checked against it; the traced limit itself is exact.
    """
    plan, eye = make_plan(CASE), traced_eye(CASE)
    tilt = limit(plan, "tilt", "refraction")
    model = eye_model(placed_record(eye, CASE, 21.0))
    tilted = narrow_refraction(model.with_lens((math.radians(tilt), 0.0), (0.0, 0.0)), (0.0, 0.0))
    upright = narrow_refraction(model, (0.0, 0.0))
    change = max(abs(tilted.cylinder_dpt), abs(tilted.mean_dpt - upright.mean_dpt))
    assert change == pytest.approx(0.5, abs=2e-3)
    assert 0.25 < 0.7 * 21.0 * math.tan(math.radians(tilt)) ** 2 < 1.0


def test_a_weak_implant_may_tilt_as_far_as_was_looked():
    weak = replace(CASE, implant=PlannedImplant(6.0, 1.0, index=1.49))
    one = next(one for one in make_plan(weak).margin.allowed if one.thing == "tilt")
    assert one.at_least
    assert one.value == 20.0


def test_among_weak_powers_the_trace_passes_through_none_smoothly():
    weak = replace(CASE, implant=PlannedImplant(6.0, 1.0, index=1.49))
    left = [one.refraction_dpt.value for one in make_plan(weak).refraction]
    powers = [one.power_dpt for one in make_plan(weak).refraction]
    assert 0.0 in powers
    steps = np.diff(left)
    assert steps == pytest.approx(steps.mean(), rel=0.1)


def test_a_toric_implant_turned_to_its_limit_adds_half_a_dioptre():
    cornea = CorneaSheet(None, 7.9, 7.5, 90.0, 545.0)
    toric = replace(
        CASE,
        cornea=cornea,
        implant=PlannedImplant(6.0, 21.0, 2.25, 1.49, {"a_constant": 118.4}),
    )
    plan = make_plan(toric)
    step = next(one for one in plan.toric.steps if one.cylinder_dpt == 2.25)
    cylinder = step.cost_dpt_per_deg / (2.0 * math.sin(math.radians(1.0)))
    turn = limit(plan, "rotation", "refraction")
    assert 2.0 * cylinder * math.sin(math.radians(turn)) == pytest.approx(0.5, rel=1e-3)


def test_a_refused_opening_keeps_the_margin_of_its_refraction_only():
    loose = make_plan(replace(CASE, risks=("weak-zonule",)))
    assert loose.margin.cover == ()
    assert loose.margin.p_complete is None
    assert loose.margin.refraction
    assert make_plan(replace(CASE, age_years=9.0)).margin is None
    with pytest.raises(ValueError, match="no margin"):
        draw_margin(make_plan(replace(CASE, age_years=9.0)))


def test_what_is_lost_already_is_said_and_no_limit_is_negative():
    wide = make_plan(replace(CASE, opening=OpeningWish(5.9, "lens")))
    assert min(one.value for one in wide.margin.allowed) == 0.0
    rows = {row[0]: row[1] for row in plan_table(wide)}
    assert rows["Until cover falls below 0.25 mm"] == "nothing is left"
    assert rows["Until some part is bare"].startswith("centring off by 0.05 mm")


def test_the_drawing_is_the_same_each_time_and_says_all_in_words():
    plan = make_plan(CASE)
    svg = draw_margin(plan)
    assert svg == draw_margin(make_plan(CASE))
    words = " ".join(" ".join(ET.fromstring(svg).itertext()).split())
    assert CAUTIONS[0] in words
    assert margin_description(plan.margin) in words
    assert b"dc:date" not in svg
    assert draw_margin(plan, "png").startswith(b"\x89PNG")


def test_the_command_draws_the_tornado_and_tells_the_margin(tmp_path: Path):
    sheet = tmp_path / "E-1.toml"
    sheet.write_text(
        'code = "E-1"\nside = "left"\ncorneal_surgery = "none"\nage_years = 70.0\n'
        "[implant]\noptic_diameter_mm = 6.0\n[opening]\ndiameter_mm = 5.0\ncentre = 'lens'\n",
        encoding="utf-8",
    )
    out, drawing = tmp_path / "plan.json", tmp_path / "first.svg"
    done = CliRunner().invoke(
        app, ["plan", str(sheet), "--tornado", str(drawing), "--json", str(out)]
    )
    assert done.exit_code == 0, done.stderr
    assert drawing.read_bytes().startswith(b"<?xml")
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    assert entry["margin"]["weakest_of_cover"] == "centring-scatter"
    assert entry["margin"]["formula"] is None
    wrong = CliRunner().invoke(app, ["plan", str(sheet), "--tornado", str(tmp_path / "x.pdf")])
    assert wrong.exit_code == 2


def test_a_margin_is_quick():
    plan = make_plan(CASE)
    spent = []
    for _ in range(3):
        start = time.process_time()
        plan_margin(CASE, plan)
        spent.append(time.process_time() - start)
    # The whole plan may take two seconds; this is a small part of it.
    assert np.min(spent) < 0.5
