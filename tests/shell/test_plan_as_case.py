"""A plan's JSON where a case sheet is asked for."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.casebook.planning import PlanFiles, plan_case
from rimwise.casebook.series_of_book import series_from_book
from rimwise.cli.main import app
from rimwise.exchange.sheets import case_sheet_for, picture_sheet_for
from rimwise.store.book import Casebook, Who
from rimwise.terms.errors import WrongInput

CASE = """
code = "E-1"
side = "left"
corneal_surgery = "none"
[implant]
optic_diameter_mm = 6.25
[opening]
diameter_mm = 5.1
centre = "visual_axis"
[centres]
visual_axis_mm = [-0.2, 0.05]
sd_mm = 0.04
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    case, out = tmp_path / "E-1.toml", tmp_path / "plan.json"
    case.write_text(CASE, encoding="utf-8")
    plan_case(case, files=PlanFiles(json=out, contrast=False))
    return out


def test_it_says_what_the_case_sheet_said(plan):
    told, sheet = case_sheet_for(plan), case_sheet_for(plan.with_name("E-1.toml"))
    assert (told.code, told.side, told.corneal_surgery) == ("E-1", "left", "none")
    assert told.opening == sheet.opening
    assert told.implant.optic_diameter_mm == 6.25
    # The lens centre came from a prior and is not passed on as if it had been measured.
    assert told.centres == sheet.centres


def test_the_best_diameter_is_passed_on_where_none_was_wanted(plan):
    case = plan.with_name("E-1.toml")
    text = case.read_text(encoding="utf-8").replace("diameter_mm = 5.1\n", "", 1)
    spread = "[spread]\nopening_from_target_sd_mm = [0.05, 0.05]\ndiameter_sd_mm = 0.05\n"
    case.write_text(text.replace('"visual_axis"', '"lens"') + spread, encoding="utf-8")
    planned = plan_case(case, files=PlanFiles(json=plan, contrast=False)).plan
    assert planned.diameter_mm is not None
    assert case_sheet_for(plan).opening.diameter_mm == planned.diameter_mm


def test_a_picture_takes_its_ruler_and_side_from_it(plan):
    picture = plan.with_name("eye.jpg")
    sheet = picture_sheet_for(picture, {}, case=plan)
    assert (sheet.side, sheet.optic_diameter_mm, sheet.code) == ("left", 6.25, "E-1")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "holds no plan"),
        ('{"results": [{"schema": "rimwise.cover/1"}]}', "holds no plan"),
        ('{"results": [{"schema": "rimwise.plan/1"}]}', "damaged plan"),
        ('{"results": [{"schema": "rimwise.plan/1"}, {"schema": "rimwise.plan/1"}]}', "2 plans"),
    ],
)
def test_what_is_no_plan_is_told(tmp_path, text, words):
    path = tmp_path / "plan.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongInput, match=words):
        case_sheet_for(path)


def test_an_optic_is_placed_behind_the_planned_opening(plan, tmp_path):
    out, pages = tmp_path / "place.json", tmp_path / "pages"
    asked = ["place", str(plan), "--json", str(out), "--drawing", str(pages)]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 0
    (entry,) = json.loads(out.read_text())["results"]
    (planned,) = json.loads(plan.read_text())["results"]
    # Behind a circle the best place is its centre, and the margin the difference of the radii.
    law = planned["by_centre"]["visual_axis"]["opening_from_optic"]["mean"]
    best = entry["today"]["best"]
    assert best["centre"]["x_mm"] == pytest.approx(law["x_mm"], abs=1e-6)
    assert best["centre"]["y_mm"] == pytest.approx(law["y_mm"], abs=1e-6)
    assert entry["today"]["margin_mm"]["value"] == pytest.approx(0.5 * (6.25 - 5.1), abs=1e-6)
    assert entry["rest"]["p_complete"] == planned["opening"]["p_complete"]
    # The opening is aimed at the visual axis, so an optic centred there is covered best.
    curve = entry["trade_off"]["curve"]
    assert curve[0]["least_cover_mm"] == pytest.approx(0.5 * (6.25 - 5.1), abs=1e-3)
    assert len(list(pages.iterdir())) == 1
    assert "planned circle of 5.10 mm" in " ".join(done.stdout.split())


def test_a_plan_without_a_size_is_not_placed(plan):
    document = json.loads(plan.read_text())
    document["results"][0]["opening"]["diameter_mm"] = None
    plan.write_text(json.dumps(document))
    done = CliRunner().invoke(app, ["place", str(plan)])
    assert done.exit_code == 2
    assert "has no size about one centre" in done.stderr


def test_a_plan_is_not_planned_again(plan):
    with pytest.raises(WrongInput, match="made from a case sheet"):
        plan_case(plan)


def test_the_audit_counts_from_where_the_plan_meant_the_opening(plan, tmp_path):
    who, entry = Who("S-1"), json.loads(plan.read_text())["results"][0]
    vector = {"nasal_mm": {"value": 0.1, "sd": 0.02}, "superior_mm": {"value": 0.0, "sd": 0.02}}
    pairs = {"opening-from-optic": vector, "optic-from-limbus": vector}
    cover = {"opening": {"equivalent_diameter_mm": {"value": 5.3, "sd": 0.03}}}
    with Casebook(tmp_path / "book") as book:
        book.add_eye("E-1", "left", who)
        book.set_consent("E-1", ("care",), who)
        book.put("E-1", "operation", {"day": 0, "technique": "manual"}, who)
        book.put("E-1", "cover", cover | {"decentration": pairs}, who)
        book.put("E-1", "plan", entry, who)
        series = series_from_book(book).series
    assert series.number("target_diameter_mm").tolist() == [5.1]
    # Left eye: the axis lies 0.2 mm nasal and 0.05 mm superior, the opening 0.2 mm nasal.
    assert series.number("opening_from_target_nasal_mm").tolist() == pytest.approx([0.0])
    assert series.number("opening_from_target_superior_mm").tolist() == pytest.approx([-0.05])
