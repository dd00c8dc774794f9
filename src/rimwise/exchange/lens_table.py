"""A table of operated eyes with one kind of implant, as CSV: read strictly, row by row."""

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rimwise.plan.formulas import Biometry
from rimwise.plan.lens_series import LensSeries
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.units import radius_mm_from_dpt

# Column: smallest and largest value that an eye can have.
_LIMITS = {
    "axial_mm": (14.0, 40.0),
    "radius_mm": (5.0, 11.0),
    "k_dpt": (30.0, 65.0),
    "chamber_depth_mm": (1.5, 6.0),
    "lens_thickness_mm": (2.0, 7.0),
    "implant_power_dpt": (-20.0, 50.0),
    "achieved_dpt": (-20.0, 20.0),
}
_NEEDED = ("axial_mm", "implant_power_dpt", "achieved_dpt")


def read_lens_series(path: Path, keratometer_index: float | None) -> LensSeries:
    """Which operated eyes does this table hold?

    Parameters
    ----------
    path : path
        CSV in UTF-8 with a heading line: axial_mm, radius_mm or k_dpt, implant_power_dpt,
        achieved_dpt; chamber_depth_mm, lens_thickness_mm and person where they are known for every
        eye.
    keratometer_index : float or None
        With which ``k_dpt`` was made; needed for that column.

    Raises
    ------
    WrongInput
        The table cannot be read, lacks a column, or a cell is no number that an eye can have.
    """
    rows = table_rows(path)
    known = {*_LIMITS, "person"}
    unknown = sorted(set(rows[0]) - known)
    if unknown:
        raise WrongInput(
            f"{path.name} has a column {unknown[0]!r}, and {', '.join(sorted(known))} are "
            "allowed; rename or remove it"
        )
    lacks = [name for name in _NEEDED if name not in rows[0]]
    if not {"radius_mm", "k_dpt"} & set(rows[0]):
        lacks.append("radius_mm (or k_dpt)")
    if lacks:
        raise WrongInput(f"{path.name} has no column {lacks[0]}; add it")
    depth, thickness = (
        _column(path, rows, name) if name in rows[0] else None
        for name in ("chamber_depth_mm", "lens_thickness_mm")
    )
    persons = tuple(row["person"] or f"row {k}" for k, row in enumerate(rows)) if (
        "person" in rows[0]) else None  # fmt: skip
    return LensSeries(
        Biometry(_column(path, rows, "axial_mm"), _radii(path, rows, keratometer_index), depth),
        _column(path, rows, "implant_power_dpt"),
        _column(path, rows, "achieved_dpt"),
        persons,
        thickness,
    )


def table_rows(path: Path) -> list[dict[str, str]]:
    """Which rows has this table, each by the names of its columns?

    Raises
    ------
    WrongInput
        It cannot be read, is no text in UTF-8, or holds no row.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give a CSV table") from None
    except UnicodeDecodeError:
        raise WrongInput(f"{path} is no text in UTF-8; save the table as CSV UTF-8") from None
    found = list(csv.DictReader(io.StringIO(text), restkey="", restval=""))
    if not found:
        raise WrongInput(f"{path.name} holds no eyes; give a heading line and a row an eye")
    return [{key.strip(): str(cell).strip() for key, cell in row.items()} for row in found]


def _column(path: Path, rows: Sequence[dict[str, str]], name: str) -> FloatArray:
    return number_column(path, rows, name, _LIMITS[name])


def number_column(
    path: Path, rows: Sequence[dict[str, str]], name: str, limits: tuple[float, float]
) -> FloatArray:
    """Which numbers does a column hold, all of them within the limits?

    Raises
    ------
    WrongInput
        A cell is no number, or one that an eye cannot have.
    """
    low, high = limits
    values = []
    for k, row in enumerate(rows):
        try:
            value = float(row[name])
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise WrongInput(
                f"{path.name}, row {k + 2}: {name} is {row[name]!r}, and {low:g} to {high:g} is "
                "allowed; correct it or leave the eye out"
            )
        values.append(value)
    return np.array(values)


def _radii(path: Path, rows: Sequence[dict[str, str]], index: float | None) -> FloatArray:
    if "radius_mm" in rows[0]:
        return _column(path, rows, "radius_mm")
    if index is None:
        raise WrongInput(
            f"{path.name} gives k_dpt, and a dioptre reading is a radius only with the index it "
            "was made with; add --keratometer-index, often 1.3375 or 1.332"
        )
    return np.array([radius_mm_from_dpt(k, index) for k in _column(path, rows, "k_dpt")])
