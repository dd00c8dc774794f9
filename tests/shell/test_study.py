"""A table of repeats: measured or told by hand, compared, drawn, with a sentence for a paper."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from rimwise.audit.repeats import Repeat, study_of
from rimwise.casebook.studying import measure_study
from rimwise.cli.main import app
from rimwise.report.study_words import methods_sentence, study_rows
from rimwise.stats.agreement import limits_of_agreement
from rimwise.terms.errors import WrongInput


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Twelve eyes measured twice by hand with an sd of 0.05 mm, and twice with one of 0.02 mm."""
    rng = np.random.default_rng(12)
    rows = ["eye,method,equivalent_diameter_mm"]
    for eye in range(12):
        true = rng.normal(5.2, 0.2)
        for method, sd in (("outline by hand", 0.05), ("curve", 0.02)):
            rows += [f"E-{eye},{method},{rng.normal(true, sd):.4f}" for _ in range(2)]
    path = tmp_path / "study.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_table_of_numbers_is_compared(table: Path) -> None:
    study = measure_study(table, {})
    hand, curve = study.numbers
    assert (hand.method, curve.method) == ("outline by hand", "curve")
    assert hand.repeatability.subjects == 12
    # Chi-square of 12 degrees of freedom: the 99 % range of a ratio of sds.
    assert 0.02 < hand.repeatability.within_sd.value < 0.09
    assert curve.repeatability.within_sd.value < hand.repeatability.within_sd.value
    assert hand.reliability.one.value > 0.8
    assert hand.eyes_needed == 49
    (pair,) = hand.agreements
    assert pair.limits.lower.value < 0.0 < pair.limits.upper.value
    assert len(study_rows(study.numbers)) == 7


def test_single_measurements_by_two_methods_give_the_plain_limits() -> None:
    rng = np.random.default_rng(3)
    rows, differences = [], []
    for eye in range(20):
        first, second = rng.normal(5.0, 0.2), rng.normal(5.0, 0.2)
        rows.append(Repeat(str(eye), "one", {"area_mm2": first}))
        rows.append(Repeat(str(eye), "other", {"area_mm2": second}))
        differences.append(first - second)
    (told,) = study_of(rows)
    assert told.repeatability is None
    assert told.agreements[0].limits == limits_of_agreement(differences)


def test_the_sentence_names_numbers_intervals_and_eyes(table: Path) -> None:
    words = methods_sentence(measure_study(table, {}).numbers)
    assert "Repeatability (1.96·√2·Sw) of opening (capsulotomy) diameter" in words
    assert "12 eyes, 24 measurements" in words
    assert "95 % limits of agreement" in words


def test_the_command_prints_and_draws(table: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["measure", "--study", str(table), "--drawing", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert "within-subject SD" in done.output
    assert "For the methods section" in done.output
    drawn = (tmp_path / "study-equivalent_diameter_mm-1.png").read_bytes()
    assert drawn[1:4] == b"PNG"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("eye,colour\nE-1,blue\n", "has the columns"),
        ("eye,area_mm2\n,20\n", "without an eye"),
        ("eye,area_mm2\nE-1,large\n", "no number"),
        ("eye,area_mm2\nE-1,20\nE-2,21\n", "measured twice"),
        # Own bounds: optics measure at most 7.5 mm (docs/sheets.md), a bag some 10 mm.
        ("eye,equivalent_diameter_mm\nE-1,5.1\nE-1,-5.1\n", r"\(row 3\) is '-5.1'.*0.5 to 10"),
        ("eye,equivalent_diameter_mm\nE-1,51\nE-1,5.1\n", r"\(row 2\) is '51'"),
        ("eye,area_mm2\nE-1,nan\nE-1,20\n", "no number"),
        ("eye,area_mm2\nE-1,inf\nE-1,20\n", "none of an eye"),
        ("eye,least_cover_mm\nE-1,9\nE-1,0.3\n", "from -3 to 3.75"),
        ("eye,opening_from_optic_nasal_mm\nE-1,0.1\n\nE-1,44\n", r"\(row 4\)"),
        ("eye,least_cover_mm,mean_cover_mm\nE-1,0.4,0.3\nE-1,0.3,0.4\n", "row 2 the least cover"),
        ("eye,picture,area_mm2\nE-1,a.jpg,20\nE-1,b.jpg,\n", "row of their own"),
    ],
)
def test_a_table_that_is_no_study_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongInput, match=words):
        measure_study(path, {})


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (("E-1,a.png,,", "E-1,a.png,,"), r"row 2 and row 3 hold the same picture \(a.png\)"),
        (("E-1,a.png,,", "E-1,copy.png,,"), r"row 2 and row 3 hold the same.*a.png and copy.png"),
        (("E-1,a.png,,one", "E-1,a.png,,two"), "no repeat"),
        (("E-1,a.png,a.json,one", "E-1,copy.png,b.json,two"), "with the same points"),
        (("E-1,a.png,,", "E-2,copy.png,,"), "row 2 and row 3 name the same.*for E-1 and E-2"),
    ],
)
def test_one_picture_is_no_repeat_of_itself(tmp_path: Path, rows, words: str) -> None:
    """Two measurements of one file differ by nothing: that tells nothing of repeats."""
    for name in ("a.png", "copy.png"):
        Image.fromarray(np.full((8, 8, 3), 90, dtype=np.uint8)).save(tmp_path / name)
    for name in ("a.json", "b.json"):
        (tmp_path / name).write_text('{"swap": true}', encoding="utf-8")
    path = tmp_path / "study.csv"
    path.write_text("\n".join(("eye,picture,points,method", *rows)) + "\n", encoding="utf-8")
    with pytest.raises(WrongInput, match=words):
        measure_study(path, {})


def test_pictures_of_the_table_are_measured(tmp_path: Path) -> None:
    rows = "eye,picture\nE-1,none.jpg\nE-1,also.jpg\n"
    (tmp_path / "study.csv").write_text(rows, encoding="utf-8")
    with pytest.raises(WrongInput, match="measured twice"):
        measure_study(tmp_path / "study.csv", {})


def test_a_study_takes_no_other_pictures(table: Path) -> None:
    done = CliRunner().invoke(app, ["measure", "eye.jpg", "--study", str(table)])
    assert done.exit_code == 2
    assert CliRunner().invoke(app, ["measure"]).exit_code == 2


def test_the_study_is_written_as_json_and_as_a_table(table: Path, tmp_path: Path) -> None:
    for name in ("study.json", "out.csv"):
        done = CliRunner().invoke(
            app, ["measure", "--study", str(table), "--json", str(tmp_path / name)]
        )
        assert done.exit_code == 0, done.output
    (document,) = json.loads((tmp_path / "study.json").read_text(encoding="utf-8"))["results"]
    assert document["schema"] == "rimwise.study/1"
    (hand,) = (
        one
        for one in document["statistics"]
        if one["statistic"] == "repeatability" and one["method"] == "outline by hand"
    )
    study = measure_study(table, {})
    assert hand["value"] == pytest.approx(study.numbers[0].repeatability.limit.value, abs=1e-6)
    assert hand["low"] < hand["value"] < hand["high"]
    assert "Repeatability" in document["methods_sentence"]
    with (tmp_path / "out.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["statistic"] for row in rows] == [
        one["statistic"] for one in document["statistics"]
    ]
    assert {row["against"] for row in rows} == {"", "curve"}


def test_an_outline_drawn_by_hand_is_measured_by_itself(tmp_path: Path) -> None:
    """Three pictures of noise with two outlines each: 5.0 and 5.1 mm in an optic of 6 mm."""
    turn = np.radians(np.arange(0, 360, 20))
    rows = ["eye,picture,points,method"]
    rng = np.random.default_rng(5)
    for eye in range(3):
        pixels = rng.integers(0, 256, (300, 400, 3), dtype=np.uint8)
        Image.fromarray(pixels).save(tmp_path / f"e{eye}.png")
        (tmp_path / f"e{eye}.toml").write_text('side = "left"\noptic_diameter_mm = 6.0\n')
        for name, radius in (("one", 100.0), ("two", 102.0)):
            points = {
                key: np.column_stack([200 + r * np.cos(turn), 150 - r * np.sin(turn)]).tolist()
                for key, r in (("optic_px", 120.0), ("opening_px", radius + 0.5 * eye))
            }
            (tmp_path / f"e{eye}-{name}.json").write_text(json.dumps(points))
            rows.append(f"E-{eye},e{eye}.png,e{eye}-{name}.json,{name}")
    path = tmp_path / "study.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    study = measure_study(path, {})
    (diameter,) = (
        one for one in study.numbers if one.name == "equivalent_diameter_mm" and one.agreements
    )
    # Two px of 120 px are 0.05 mm of radius: 0.1 mm of diameter.
    assert diameter.agreements[0].limits.mean.value == pytest.approx(-0.1, abs=0.005)
    assert study.left_out == ()
