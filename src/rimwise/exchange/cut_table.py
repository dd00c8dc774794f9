"""A surgeon's own eyes: the size set on the instrument, and the diameter it left."""

from pathlib import Path

from rimwise.exchange.lens_table import number_column, table_rows
from rimwise.plan.cut import Stretch, fit_stretch
from rimwise.terms.errors import WrongInput

_LIMITS = {"cut_mm": (2.0, 9.0), "left_mm": (2.0, 9.0)}


def read_stretch(path: Path) -> Stretch:
    """Which stretch ratio, with which scatter, do these own eyes show?

    Parameters
    ----------
    path : path
        CSV in UTF-8 with a heading line: cut_mm, left_mm; other columns are refused by name.

    Raises
    ------
    WrongInput
        The table cannot be read, lacks a column, a cell is no size, or it has fewer than three
        rows.
    """
    rows = table_rows(path)
    unknown = sorted(set(rows[0]) - set(_LIMITS))
    if unknown:
        raise WrongInput(
            f"{path.name} has a column {unknown[0]!r}, and {' and '.join(_LIMITS)} are allowed; "
            "rename or remove it"
        )
    lacks = [name for name in _LIMITS if name not in rows[0]]
    if lacks:
        raise WrongInput(f"{path.name} has no column {lacks[0]}; add it")
    set_mm, left_mm = (number_column(path, rows, name, at) for name, at in _LIMITS.items())
    return fit_stretch(set_mm, left_mm)
