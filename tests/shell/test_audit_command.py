"""``rimwise audit`` from the outside: tables in, numbers, pages and a spread out."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.exchange.spreads import read_spread
from rimwise.exchange.tables import read_series
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import WrongInput

HEAD = (
    "Patient ID,Side,technique,operation_day,Least cover,complete,diameter_mm,target_diameter_mm,"
    "opening_from_target_nasal_mm,opening_from_target_superior_mm,predicted_dpt,achieved_dpt"
)


def table(path: Path, eyes: int = 80) -> Path:
    """An invented series: two eyes a person, two ways of opening."""
    rng = np.random.default_rng(7)
    rows = [HEAD]
    for eye in range(eyes):
        cover = rng.normal(0.3, 0.2)
        cells = [
            f"P-{eye // 2}",
            "OD" if eye % 2 else "left",
            "manual" if eye % 4 < 2 else "guided",
            str(eye // 3),
            f"{cover:.3f}",
            "true" if cover > 0.0 else "false",
            f"{rng.normal(5.2, 0.2):.2f}",
            "5.2",
            f"{rng.normal(0.05, 0.2):.3f}",
            f"{rng.normal(0.0, 0.2):.3f}",
            "-0.25",
            f"{rng.normal(-0.25, 0.4):.2f}",
        ]
        rows.append(",".join(cells))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["audit", *(str(one) for one in words)])
    return done.exit_code, done.stdout, done.stderr


def test_a_table_becomes_numbers_page_tables_and_drawings(tmp_path: Path) -> None:
    eyes = table(tmp_path / "eyes.csv")
    page, folder, drawn = tmp_path / "a.html", tmp_path / "tables", tmp_path / "drawn"
    code, out, _ = run(
        eyes, "--charts", "--expected-bare", "0.1", "--page", page, "--tables", folder,
        "--drawing", drawn, "--compare", "technique=manual,guided",
    )  # fmt: skip
    assert code == 0
    assert "80 of 40 persons" in out
    assert CAUTIONS[0].split(".")[0] in out
    html = page.read_text(encoding="utf-8")
    assert all(caution in html for caution in CAUTIONS)
    assert "<script" not in html
    assert "https://" not in html.replace("http://www.w3.org", "")
    rows = list(csv.DictReader((folder / "cover.csv").read_text(encoding="utf-8").splitlines()))
    complete = rows[0]
    assert int(complete["count"]) / int(complete["n"]) == pytest.approx(float(complete["value"]))
    assert (drawn / "numbers.svg").read_bytes().startswith(b"<?xml")


def test_done_again_its_tables_and_drawings_are_the_same_bytes(tmp_path: Path) -> None:
    eyes = table(tmp_path / "eyes.csv")
    made = []
    for name in ("one", "two"):
        folder, told = tmp_path / name, tmp_path / f"{name}.json"
        code, _, _ = run(
            eyes, "--eyes", "random", "--seed", "5", "--charts", "--tables", folder,
            "--drawing", folder, "--json", told,
        )  # fmt: skip
        assert code == 0
        files = [*sorted(folder.iterdir()), told]
        made.append({one.name.replace(name, "a"): one.read_bytes() for one in files})
    assert made[0] == made[1]
    entry = json.loads(made[0]["a.json"])["results"][0]
    assert (entry["schema"], entry["seed"], entry["eyes"]) == ("rimwise.audit/1", 5, 40)


def test_a_spread_is_written_and_read_back(tmp_path: Path) -> None:
    eyes, own = table(tmp_path / "eyes.csv"), tmp_path / "own.json"
    code, out, _ = run(eyes, "--only", "technique=manual", "--spread", own)
    assert code == 0
    assert "Spread of 40 eyes, manual" in out
    spread = read_spread(own)
    assert 0.1 < spread.opening_from_target_sd_mm[0] < 0.3
    assert spread.origin == "own series of 40 eyes, manual"
    code, _, err = run(eyes, "--spread", own)
    assert code == 2
    assert "a spread is of one: add --only technique=guided" in err


def test_few_eyes_give_no_spread(tmp_path: Path) -> None:
    code, _, err = run(
        table(tmp_path / "few.csv", 8), "--only", "technique=manual", "--spread", tmp_path / "s"
    )
    assert code == 3
    assert "at least 10 eyes" in err
    assert not (tmp_path / "s").exists()


def test_wrong_cells_are_listed_and_left_out(tmp_path: Path) -> None:
    path = tmp_path / "eyes.csv"
    path.write_text(
        "person;side;Least cover;acuity\nP1;left;0,31;0.1\nP2;both;abc;0.0\nP3;right;31;NA\n"
        "P1;left;0,2;0\n",
        encoding="utf-8",
    )
    code, out, _ = run(path)
    assert code == 0
    flat = " ".join(out.split())
    assert "Least cover: 1 cell is no number, the first in row 3 ('abc')" in flat
    assert "Least cover: 1 value lies outside -3 to 3, the first in row 4 (31)" in flat
    assert "side: 1 cell says none of left, right" in flat
    assert "an eye that stood before" in flat
    series = read_series(path).series
    assert series.number("least_cover_mm")[0] == 0.31


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no table"),
        ("least_cover_mm\n", "holds no row"),
        ("a,b\n1,2\n", "has no heading that an audit knows"),
        ("least_cover_mm,Least cover\n1,2\n", "both mean least_cover_mm"),
        ("side\nleft\n", "none of the columns that an audit reads"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text, encoding="utf-8")
    code, out, err = run(path)
    assert code in {2, 3}
    assert says in err
    assert len(err.strip().splitlines()) == 1
    assert not out


def test_other_wrong_input(tmp_path: Path) -> None:
    eyes = table(tmp_path / "eyes.csv")
    for words, says in (
        (("--column", "least_cover=Side"), "no column that an audit knows; did you mean"),
        (("--column", "age_years=Sid"), "has no heading 'Sid'; did you mean 'Side'?"),
        (("--only", "surgeon=S"), "has no column surgeon"),
        (("--compare", "technique=manual,laser"), "no row has technique 'laser'"),
        (("--compare", "technique"), "NAME=FIRST,SECOND is needed"),
        (("--eyes", "three"), "is none of both, first and random"),
    ):
        code, _, err = run(eyes, *words)
        assert code == 2
        assert says in err
    code, _, err = run(tmp_path / "none.csv")
    assert code == 2
    assert "cannot be read" in err
    with pytest.raises(WrongInput, match="is no spread"):
        read_spread(eyes)


def test_percentages_of_a_printed_table(tmp_path: Path) -> None:
    path = tmp_path / "printed.csv"
    path.write_text("what,count,total,percent\na,60,94,67\nb,7938,8943,88.76\n", encoding="utf-8")
    code, out, err = run(path, "--recount")
    assert code == 3
    assert "60 of 94 printed as 67 %: the counts give 64 %" in out
    assert "1 of 2 percentages agree" in err


def test_a_recount_tells_what_cannot_be_and_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "printed.csv"
    path.write_text("count,total,percent\n9,4,225\n3,4,750\n3,4,75\n", encoding="utf-8")
    code, out, err = run(path, "--recount")
    assert code == 3
    assert "9 of 4 printed as 225 %: more than all of them cannot be" in out
    assert "3 of 4 printed as 750 %: the counts give 75 %" in out
    assert "1 of 3 percentages agree" in err
    path.write_text("count,total,percent\n1,4,25\n5,0,3\n", encoding="utf-8")
    code, _, err = run(path, "--recount")
    assert (code, "row 3 of" in err, "5 of 0 is no share" in err) == (2, True, True)


def test_the_list_of_columns(tmp_path: Path) -> None:
    code, out, _ = run("--columns")
    assert code == 0
    assert "least_cover_mm" in out
