"""What a cut leaves in a surgeon's own eyes, from the command line."""

import json
import math
import statistics
from pathlib import Path

import pytest

from rimwise.casebook.planning import PlanFiles, plan_case
from rimwise.terms.errors import WrongInput

CASE = """
code = "E-1"
side = "right"
age_years = {age}
corneal_surgery = "none"
[lengths]
axial_mm = 22.0
chamber_depth_mm = 3.0
[implant]
optic_diameter_mm = 6.0
[opening]
centre = "lens"
diameter_mm = 5.25
{more}
"""
CUTS = ((5.0, 5.21), (5.0, 5.30), (5.2, 5.45), (4.9, 5.13))


def write(folder: Path, more: str = "", age: int = 70) -> Path:
    path = folder / "E-1.toml"
    path.write_text(CASE.format(more=more, age=age), encoding="utf-8")
    return path


@pytest.fixture
def cuts(tmp_path):
    path = tmp_path / "cuts.csv"
    rows = "\n".join(f"{one},{other}" for one, other in CUTS)
    path.write_text(f"cut_mm,left_mm\n{rows}\n", encoding="utf-8")
    return path


def cut_of(case: Path, cuts: Path | None):
    files = PlanFiles(json=case.with_suffix(".json"), contrast=False)
    plan_case(case, files=files, cuts=cuts)
    return json.loads(case.with_suffix(".json").read_text())["results"][0]["cut"]


def test_own_eyes_say_what_to_set(tmp_path, cuts):
    told = cut_of(write(tmp_path), cuts)
    ratios = [left / made for made, left in CUTS]
    ratio, scatter = statistics.mean(ratios), statistics.stdev(ratios)
    assert told["cut_mm"] == pytest.approx(5.25 / ratio)
    assert told["left_mm"]["value"] == pytest.approx(5.25)
    # Another eye: the scatter between eyes, and the doubt of a mean of four.
    assert told["left_mm"]["sd"] == pytest.approx(scatter * math.sqrt(1.25) * 5.25 / ratio)
    assert told["left_mm"]["from"] == "4 own eyes"


def test_the_sheet_outranks_the_table_and_the_table_the_published_relation(tmp_path, cuts):
    published = cut_of(write(tmp_path), None)
    assert published["cut_mm"] == pytest.approx(5.25 - 0.33)
    sheet = cut_of(write(tmp_path, "stretch_ratio = 1.1"), cuts)
    assert sheet["cut_mm"] == pytest.approx(5.25 / 1.1)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("cut_mm\n5.0\n5.0\n5.0\n", "no column left_mm"),
        ("cut_mm,left_mm,eye\n5.0,5.2,1\n", "'eye'"),
        ("cut_mm,left_mm\n5.0,52\n", "row 2: left_mm is '52'"),
        ("cut_mm,left_mm\n5.0,5.2\n5.0,5.3\n", "3 pairs or more"),
    ],
)
def test_a_wrong_table_is_told(tmp_path, text, words):
    path = tmp_path / "cuts.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongInput, match=words):
        cut_of(write(tmp_path), path)


def test_a_child_has_no_plan_but_the_published_relation_is_told(tmp_path, cuts):
    """1.177 - 0.052 x chamber depth + 0.009 x axial length: from memory, and said so."""
    planned = plan_case(write(tmp_path, age=7), files=PlanFiles(contrast=False), cuts=cuts)
    assert planned.plan.cut is None
    (told,) = [one for one in planned.plan.warnings if one.code == "child-stretch"]
    assert f"{1.177 - 0.052 * 3.0 + 0.009 * 22.0:.2f} times" in told.sentence
    assert "from memory" in told.sentence


def test_the_technique_says_whose_spread_stands_in(tmp_path):
    case = write(tmp_path)
    hand = plan_case(case, files=PlanFiles(contrast=False)).plan
    guided = plan_case(case, {"opening.technique": "guided"}, PlanFiles(contrast=False)).plan
    assert guided.spread.opening_from_target_sd_mm < hand.spread.opening_from_target_sd_mm
    assert "instrument" in guided.spread.origin
    assert guided.chosen.p_complete > hand.chosen.p_complete
