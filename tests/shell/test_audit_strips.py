"""Cover strips of a series: nasal on nasal, tied to the rows, and what is withheld for sharing."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.audit.sharing import for_sharing
from rimwise.audit.strips import anatomical_strip, strips_of
from rimwise.casebook.series_of_book import series_from_book
from rimwise.cli.main import app
from rimwise.records.series import Audit, Series
from rimwise.store.book import Casebook, Who


def width(side: str, bare_nasal: bool) -> list[float | None]:
    """Cover of 0.3 mm, bare towards nasal if so, not seen straight above."""
    told: list[float | None] = [0.3] * 360
    nasal = 0 if side == "right" else 180
    if bare_nasal:
        for off in range(-10, 11):
            told[(nasal + off) % 360] = -0.1
    told[90] = None
    return told


def covers(path: Path, eyes: int = 30) -> Path:
    entries = [
        {
            "schema": "rimwise.cover/1",
            "picture": f"pictures/E-{eye}.jpg",
            "side": (side := "left" if eye % 2 else "right"),
            "cover": {"width_mm": width(side, eye < 6)},
        }
        for eye in range(eyes)
    ]
    path.write_text(json.dumps({"rimwise": "0", "results": entries}), encoding="utf-8")
    return path


def table(path: Path, eyes: int = 30) -> Path:
    rows = ["code,person,technique,least_cover_mm"]
    rows += [f"E-{eye},P-{eye // 2},{'ab'[eye % 3 > 0]},0.1" for eye in range(eyes)]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["audit", *(str(one) for one in words)])
    return done.exit_code, " ".join(done.stdout.split()), done.stderr


def test_nasal_lies_on_nasal() -> None:
    right, left = (anatomical_strip(width(one, True), one) for one in ("right", "left"))
    assert right[0] == left[0] == -0.1
    assert right[180] == left[180] == 0.3
    assert np.isnan(right[90])
    assert np.isnan(left[90])
    assert np.array_equal(right, left, equal_nan=True)


def test_strips_of_a_table_and_its_results(tmp_path: Path) -> None:
    (tmp_path / "o").mkdir()
    eyes, seen, folder = table(tmp_path / "t.csv"), covers(tmp_path / "c.json", 28), tmp_path / "o"
    code, out, _ = run(eyes, "--covers", seen, "--tables", folder, "--drawing", folder,
                       "--json", folder / "a.json", "--pdf", folder / "a.pdf")  # fmt: skip
    assert code == 0
    assert "2 of 30 rows have no measured picture" in out
    text = (folder / "cover-strips.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert (rows[0]["seen"], rows[0]["bare"]) == ("28", "6")
    assert (rows[90]["seen"], rows[90]["p50_mm"]) == ("0", "")
    assert rows[180]["p50_mm"] == "0.3000"
    assert (folder / "cover-strips.svg").read_bytes().startswith(b"<?xml")
    entry = json.loads((folder / "a.json").read_text(encoding="utf-8"))["results"][0]
    assert entry["cover_strips"]["eyes"] == 28
    assert "lines_mm" not in entry["cover_strips"]


def test_a_filter_of_rows_is_one_of_strips(tmp_path: Path) -> None:
    eyes, seen, told = table(tmp_path / "t.csv"), covers(tmp_path / "c.json"), tmp_path / "a.json"
    code, _, _ = run(eyes, "--covers", seen, "--only", "technique=a", "--json", told)
    assert code == 0
    entry = json.loads(told.read_text(encoding="utf-8"))["results"][0]
    assert entry["cover_strips"]["eyes"] == 10


@pytest.mark.parametrize(
    ("text", "says"),
    [("{", "is no JSON"), ('{"results": []}', "holds no measured cover")],
)
def test_wrong_results(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "c.json"
    path.write_text(text, encoding="utf-8")
    code, _, err = run(table(tmp_path / "t.csv"), "--covers", path)
    assert code == 2
    assert says in err


def test_sharing_withholds_single_eyes_and_bare_ones(tmp_path: Path) -> None:
    rows = np.stack([anatomical_strip(width("right", eye < 3), "right") for eye in range(25)])
    strips = strips_of(Series({}, {}, np.arange(25), strips_mm=rows))
    audit = Audit("t.csv", 25, 25, "", (), (), strips=strips)
    told = for_sharing(audit, 5)
    kept = told.audit.strips
    assert kept is not None
    assert (kept.lines_mm, kept.bare) == ((), ())
    assert kept.levels_mm[0][0] is None
    assert kept.levels_mm[2][180] == 0.3
    assert any("Cover strips" in one for one in told.withheld)
    assert for_sharing(audit, 7).audit.strips is None


def test_the_casebook_tells_its_strips(tmp_path: Path) -> None:
    who = Who("S-2")
    with Casebook(tmp_path / "book") as book:
        for number in range(3):
            code = f"E-{number}"
            book.add_eye(code, "left", who)
            book.set_consent(code, ("care",), who)
            book.put(code, "operation", {"day": number}, who)
            if number:
                cover = {"cover": {"width_mm": width("left", True)}}
                book.put(code, "cover", cover, who, slot="a")
        strips = strips_of(series_from_book(book).series)
    assert strips is not None
    assert (strips.eyes, strips.bare[0], strips.seen[90]) == (2, 2, 0)
