"""A reader's file of points: corrections of the curves of one photograph.

pydantic is imported here: import this late.
"""

import datetime
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from rimwise.exchange.sheet_keys import Keys
from rimwise.exchange.sheet_layers import checked_layer, read_toml
from rimwise.records.corrections import Corrections
from rimwise.terms.errors import WrongInput

Pixel = Annotated[float, Field(ge=-1e5, le=1e5)]
Degree = Annotated[float, Field(ge=-360.0, le=720.0)]
Points = Annotated[tuple[tuple[Pixel, Pixel], ...], Field(max_length=2000)]
Arcs = Annotated[tuple[tuple[Degree, Degree], ...], Field(max_length=360)]
Name = Annotated[str, Field(min_length=1, max_length=80)]


class PointKeys(Keys):
    """A file of points."""

    opening_px: Points | None = None
    optic_px: Points | None = None
    hidden_opening_deg: Arcs | None = None
    hidden_optic_deg: Arcs | None = None
    haptic_px: Annotated[Points, Field(max_length=2)] | None = None
    p1_px: Points | None = None
    swap: bool | None = None
    sd_px: Annotated[float, Field(ge=0.05, le=100.0)] | None = None
    who: Name | None = None
    when: Name | None = None


def corrections_of(values: Mapping[str, object], origin: str) -> Corrections:
    """Which corrections do these keys hold, from a file or from a page?

    Raises
    ------
    WrongInput
        A key is unknown, a value outside its range, or nothing is corrected.

    Examples
    --------
    >>> corrections_of({"swap": True, "who": "R-2"}, "eye.points.toml").swap
    True
    """
    told = dict(values)
    if isinstance(told.get("when"), datetime.date):
        told["when"] = str(told["when"])
    given = checked_layer(told, PointKeys, origin).values
    corrections = Corrections(**{key: value for key, value in given.items() if value is not None})
    if corrections.is_empty:
        raise WrongInput(
            f"{origin} corrects nothing; give opening_px, optic_px, hidden_opening_deg, "
            "hidden_optic_deg, haptic_px, p1_px or swap"
        )
    return corrections


def read_corrections(path: Path) -> Corrections:
    """Which corrections does this file of points hold, TOML or JSON?

    Where it does not say when, the day and minute at which it was last written stand in.

    Raises
    ------
    WrongInput
        The file cannot be read, or holds what is no correction.
    """
    values = _json(path) if path.suffix.lower() == ".json" else read_toml(path)
    if "when" not in values:
        written = datetime.datetime.fromtimestamp(path.stat().st_mtime, tz=datetime.UTC)
        values["when"] = written.strftime("%Y-%m-%d %H:%M UTC")
    return corrections_of(values, path.name)


def _json(path: Path) -> dict[str, Any]:
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise WrongInput(
            f"{path.name} cannot be read as JSON ({type(error).__name__}); correct it, or write "
            "TOML"
        ) from None
    if not isinstance(values, dict):
        raise WrongInput(f"{path.name} holds no table of keys; give opening_px and the like")
    return values
