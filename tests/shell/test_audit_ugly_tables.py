"""Tables as clinics export them: other languages, encodings, units, dates, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

from rimwise.exchange.tables import ReadTable, read_series, series_from_bytes
from rimwise.terms.errors import WrongInput

GERMAN = (
    "Patient-ID;Auge;Technik;OP-Datum;Minimale Überlappung (µm);Durchmesser;Visus logMAR;"
    "Vollständig bedeckt\r\n"
    "P1;RA;manuell;13.1.2024;250;5,1;0,10;ja\r\n"
    "P1;LA;manuell;14.2.2024;-50;5.2;HBW;nein\r\n"
    ";;;;;;;\r\n"
    "P2;links;Laser;1.3.2024;k.A.;5,3 mm;0,00;\r\n"
)


def read(text: str, encoding: str = "utf-8") -> ReadTable:
    return series_from_bytes(text.encode(encoding), "t.csv")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_a_german_table(encoding: str) -> None:
    told = read(GERMAN, encoding)
    series = told.series
    assert series.number("least_cover_mm").tolist() == pytest.approx([0.25, -0.05, np.nan],
                                                                     nan_ok=True)  # fmt: skip
    assert series.number("diameter_mm").tolist() == [5.1, 5.2, 5.3]
    assert series.number("operation_day").tolist() == [0.0, 32.0, 48.0]
    assert series.number("complete").tolist() == pytest.approx([1.0, 0.0, np.nan], nan_ok=True)
    assert series.names["acuity_category"].names == ("hand-motion",)
    assert [series.names["side"].names[one] for one in series.names["side"].codes] == [
        "right", "left", "left",
    ]  # fmt: skip
    assert ("empty rows", 1) in [(one.reason, one.rows_out) for one in told.flow]
    assert any("Windows-1252" in one for one in told.findings) == (encoding == "cp1252")


def test_a_french_table() -> None:
    told = read("N° patient;Œil;Recouvrement minimal (mm);Âge\nA;droit;0,2;70\nA;gauche;0,3;70\n")
    assert dict(told.mapped.columns) == {
        "person": "N° patient", "side": "Œil", "least_cover_mm": "Recouvrement minimal (mm)",
        "age_years": "Âge",
    }  # fmt: skip
    assert told.series.number("least_cover_mm").tolist() == [0.2, 0.3]


def test_lines_above_the_headings_and_the_row_of_a_wrong_cell() -> None:
    told = read("Export of the clinic\n\nleast_cover_mm,side,x\n0.1,left,\n,,\nabc,right,\n")
    assert "2 lines above the headings: left out" in told.findings
    # Counted in the file: title, empty line, headings, 0.1, empty row, abc.
    assert any("the first in row 6 ('abc')" in one for one in told.findings)


def test_an_eye_column_with_sides_is_the_side() -> None:
    assert read("Eye,Least cover\nOD,0.1\nOS,0.2\n").mapped.columns["side"] == "Eye"
    assert read("Eye,Least cover\nE-1,0.1\nE-2,0.2\n").mapped.columns["code"] == "Eye"


def test_days_and_months_that_could_be_the_other_way_are_not_guessed() -> None:
    either = read("date of surgery,Least cover\n01/02/2024,0.1\n03/04/2024,0.2\n")
    assert not either.series.has("operation_day")
    assert any("date of surgery: 2 cells are no number" in one for one in either.findings)
    clear = read("date of surgery,Least cover\n01/13/2024,0.1\n01/15/2024,0.2\n")
    assert clear.series.number("operation_day").tolist() == [0.0, 2.0]
    iso = read("date of surgery,Least cover\n2024-02-01,0.1\n2024-03-01,0.2\n")
    assert iso.series.number("operation_day").tolist() == [0.0, 29.0]


def test_plus_cylinders_are_written_as_minus_cylinders() -> None:
    # Sphere -0.50 with +1.00 at 10° is sphere +0.50 with -1.00 at 100°: the same lens.
    told = read("sphere,cylinder,axis\n-0.50,+1.00,10\n0.25,-0.50,90\n")
    assert told.series.number("sphere_dpt").tolist() == [0.5, 0.25]
    assert told.series.number("cylinder_dpt").tolist() == [-1.0, -0.5]
    assert told.series.number("axis_deg").tolist() == [100.0, 90.0]
    assert any("1 plus cylinders" in one for one in told.findings)
    alone = read("cylinder,Least cover\n+1.00,0.1\n-0.50,0.1\n")
    assert alone.series.number("cylinder_dpt").tolist() == pytest.approx([np.nan, -0.5],
                                                                        nan_ok=True)  # fmt: skip


def test_acuity_as_fraction_and_decimal() -> None:
    told = read("Snellen,Least cover\n20/200,0.1\n6/6,0.2\n0.5,0.2\nCF,0.1\n")
    letters = told.series.number("acuity_logmar")
    assert letters.tolist() == pytest.approx([1.0, 0.0, 0.30103, np.nan], abs=1e-5, nan_ok=True)
    assert told.series.names["acuity_category"].names == ("counting-fingers",)


def test_headings_that_say_what_and_not_which_are_not_guessed() -> None:
    told = read("BCVA,Dezentrierung nasal,Least cover (%),least_cover_mm\n0.8,0.1,7,0.1\n")
    assert set(told.mapped.columns) == {"least_cover_mm"}
    flat = " ".join(told.findings)
    assert "'BCVA' says no scale" in flat
    assert "does not say which centre from which" in flat
    assert "'Least cover (%)' is in percent" in flat


def test_a_comma_that_could_part_thousands_is_no_decimal_sign() -> None:
    told = read('Least cover (µm),x\n"1,234",\n56.5,\n')
    assert told.series.number("least_cover_mm").tolist() == pytest.approx([np.nan, 0.0565],
                                                                         nan_ok=True)  # fmt: skip


def test_micrometres_in_a_column_of_millimetres_are_left_out_and_named() -> None:
    told = read("least_cover_mm,x\n0.2,\n250,\n120 µm,\n")
    assert told.series.number("least_cover_mm").tolist() == pytest.approx([0.2, np.nan, 0.12],
                                                                         nan_ok=True)  # fmt: skip
    assert any("(250, perhaps in µm)" in one for one in told.findings)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04....", "is a spreadsheet file; save the table as CSV"),
        (b"least_cover_mm\n\x00\xff\n", "is no text in UTF-8"),
        (b"least_cover_mm,least_cover_mm\n1,2\n", "has the heading 'least_cover_mm' twice"),
        (b"least_cover_mm,x\n,\n,-\n", "holds no row"),
    ],
)
def test_what_is_no_table(data: bytes, says: str) -> None:
    with pytest.raises(WrongInput, match=r"t\.csv") as told:
        series_from_bytes(data, "t.csv")
    assert says in told.value.sentence


def test_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "eyes.csv"
    path.write_bytes(GERMAN.encode("cp1252"))
    assert len(read_series(path).series) == 3
