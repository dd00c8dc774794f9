"""The loop closes: what an audit says of a hand is what the next plan reckons with."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.store.book import Casebook, Who

CASE = """code = "E-1"
side = "left"
corneal_surgery = "none"
age_years = 70.0
[implant]
optic_diameter_mm = 6.0
[opening]
diameter_mm = 5.2
centre = "lens"
"""


def series(path: Path, sd_mm: float) -> Path:
    rng = np.random.default_rng(11)
    rows = ["opening_from_target_nasal_mm,opening_from_target_superior_mm,diameter_mm,"
            "target_diameter_mm"]  # fmt: skip
    for _ in range(200):
        x, y = rng.normal(0.0, sd_mm, 2)
        rows.append(f"{x:.3f},{y:.3f},{rng.normal(5.2, 0.1):.3f},5.2")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def run(*words: object) -> None:
    done = CliRunner().invoke(app, [str(one) for one in words])
    assert done.exit_code == 0, done.stderr


def chance(folder: Path, *more: object) -> float:
    out = folder / "plan.json"
    run("plan", folder / "E-1.toml", "--json", out, *more)
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    return float(entry["opening"]["p_complete"])


def test_a_steadier_hand_may_count_on_cover_more_often(tmp_path: Path) -> None:
    (tmp_path / "E-1.toml").write_text(CASE, encoding="utf-8")
    told = []
    for sd_mm in (0.08, 0.30):
        own = tmp_path / f"own-{sd_mm}.json"
        run("audit", series(tmp_path / f"{sd_mm}.csv", sd_mm), "--spread", own)
        told.append(chance(tmp_path, "--spread", own))
    assert told[0] > chance(tmp_path) > told[1]


def test_a_spread_in_the_case_sheet_outranks_the_file(tmp_path: Path) -> None:
    own_lines = (
        "[spread]\nopening_from_target_bias_mm = [0.0, 0.0]\n"
        "opening_from_target_sd_mm = [0.2, 0.2]\ndiameter_bias_mm = 0.0\ndiameter_sd_mm = 0.1\n"
        "optic_from_rest_sd_mm = [0.1, 0.1]\n"
    )
    (tmp_path / "E-1.toml").write_text(CASE + own_lines, encoding="utf-8")
    own = tmp_path / "own.json"
    run("audit", series(tmp_path / "eyes.csv", 0.05), "--spread", own)
    assert chance(tmp_path, "--spread", own) == pytest.approx(chance(tmp_path))


def test_what_is_no_spread_is_told(tmp_path: Path) -> None:
    (tmp_path / "E-1.toml").write_text(CASE, encoding="utf-8")
    words = ["plan", str(tmp_path / "E-1.toml"), "--spread", str(tmp_path / "E-1.toml")]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert "is no spread that rimwise audit --spread wrote" in done.stderr


def book_of(folder: Path) -> Path:
    """A casebook of 30 operated eyes that a steady hand centred on the pupil, 0.1 mm nasal."""
    rng = np.random.default_rng(12)
    with Casebook(folder) as book:
        for number in range(30):
            code, side = f"E-{number}", ("left" if number % 2 else "right")
            book.add_eye(code, side, Who("S-2"), f"P-{number}")
            book.set_consent(code, ("care",), Who("S-2"))
            book.put(code, "case", {"opening": {"centre": "pupil"}}, Who("S-2"))
            told = {"day": number, "surgeon": "S-2", "technique": "manual"}
            book.put(code, "operation", told, Who("S-2"))
            book.put(code, "plan", {"opening": {"diameter_mm": 5.2}}, Who("S-2"))
            cover = {
                "opening": {"equivalent_diameter_mm": {"value": rng.normal(5.2, 0.05), "sd": 0.02}},
                "decentration": {
                    "opening-from-optic": vector(*rng.normal((0.1, 0.0), 0.05)),
                    "optic-from-pupil": vector(0.0, 0.0),
                },
            }
            book.put(code, "cover", cover, Who("S-2"), slot="a")
    return folder


def vector(nasal_mm: float, superior_mm: float) -> dict[str, dict[str, float]]:
    return {
        "nasal_mm": {"value": nasal_mm, "sd": 0.02},
        "superior_mm": {"value": superior_mm, "sd": 0.02},
    }


def test_the_casebooks_own_spread_is_what_a_plan_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept by the audit, taken without a flag, said, and left where the person says so."""
    book = book_of(tmp_path / "book")
    monkeypatch.setenv("RIMWISE_CASEBOOK", str(book))
    (tmp_path / "cases").mkdir()
    case = tmp_path / "cases" / "E-1.toml"
    case.write_text(CASE, encoding="utf-8")
    before = chance(tmp_path / "cases")
    run("audit", "--casebook", "--spread", tmp_path / "own.json")
    told = json.loads((book / "spread.json").read_text(encoding="utf-8"))["results"][0]
    assert told["eyes"] == 30
    assert told["spread"]["opening_from_target_bias_mm"][0] == pytest.approx(0.1, abs=0.03)
    after = chance(tmp_path / "cases")
    assert after != before
    assert after == chance(tmp_path / "cases", "--spread", tmp_path / "own.json")
    assert before == chance(tmp_path / "cases", "--spread", "published")
    out = tmp_path / "plan.json"
    run("plan", case, "--json", out)
    warnings = json.loads(out.read_text(encoding="utf-8"))["results"][0]["warnings"]
    assert "own-spread" in [one["code"] for one in warnings]
    # A spread beside the cases is nearer than the casebook's.
    run("audit", series(tmp_path / "wide.csv", 0.3), "--spread", tmp_path / "cases" / "spread.json")
    assert chance(tmp_path / "cases") < after
