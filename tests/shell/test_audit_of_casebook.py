"""The casebook audited: the same numbers as from a table of the same eyes."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.casebook.series_of_book import series_from_book
from rimwise.cli.main import app
from rimwise.store.book import Casebook, Who
from rimwise.terms.errors import WrongInput

WHO = Who("S-2")


def filled(folder: Path, eyes: int = 12) -> Path:
    with Casebook(folder) as book:
        for number in range(eyes):
            code, side = f"E-{number}", ("left" if number % 2 else "right")
            book.add_eye(code, side, WHO, f"P-{number // 2}")
            book.set_consent(code, ("care",), WHO)
            book.put(
                code, "operation", {"day": number, "surgeon": "S-2", "technique": "manual"}, WHO
            )
            least = {"value": 0.1 + 0.01 * number, "sd": 0.02, "unit": "mm"}
            cover = {"cover": {"min_mm": least, "complete": True}}
            book.put(code, "cover", cover, WHO, slot="a")
            lens = {"sphere_dpt": -0.25, "cylinder_dpt": -0.5, "axis_deg": 90.0}
            book.put(code, "visit", {"day": 3, "acuity_logmar": 0.5}, WHO, slot="3")
            later = {"day": 90, "acuity_logmar": 0.1, "refraction": lens}
            book.put(code, "visit", later, WHO, slot="90")
        book.add_eye("E-not-operated", "left", WHO)
        book.set_consent("E-not-operated", ("care",), WHO)
        book.add_eye("E-no-consent", "left", WHO)
    return folder


def test_newest_records_make_a_row(tmp_path: Path) -> None:
    with Casebook(filled(tmp_path / "book")) as book:
        corrected = {"cover": {"min_mm": {"value": 0.5, "sd": 0.02}, "complete": False}}
        book.put("E-0", "cover", corrected, WHO, slot="a")
        read = series_from_book(book)
    series = read.series
    assert len(series) == 12
    assert len(set(series.person.tolist())) == 6
    assert [step.rows_out for step in read.flow] == [0, 1, 1]
    first = series.names["code"].names.index("E-0") == series.names["code"].codes
    assert series.number("least_cover_mm")[first].tolist() == [0.5]
    assert series.number("complete")[first].tolist() == [0.0]
    # The acuity of the third day is not the settled one.
    assert set(series.number("acuity_logmar").tolist()) == {0.1}
    assert set(series.number("followed_days").tolist()) == {90.0}


def test_the_command_audits_the_casebook(tmp_path: Path) -> None:
    folder = filled(tmp_path / "book")
    run = CliRunner().invoke
    done = run(app, ["audit", "--casebook", "--folder", str(folder)])
    assert done.exit_code == 0
    assert "12 of 6 persons" in done.stdout
    done = run(app, ["audit", "--casebook", "--folder", str(folder), "--only", "technique=laser"])
    assert done.exit_code == 2
    done = run(app, ["audit", "--casebook", "eyes.csv"])
    assert done.exit_code == 2
    assert "a table or the casebook" in done.stderr


def test_an_empty_casebook_is_told(tmp_path: Path) -> None:
    with Casebook(tmp_path / "book") as book, pytest.raises(WrongInput, match="no eye with an"):
        series_from_book(book)
