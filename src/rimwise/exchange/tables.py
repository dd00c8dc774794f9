"""A table of operated eyes, read, mapped and checked: CSV with comma, semicolon or tab."""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rimwise.audit.columns import (
    NAME_COLUMNS,
    NUMBER_COLUMNS,
    Mapped,
    NameColumn,
    NumberColumn,
    map_columns,
)
from rimwise.audit.select import drop, repeated
from rimwise.records.series import AuditPart, FlowStep, Names, Series
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    import polars

_MOST_BYTES = 2_000_000_000
_MISSING = ("", "na", "n/a", "nan", "none", "null", "-", ".")


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
        A CSV file in UTF-8; a decimal comma is understood where columns are parted by ; or tab.
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
    frame, comma = _frame(data, name)
    mapped = map_columns(frame.columns, told)
    if not mapped.columns:
        raise WrongInput(
            f"{name} has no heading that an audit knows (it has {', '.join(frame.columns[:8])}); "
            "name one with --column NAME=HEADING, see rimwise audit --columns"
        )
    findings: list[str] = []
    numbers = {
        one.name: _numbers(frame, mapped.columns[one.name], one, comma, findings)
        for one in NUMBER_COLUMNS
        if one.name in mapped.columns
    }
    names = {
        one.name: _names(frame, mapped.columns[one.name], one, findings)
        for one in NAME_COLUMNS
        if one.name in mapped.columns
    }
    if "complete" in names:
        numbers["complete"] = _as_number(names.pop("complete"))
    person = _persons(names.pop("person", None), frame.height, findings)
    series = Series(numbers, names, person, name)
    flow = [FlowStep("rows in the table", 0, len(series))]
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


def _preview(frame: "polars.DataFrame", mapped: Mapped) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (heading, column, ", ".join(str(cell) for cell in frame[heading].head(3).to_list()))
        for column, heading in mapped.columns.items()
    )


def _frame(data: bytes, name: str) -> tuple["polars.DataFrame", bool]:
    """Read all cells as text; tell whether a comma is a decimal sign."""
    import polars  # noqa: PLC0415  loaded late

    try:
        head = data[:100_000].split(b"\n", 1)[0].decode("utf-8-sig")
        separator = max(",;\t", key=head.count)
        frame = polars.read_csv(data, separator=separator, infer_schema=False, encoding="utf8")
    except UnicodeDecodeError:
        raise WrongInput(f"{name} is no text in UTF-8; save the table as CSV UTF-8") from None
    except polars.exceptions.PolarsError as error:
        words = " ".join(str(error).split())[:100]
        raise WrongInput(
            f"{name} is no table ({words}); give a CSV file with one heading line"
        ) from None
    if frame.height == 0:
        raise WrongInput(f"{name} holds no row; give a CSV file with a heading line and rows")
    return frame.rename({one: one.strip() for one in frame.columns}), separator != ","


def _numbers(
    frame: "polars.DataFrame", heading: str, column: NumberColumn, comma: bool, findings: list[str]
) -> FloatArray:
    import polars  # noqa: PLC0415  loaded late

    cells = frame[heading].str.strip_chars()
    cells = cells.str.replace(",", ".", literal=True) if comma else cells
    cells = cells.str.replace("−", "-", literal=True)
    told = cells.is_not_null() & ~cells.str.to_lowercase().is_in(_MISSING)
    values = cells.cast(polars.Float64, strict=False)
    wrong = told & (values.is_null() | values.is_nan() | values.is_infinite())
    row = np.array(values.fill_null(np.nan).to_numpy(), dtype=np.float64)
    row[~told.fill_null(False).to_numpy()] = np.nan
    row[~np.isfinite(row)] = np.nan
    if wrong.any():
        first = int(wrong.arg_true()[0])
        findings.append(
            f"{heading}: {int(wrong.sum())} cells are no number, the first in row {first + 2} "
            f"({str(cells[first])[:30]!r}); they are left out"
        )
    outside = np.flatnonzero((row < column.low) | (row > column.high))
    if len(outside):
        findings.append(
            f"{heading}: {len(outside)} values lie outside {column.low:g} to {column.high:g}, the "
            f"first in row {outside[0] + 2} ({row[outside[0]]:g}); they are left out"
        )
        row[outside] = np.nan
    return row


def _names(
    frame: "polars.DataFrame", heading: str, column: NameColumn, findings: list[str]
) -> Names:
    import polars  # noqa: PLC0415  loaded late

    cells = frame[heading].str.strip_chars()
    empty = cells.is_null() | cells.str.to_lowercase().is_in(_MISSING)
    if column.allowed:
        lower = cells.str.to_lowercase()
        known = lower.replace_strict(dict(column.allowed), default=None, return_dtype=polars.String)
        wrong = ~empty & known.is_null()
        if wrong.any():
            first = int(wrong.arg_true()[0])
            findings.append(
                f"{heading}: {int(wrong.sum())} cells say none of "
                f"{', '.join(sorted(set(column.allowed)))}, the first in row {first + 2} "
                f"({str(cells[first])[:30]!r}); they are left out"
            )
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
