"""The audit in print, passed on, and by surgeon: from the command line."""

import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pypdf
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.terms.cautions import CAUTIONS

HEAD = "person,surgeon,operation_day,least_cover_mm,complete,opening_from_target_nasal_mm,"
HEAD += "opening_from_target_superior_mm,complications"
FEWEST = 5


def table(path: Path, bare_of_third: float = 0.5, torn: int = 2) -> Path:
    """An invented series of three surgeons, one of whom covers half of the optics."""
    rng = np.random.default_rng(3)
    rows = [HEAD]
    for eye in range(180):
        third = eye % 3 == 2
        bare = rng.random() < (bare_of_third if third else 0.08)
        cells = [
            f"P-{eye}", f"S-{eye % 3 + 1}", str(eye), f"{-0.1 if bare else 0.3:.2f}",
            "false" if bare else "true", f"{rng.normal(0.05, 0.2):.3f}",
            f"{rng.normal(0.0, 0.2):.3f}", "torn bag" if eye < torn else "",
        ]  # fmt: skip
        rows.append(",".join(cells))
    rows.append(rows[1])
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["audit", *(str(one) for one in words)])
    return done.exit_code, done.stdout, done.stderr


def test_the_pdf_says_what_the_tables_say_and_is_the_same_twice(tmp_path: Path) -> None:
    eyes, made = table(tmp_path / "eyes.csv"), []
    for name in ("one.pdf", "two.pdf"):
        code, _, _ = run(eyes, "--pdf", tmp_path / name, "--charts", "--tables", tmp_path / "t")
        assert code == 0
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made[0])).pages)
    flat = re.sub(r"\s+", " ", text)
    assert all(re.sub(r"\s+", " ", one) in flat for one in CAUTIONS)
    rows = list(csv.DictReader((tmp_path / "t" / "cover.csv").read_text("utf-8").splitlines()))
    assert f"{rows[0]['count']} of {rows[0]['n']}" in flat
    assert "SHA-256" in flat
    assert "Wilson intervals" in flat


@pytest.mark.parametrize(("kind", "starts"), [("png", b"\x89PNG"), ("pdf", b"%PDF"), ("svg", b"<")])
def test_drawings_are_exported_singly(tmp_path: Path, kind: str, starts: bytes) -> None:
    eyes = table(tmp_path / "eyes.csv")
    made = []
    for name in ("a", "b"):
        code, _, _ = run(eyes, "--drawing", tmp_path / name, "--drawing-as", kind)
        assert code == 0
        made.append((tmp_path / name / f"flow.{kind}").read_bytes())
    assert made[0] == made[1]
    assert made[0].startswith(starts)
    code, _, err = run(eyes, "--drawing", tmp_path / "c", "--drawing-as", "bmp")
    assert code == 2
    assert "svg, png or pdf is allowed" in err


def test_a_funnel_names_who_lies_outside(tmp_path: Path) -> None:
    told = tmp_path / "a.json"
    code, out, _ = run(table(tmp_path / "eyes.csv"), "--funnel", "surgeon", "--json", told)
    assert code == 0
    assert "outside the 99.8 % limits: S-3" in out
    funnel = json.loads(told.read_text(encoding="utf-8"))["results"][0]["funnel"]
    assert [one["outside"] for one in funnel["points"]][2] == 99
    code, _, err = run(tmp_path / "eyes.csv", "--funnel", "clinic")
    assert code == 2
    assert "no column of names called clinic" in err


def test_nothing_small_can_be_read_from_a_shared_audit(tmp_path: Path) -> None:
    told, tables = tmp_path / "a.json", tmp_path / "t"
    eyes = table(tmp_path / "eyes.csv", bare_of_third=0.0)
    code, out, _ = run(
        eyes, "--share", str(FEWEST), "--json", told, "--tables", tables, "--charts",
        "--funnel", "surgeon", "--drawing", tmp_path / "d",
    )  # fmt: skip
    assert code == 0
    assert "withheld for sharing" in out
    entry = json.loads(told.read_text(encoding="utf-8"))["results"][0]
    for part in entry["parts"]:
        counts = {}
        for one in part["figures"]:
            if one["count"] is not None:
                counts[one["name"]] = one["count"]
                assert not 0 < one["count"] < FEWEST, one
                assert not 0 < one["n"] - one["count"] < FEWEST, one
        apart = [abs(a - b) for a in counts.values() for b in counts.values()]
        assert part["key"] == "complications" or not any(0 < few < FEWEST for few in apart)
    assert all(not 0 < one["rows_out"] < FEWEST for one in entry["flow"])
    assert entry["charts"] == []
    assert entry["findings"] == []
    # Points stand for single eyes; ellipses remain.
    cloud = (tmp_path / "d" / "centring-opening_from_target.svg").read_text(encoding="utf-8")
    assert "0 eyes as points" in cloud


def test_sharing_below_two_is_no_sharing(tmp_path: Path) -> None:
    code, _, err = run(table(tmp_path / "eyes.csv"), "--share", "1")
    assert code == 2
    assert "2" in err


def test_every_table_is_written_and_printed(tmp_path: Path) -> None:
    """Comparison, charts and surgeons: in the page, and each as CSV, the same bytes again."""
    rng = np.random.default_rng(5)
    rows = ["person,surgeon,technique,operation_day,least_cover_mm,complete"]
    for eye in range(60):
        cover = rng.normal(0.3, 0.2)
        rows.append(
            f"P-{eye // 2},S-{eye % 3},{'ab'[eye % 2]},{eye},{cover:.3f},{str(cover > 0).lower()}"
        )
    path = tmp_path / "eyes.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    made = []
    for name in ("one", "two"):
        folder, page = tmp_path / name, tmp_path / f"{name}.html"
        words = ["audit", path, "--compare", "technique=a,b", "--charts", "--expected-bare", "0.1",
                 "--funnel", "surgeon", "--tables", folder, "--page", page]  # fmt: skip
        assert CliRunner().invoke(app, [str(one) for one in words]).exit_code == 0
        made.append({one.name: one.read_bytes() for one in sorted(folder.iterdir())})
    assert made[0] == made[1]
    assert {"flow.csv", "comparison.csv", "charts.csv", "funnel-limits.csv", "cover.csv",
            "chart-least-cover.csv"} <= set(made[0])  # fmt: skip
    lines = made[0]["comparison.csv"].decode("utf-8").splitlines()
    assert lines[0].startswith("outcome,unit,a,b,difference,95 % interval")
    html = page.read_text(encoding="utf-8")
    for title in ("b less a", "Charts in the order of operation", "Each surgeon about all eyes"):
        assert title in html
    assert len(made[0]["chart-least-cover.csv"].splitlines()) == 61
