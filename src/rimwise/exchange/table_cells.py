"""Cells of a table as numbers: decimal commas, units behind the number, dates, fractions."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from rimwise.audit.columns import NumberColumn
from rimwise.audit.headings import factor_to, folded
from rimwise.exchange.table_text import MISSING
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import polars

_WITH_UNIT = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([a-zµμ°]+)")
_FRACTION = re.compile(r"(\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)")
_DATE = re.compile(r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})(?:[ T].*)?")


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What goes along while a table is read: the line of each row, and what was found."""

    lines: IntArray
    findings: list[str]

    def note(self, heading: str, rows: IntArray, words: tuple[str, str], cell: object) -> None:
        """Say which cells were left out: words for one and for several, and the first cell."""
        count = f"1 {words[0]}" if len(rows) == 1 else f"{len(rows)} {words[1]}"
        first = f"the first in row {self.lines[rows[0]]} ({cell})"
        self.findings.append(f"{heading}: {count}, {first}; left out")


def numbers_of(
    cells: "polars.Series", column: NumberColumn, factor: float, reading: Reading
) -> FloatArray:
    """Which numbers do the cells of a column hold; NaN where none, or an impossible one?

    Parameters
    ----------
    cells : series of text
        Its name is the heading.
    column : NumberColumn
    factor : float
        From the heading's unit to the column's.
    reading : Reading
        What was left out is added to its findings, one sentence a kind.
    """
    import polars  # noqa: PLC0415  loaded late

    heading, cells = cells.name, _plain(cells)
    told = (cells.is_not_null() & ~cells.str.to_lowercase().is_in(MISSING)).fill_null(False)
    values = cells.cast(polars.Float64, strict=False)
    row = factor * np.array(values.fill_null(np.nan).to_numpy(), dtype=np.float64)
    there = told.to_numpy()
    row[~there] = np.nan
    odd = np.flatnonzero(there & ~np.isfinite(row))
    if len(odd):
        row[odd] = np.nan
        _read_odd(row, cells, odd, column)
        left = odd[~np.isfinite(row[odd])]
        if len(left):
            cell = repr(str(cells[int(left[0])])[:30])
            reading.note(heading, left, ("cell is no number", "cells are no number"), cell)
    return _within(row, heading, column, reading)


def _within(row: FloatArray, heading: str, column: NumberColumn, reading: Reading) -> FloatArray:
    outside = np.flatnonzero((row < column.low) | (row > column.high))
    if len(outside):
        first = float(row[outside[0]])
        micron = (
            first >= 50.0
            and column.name.endswith("_mm")
            and column.low < first / 1000.0 < column.high
        )
        ends = f"outside {column.low:g} to {column.high:g}"
        words = (f"value lies {ends}", f"values lie {ends}")
        cell = f"{first:g}{', perhaps in µm' if micron else ''}"
        reading.note(heading, outside, words, cell)
        row[outside] = np.nan
    return row


def _plain(cells: "polars.Series") -> "polars.Series":
    """Cells with a point for the decimal sign and a plain minus.

    A comma is a decimal sign, but not where it could part thousands: 1,234.5 stays as it is and is
    no number, and so does 1,234 where other cells of the column have points.
    """
    cells = cells.str.strip_chars()
    comma = cells.str.contains(",", literal=True)
    if comma.any():
        point = cells.str.contains(".", literal=True)
        thousands = comma & cells.str.contains(r"^\D*\d{1,3},\d{3}\D*$")
        if not (comma & point).any() and not (point.any() and thousands.any()):
            cells = cells.str.replace(",", ".", literal=True)
    return cells.str.replace("−", "-", literal=True)


def _read_odd(row: FloatArray, cells: "polars.Series", odd: IntArray, column: NumberColumn) -> None:
    """Read what is no bare number: a unit behind it, a date, a fraction of letters read."""
    if column.name == "operation_day":
        _read_dates(row, cells, odd)
        return
    for at in odd.tolist():
        word = str(cells[at]).lower()
        if column.name == "acuity_decimal":
            fraction = _FRACTION.fullmatch(word)
            if fraction is not None and float(fraction[2]) > 0.0:
                row[at] = float(fraction[1]) / float(fraction[2])
            continue
        told = _WITH_UNIT.fullmatch(word)
        if told is None:
            continue
        # A bare ring behind a number is a degree.
        unit = "deg" if told[2] == "°" else folded(told[2])
        factor = factor_to(column.name, unit)
        if factor is not None:
            row[at] = factor * float(told[1])


def _read_dates(row: FloatArray, cells: "polars.Series", odd: IntArray) -> None:
    """Days since the first date; day and month stay unread where they could be the other way."""
    parts = {
        at: tuple(int(one) for one in told.groups())
        for at in odd.tolist()
        if (told := _DATE.fullmatch(str(cells[at]))) is not None
    }
    orders: tuple[Callable[[tuple[int, ...]], tuple[int, int, int]], ...] = (
        lambda p: (p[0], p[1], p[2]),
        lambda p: (p[2], p[1], p[0]),
        lambda p: (p[2], p[0], p[1]),
    )
    readings = [days for order in orders if (days := _as_days(parts, order)) is not None]
    dotted = all("." in str(cells[at]) for at in parts)  # a point is never between month and day
    if not readings or (len(readings) > 1 and not dotted):
        return
    first = min(readings[0].values())
    for at, day in readings[0].items():
        row[at] = day - first


def _as_days(
    parts: dict[int, tuple[int, ...]], order: Callable[[tuple[int, ...]], tuple[int, int, int]]
) -> dict[int, int] | None:
    """Days by this order of year, month and day; None where one of them is no date."""
    days = {}
    for at, told in parts.items():
        year, month, day = order(told)
        if not 1900 <= year <= 2100:
            return None
        try:
            days[at] = date(year, month, day).toordinal()
        except ValueError:
            return None
    return days or None


def minus_cylinder(numbers: dict[str, FloatArray], findings: list[str]) -> None:
    """Write plus cylinders as minus cylinders, in place; without a sphere they are left out.

    Examples
    --------
    >>> told = {"sphere_dpt": np.array([-1.0]), "cylinder_dpt": np.array([0.5]),
    ...     "axis_deg": np.array([10.0])}
    >>> minus_cylinder(told, [])
    >>> told["sphere_dpt"].tolist(), told["cylinder_dpt"].tolist(), told["axis_deg"].tolist()
    ([-0.5], [-0.5], [100.0])
    """
    cylinder = numbers.get("cylinder_dpt")
    plus: BoolArray = np.zeros(0, dtype=bool) if cylinder is None else cylinder > 0.0
    if cylinder is None or not plus.any():
        return
    sphere = numbers.get("sphere_dpt")
    if sphere is None:
        findings.append(
            f"{int(plus.sum())} plus cylinders without a sphere: left out, since minus cylinders "
            "are reckoned with"
        )
        cylinder[plus] = np.nan
        return
    sphere[plus] += cylinder[plus]
    cylinder[plus] *= -1.0
    axis = numbers.get("axis_deg")
    if axis is not None:
        turned = (axis[plus] + 90.0) % 180.0
        axis[plus] = np.where(turned == 0.0, 180.0, turned)
    findings.append(f"{int(plus.sum())} plus cylinders are written as minus cylinders")


def acuity_from_decimal(numbers: dict[str, FloatArray]) -> None:
    """Take decimal acuity as logMAR where the table has no logMAR, in place.

    Examples
    --------
    >>> told = {"acuity_decimal": np.array([1.0, 0.1])}
    >>> acuity_from_decimal(told)
    >>> told["acuity_logmar"].tolist()
    [0.0, 1.0]
    """
    decimal = numbers.pop("acuity_decimal", None)
    if decimal is None:
        return
    logmar = -np.log10(decimal) + 0.0
    own = numbers.get("acuity_logmar")
    numbers["acuity_logmar"] = logmar if own is None else np.where(np.isfinite(own), own, logmar)
