"""The published formulas of lens power: names, passports and coefficients, read once."""

import math
import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import get_args

from rimwise.terms.source import Source, Status

FORMULAS = ("constants", "haigis", "hofferq", "holladay1", "srkt", "t2")
_PARTS = frozenset({"name", "cite", "status", "valid", "numbers"})


@dataclass(frozen=True, slots=True)
class PublishedFormula:
    """The coefficients of one formula with the passport that they share.

    ``numbers`` wear their units in their names; none of them has a published spread.
    """

    name: str
    valid: str
    source: Source
    numbers: dict[str, float] = field(default_factory=dict)


@cache
def published_formula(key: str) -> PublishedFormula:
    """Which coefficients does this formula have, and where are they from?

    Parameters
    ----------
    key : str
        One of ``FORMULAS``.

    Raises
    ------
    KeyError
        If there is no such formula.
    ValueError
        If its table lacks a part of its passport or holds a number that is not finite.

    Examples
    --------
    >>> published_formula("srkt").numbers["long_from_mm"]
    24.2
    """
    if key not in FORMULAS:
        raise KeyError(f"no published formula {key!r}; there are {', '.join(FORMULAS)}")
    path = files("rimwise.published").joinpath("formulas", f"{key}.toml")
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    if set(table) != _PARTS or table["status"] not in get_args(Status):
        raise ValueError(f"{key}.toml must hold exactly {', '.join(sorted(_PARTS))}")
    numbers = {name: float(value) for name, value in table["numbers"].items()}
    if not all(math.isfinite(value) for value in numbers.values()):
        raise ValueError(f"{key}.toml holds a number that is not finite")
    source = Source(table["cite"], table["status"])
    return PublishedFormula(table["name"], table["valid"], source, numbers)
