"""A table of operated eyes, read, mapped and checked: CSV with comma, semicolon or tab."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rimwise.audit.columns import (
    BELOW_LETTERS,
    NAME_COLUMNS,
    NUMBER_COLUMNS,
    Mapped,
    NameColumn,
    map_columns,
)
from rimwise.audit.headings import folded
from rimwise.audit.select import drop, repeated
from rimwise.exchange.table_cells import Reading, acuity_from_decimal, minus_cylinder, numbers_of
from rimwise.exchange.table_text import MISSING, TextTable, text_table
from rimwise.records.series import AuditPart, FlowStep, Names, Series
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    import polars

_MOST_BYTES = 2_000_000_000


@dataclass(frozen=True, slots=True, eq=False)
class ReadTable:
    """A series with what was found on the way.

    Parameters
    ----------
    series : Series
    mapped : Mapped
    flow : tuple of FlowStep
    findings : tuple of str
        Cells that are no number, impossible values, unknown names: one sentence a column.
    preview : tuple of rows
        Heading, column, first cells.
    """

    series: Series
    mapped: Mapped
    flow: tuple[FlowStep, ...]
    findings: tuple[str, ...]
    preview: tuple[tuple[str, str, str], ...]


def read_series(
    path: Path, told: Mapping[str, str] | None = None, only: Mapping[str, str] | None = None
) -> ReadTable:
    """Which series of eyes does this table hold?

    Parameters
    ----------
    path : Path
        A CSV file; decimal commas, units in headings or cells, dates of operation and words of
        other languages are understood, and what was made of them is said.
    told : mapping of column to heading, optional
    only : mapping of name column to name, optional
        Keep these eyes only, for example {"technique": "manual"}.

    Raises
    ------
    WrongInput
        It cannot be read, holds no row, or a heading is unclear.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise WrongInput(f"{path} is larger than 2 GB; split it by year or by surgeon")
        data = path.read_bytes()
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give a CSV file") from None
    return series_from_bytes(data, path.name, told, only)


def series_from_bytes(
    data: bytes,
    name: str,
    told: Mapping[str, str] | None = None,
    only: Mapping[str, str] | None = None,
) -> ReadTable:
    """Which series do the bytes of a table hold? As `read_series`, for what was never a file.

    Raises
    ------
    WrongInput
    """
    findings: list[str] = []
    text = text_table(data, name, findings)
    frame = text.frame
    mapped = map_columns(frame.columns, _sides_told(frame, told))
    if not mapped.columns:
        raise WrongInput(
            f"{name} has no heading that an audit knows (it has {', '.join(frame.columns[:8])}); "
            "name one with --column NAME=HEADING, see rimwise audit --columns"
        )
    findings += mapped.strange
    series = _series(text, mapped, name, findings)
    flow = [FlowStep("rows in the table", 0, frame.height + text.empty)]
    if text.empty:
        flow.append(FlowStep("empty rows", text.empty, frame.height))
    for column, wanted in (only or {}).items():
        series, step = only_named(series, column, wanted)
        flow.append(step)
    again = repeated(series)
    if again.any():
        series, step = drop(
            series, again, "an eye that stood before (same person and side, or code)"
        )
        flow.append(step)
    return ReadTable(series, mapped, tuple(flow), tuple(findings), _preview(frame, mapped))


def _series(text: TextTable, mapped: Mapped, name: str, findings: list[str]) -> Series:
    """All mapped columns of a table."""
    frame, reading = text.frame, Reading(text.lines, findings)
    below = _below_letters(frame, mapped)
    numbers = {
        one.name: numbers_of(
            below.get(one.name, frame[mapped.columns[one.name]]),
            one,
            mapped.factors.get(one.name, 1.0),
            reading,
        )
        for one in NUMBER_COLUMNS
        if one.name in mapped.columns
    }
    minus_cylinder(numbers, findings)
    acuity_from_decimal(numbers)
    names = {
        one.name: _names(frame[mapped.columns[one.name]], one, reading)
        for one in NAME_COLUMNS
        if one.name in mapped.columns
    }
    if "acuity_category" in below and "acuity_category" not in names:
        category = next(one for one in NAME_COLUMNS if one.name == "acuity_category")
        names["acuity_category"] = _names(below["acuity_category"], category, reading)
    if "complete" in names:
        numbers["complete"] = _as_number(names.pop("complete"))
    person = _persons(names.pop("person", None), frame.height, findings)
    return Series(numbers, names, person, name)


def _sides_told(
    frame: "polars.DataFrame", told: Mapping[str, str] | None
) -> Mapping[str, str] | None:
    """A column headed "eye" whose cells are sides is the side, not the eye's code."""
    taken = told or {}
    known = {one.name: one for one in NAME_COLUMNS}["side"].allowed
    if "side" in taken or map_columns(frame.columns, told).columns.get("side"):
        return told
    for heading in frame.columns:
        if heading in taken.values() or folded(heading) != "eye":
            continue
        cells = frame[heading].str.strip_chars().str.to_lowercase().drop_nulls()
        if 2 * int(cells.is_in(list(known)).sum()) > len(cells):
            return {**taken, "side": heading}
    return told


def _below_letters(frame: "polars.DataFrame", mapped: Mapped) -> dict[str, "polars.Series"]:
    """Acuity columns without the words for less than letters, and those words as their own."""
    import polars  # noqa: PLC0415  loaded late

    told: dict[str, polars.Series] = {}
    for name in ("acuity_logmar", "acuity_decimal"):
        if name not in mapped.columns:
            continue
        cells = frame[mapped.columns[name]]
        words = cells.str.strip_chars().str.to_lowercase().is_in(list(BELOW_LETTERS))
        words = words.fill_null(False)
        if words.any():
            told[name] = cells.set(words, None)
            told["acuity_category"] = cells.set(~words, None)
    return told


def _preview(frame: "polars.DataFrame", mapped: Mapped) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (heading, column, ", ".join(str(cell) for cell in frame[heading].head(3).to_list()))
        for column, heading in mapped.columns.items()
    )


def _names(cells: "polars.Series", column: NameColumn, reading: Reading) -> Names:
    import polars  # noqa: PLC0415  loaded late

    heading, cells = cells.name, cells.str.strip_chars()
    empty = cells.is_null() | cells.str.to_lowercase().is_in(MISSING)
    if column.allowed:
        lower = cells.str.to_lowercase()
        known = lower.replace_strict(dict(column.allowed), default=None, return_dtype=polars.String)
        wrong = ~empty & known.is_null()
        if wrong.any():
            rows = np.flatnonzero(wrong.fill_null(False).to_numpy())
            allowed = ", ".join(sorted(set(column.allowed.values())))
            words = (f"cell says none of {allowed}", f"cells say none of {allowed}")
            reading.note(heading, rows, words, repr(str(cells[int(rows[0])])[:30]))
        cells, empty = known, known.is_null() | empty
    cells = cells.set(empty.fill_null(True), None)
    names = tuple(sorted(cells.drop_nulls().unique().to_list()))
    codes = cells.replace_strict(
        {name: index for index, name in enumerate(names)}, default=-1, return_dtype=polars.Int64
    )
    return Names(np.array(codes.fill_null(-1).to_numpy(), dtype=np.int64), names)


def _as_number(names: Names) -> FloatArray:
    values = np.array([float(name) for name in names.names] + [np.nan])
    return np.asarray(values[names.codes])


def _persons(names: Names | None, rows: int, findings: list[str]) -> IntArray:
    if names is None:
        findings.append("no column names the person: every eye is taken as another person's")
        return np.arange(rows, dtype=np.int64)
    codes = names.codes.copy()
    empty = codes < 0
    if empty.any():
        findings.append(
            f"{int(empty.sum())} rows name no person: each is taken as another person's"
        )
        codes[empty] = len(names.names) + np.arange(int(empty.sum()))
    return np.asarray(np.unique(codes, return_inverse=True)[1], dtype=np.int64)


def persons_from(cells: list[str | None], findings: list[str]) -> IntArray:
    """Which number stands for each row's person, empty cells each being another's?

    Examples
    --------
    >>> persons_from(["P-1", None, "P-1"], []).tolist()
    [0, 1, 0]
    """
    return _persons(Names.of(cells), len(cells), findings)


def only_named(series: Series, name: str, wanted: str) -> tuple[Series, FlowStep]:
    """Which eyes bear this name in this column?

    Raises
    ------
    WrongInput
        There is no such column, or no row bears the name.
    """
    column = series.names.get(name)
    if column is None:
        raise WrongInput(f"the table has no column {name}; it has {', '.join(series.names)}")
    if wanted not in column.names:
        raise WrongInput(
            f"no row has {name} {wanted!r}; the table has {', '.join(column.names[:12])}"
        )
    return drop(series, ~column.where(wanted), f"{name} is not {wanted}")


def lines_csv(lines: Iterable[Sequence[str]]) -> str:
    r"""How are rows of words written as a CSV table, the same bytes every time?

    Examples
    --------
    >>> lines_csv([("a", "b"), ("1, 2", "3")])
    'a,b\n"1, 2",3\n'
    """
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    return out.getvalue()


def chapter_csv(part: AuditPart) -> str:
    """How is a chapter written as a CSV table, the same bytes every time?

    Examples
    --------
    >>> from rimwise.records.series import Figure
    >>> part = AuditPart("c", "C", (Figure("mean, all", 0.5, None, None, "mm", 4, 4),))
    >>> print(chapter_csv(part).splitlines()[1])
    "mean, all",0.5,,,mm,4,4,,,
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["name", "value", "low", "high", "unit", "n", "persons", "count", "way", "note"]
    )
    for one in part.figures:
        writer.writerow(
            [
                one.name,
                *(
                    "" if number is None else repr(round(number, 9))
                    for number in (one.value, one.low, one.high)
                ),
                one.unit,
                one.n,
                one.persons,
                "" if one.count is None else one.count,
                one.way,
                one.note,
            ]
        )
    return out.getvalue()
