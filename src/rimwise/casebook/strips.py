"""Cover strips of a series out of measured pictures: from the casebook or from results."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from rimwise.audit.strips import anatomical_strip
from rimwise.exchange.results import COVER_SCHEMA
from rimwise.records.series import Series
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import Side


def strip_of(cover: Mapping[str, Any], side: Side) -> FloatArray | None:
    """Which strip by anatomical direction does a measured cover hold? None where it has none."""
    width = (cover.get("cover") or {}).get("width_mm")
    if not isinstance(width, list) or len(width) != 360:
        return None
    return anatomical_strip(width, side)


def strip_rows(strips: Sequence[FloatArray | None]) -> FloatArray | None:
    """Which array holds a strip a row, NaN where an eye has none? None where no eye has one."""
    if all(one is None for one in strips):
        return None
    return np.stack([np.full(360, np.nan) if one is None else one for one in strips])


def with_covers(series: Series, path: Path) -> tuple[Series, tuple[str, ...]]:
    """Which series has the cover strips of its rows' pictures, and what did not fit?

    A row bears the name of its picture in the column ``picture``, or as its code.

    Parameters
    ----------
    series : Series
    path : Path
        What ``measure --json`` wrote.

    Raises
    ------
    WrongInput
        It cannot be read, or the rows name no picture.
    """
    held = _by_picture(path)
    names = series.names.get("picture") or series.names.get("code")
    if names is None:
        raise WrongInput("cover strips are tied to rows by a column picture or code; add one")
    # A code E-017 means the picture E-017.jpg.
    keys = [PurePath(names.names[one]).stem if one >= 0 else "" for one in names.codes]
    strips = [held.get(key) for key in keys]
    missing = sum(one is None for one in strips)
    unused = len(set(held) - set(keys))
    notes = []
    if missing:
        notes.append(f"{missing} of {len(series)} rows have no measured picture: not in the strips")
    if unused:
        notes.append(f"{unused} measured pictures belong to no row")
    return replace(series, strips_mm=strip_rows(strips)), tuple(notes)


def _by_picture(path: Path) -> dict[str, FloatArray]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give results") from None
    except (ValueError, RecursionError):
        raise WrongInput(f"{path} is no JSON; give what rimwise measure --json wrote") from None
    entries = document.get("results") if isinstance(document, dict) else None
    told: dict[str, FloatArray] = {}
    for one in entries if isinstance(entries, list) else []:
        if not isinstance(one, dict) or one.get("schema") != COVER_SCHEMA:
            continue
        side = one.get("side")
        strip = strip_of(one, side) if side in {"right", "left"} else None
        if strip is not None:
            told[PurePath(str(one.get("picture") or "")).stem] = strip
    if not told:
        raise WrongInput(f"{path} holds no measured cover; give what rimwise measure --json wrote")
    return told
