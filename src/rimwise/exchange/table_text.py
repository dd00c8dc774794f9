"""The bytes of a table as cells of text: encodings, separators, lines above the headings."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rimwise.terms.arrays import BoolArray, IntArray
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    import polars

_SEPARATORS = ",;\t|"
_LOOK_LINES = 30
MISSING = (
    "", "na", "n/a", "nan", "none", "null", "-", "--", ".", "?", "n.a.", "nd", "n/d", "n.d.", "nb",
    "n.b.", "ka", "k.a.", "k. a.", "unknown", "unbekannt", "inconnu", "missing", "fehlt", "#n/a",
    "#nv", "#value!", "#wert!",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class TextTable:
    """Cells of a table as text, without rows that hold nothing.

    Parameters
    ----------
    frame : polars.DataFrame
    lines : array of int
        In which line of the file each row stands, from 1, where no cell spans lines.
    empty : int
        Rows that held nothing.
    """

    frame: "polars.DataFrame"
    lines: IntArray
    empty: int


def text_table(data: bytes, name: str, findings: list[str]) -> TextTable:
    """Which cells does a table hold, as text?

    Parameters
    ----------
    data : bytes
        UTF-8, UTF-16 with its mark, or Windows-1252, which is said.
    name : str
        For sentences.
    findings : list of str
        What was found on the way is added to it.

    Raises
    ------
    WrongInput
        It is no table, holds no row, or a heading stands twice.
    """
    import polars  # noqa: PLC0415  loaded late

    utf8 = _as_utf8(data, name, findings)
    utf8, separator, above = _from_headings(utf8)
    if above:
        findings.append(f"{above} line{'s' * (above > 1)} above the headings: left out")
    try:
        frame = polars.read_csv(utf8, separator=separator, infer_schema=False, encoding="utf8")
    except polars.exceptions.PolarsError as error:
        words = " ".join(str(error).split())[:100]
        raise WrongInput(
            f"{name} is no table ({words}); give a CSV file with one heading line"
        ) from None
    frame = frame.rename({one: one.strip() for one in frame.columns})
    _check_headings(frame.columns, name)
    told = _rows_told(frame)
    if not told.any():
        raise WrongInput(f"{name} holds no row; give a CSV file with a heading line and rows")
    lines = np.flatnonzero(told) + above + 2
    return TextTable(frame.filter(told), lines, len(told) - len(lines))


def _as_utf8(data: bytes, name: str, findings: list[str]) -> bytes:
    if data[:4] == b"PK\x03\x04" or data[:4] == b"\xd0\xcf\x11\xe0":
        raise WrongInput(f"{name} is a spreadsheet file; save the table as CSV UTF-8")
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        try:
            return data.decode("utf-16").encode("utf-8")
        except UnicodeDecodeError:
            raise WrongInput(f"{name} is no text; save the table as CSV UTF-8") from None
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return data
    if b"\x00" in data:
        raise WrongInput(f"{name} is no text in UTF-8; save the table as CSV UTF-8")
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise WrongInput(f"{name} is no text in UTF-8; save the table as CSV UTF-8") from None
    findings.append("the file is no UTF-8 and was read as Windows-1252; check names with accents")
    return text.encode("utf-8")


def _from_headings(data: bytes) -> tuple[bytes, str, int]:
    """The table from its heading line on, its separator, and how many lines stood above.

    Exports bear a title and empty lines there.
    """
    lines = data[:200_000].split(b"\n")[:_LOOK_LINES]
    counts = {
        one: [line.count(one.encode("ascii")) for line in lines if line.strip()]
        for one in _SEPARATORS
    }
    separator = max(_SEPARATORS, key=lambda one: _usual(counts[one]))
    wanted, start = _usual(counts[separator]), 0
    if wanted == 0:
        return data, ",", 0
    for number, line in enumerate(lines):
        if line.count(separator.encode("ascii")) >= wanted:
            return data[start:], separator, number
        start += len(line) + 1
    return data, separator, 0


def _usual(counts: list[int]) -> int:
    """How many separators have most of the first lines? 0 where no two lines agree."""
    if len(counts) == 1:
        return counts[0]
    best = max(sorted(set(counts), reverse=True), key=counts.count, default=0)
    return best if counts.count(best) > 1 else max(counts, default=0)


def _check_headings(headings: list[str], name: str) -> None:
    for one in headings:
        first, sign, number = one.rpartition("_duplicated_")
        if sign and number.isdigit() and first in headings and first:
            raise WrongInput(f"{name} has the heading {first!r} twice; rename one of them")


def _rows_told(frame: "polars.DataFrame") -> BoolArray:
    """Which rows hold anything?"""
    import polars  # noqa: PLC0415  loaded late

    cells = polars.all().str.strip_chars().str.to_lowercase()
    told = frame.select(polars.any_horizontal(cells.is_not_null() & ~cells.is_in(list(MISSING))))
    return np.asarray(told.to_series().fill_null(False).to_numpy())
