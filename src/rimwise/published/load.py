"""The package's own tables of published numbers, read once."""

import math
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from rimwise.terms.source import PublishedValue, Source, Status

TABLES = (
    "biometry_rules",
    "centres",
    "cornea",
    "eye_priors",
    "healing",
    "instruments",
    "lengths",
    "light",
    "microscope",
    "opening",
    "photograph",
    "refraction",
    "spreads",
)
_FIELDS = frozenset({"value", "unit", "sd", "valid", "cite", "status"})


@cache
def published_table(table: str) -> dict[str, PublishedValue]:
    """Which published numbers does this table hold?

    Parameters
    ----------
    table : str
        One of ``TABLES``.

    Returns
    -------
    dict
        Key to ``PublishedValue``; treat as read only, it is shared.

    Raises
    ------
    KeyError
        If there is no such table.
    ValueError
        If an entry of the table lacks a part of its passport.

    Examples
    --------
    >>> [key for key in sorted(published_table("opening")) if key.endswith("limit")]
    ['diameter_lower_limit', 'diameter_upper_limit']
    """
    if table not in TABLES:
        raise KeyError(f"no published table {table!r}; there are {', '.join(TABLES)}")
    text = files("rimwise.published").joinpath(f"{table}.toml").read_text(encoding="utf-8")
    return {
        key: _value(f"{table}.toml [{key}]", entry) for key, entry in tomllib.loads(text).items()
    }


def published_value(table: str, key: str) -> PublishedValue:
    """What is the published number with this name?

    Parameters
    ----------
    table, key : str
        File name without its ending, and the entry in it.

    Raises
    ------
    KeyError
        If the table or the entry is not there.

    Examples
    --------
    >>> published_value("lengths", "chamber_depth").value
    3.02
    """
    values = published_table(table)
    if key not in values:
        raise KeyError(f"no published {key!r} in {table!r}; there are {', '.join(sorted(values))}")
    return values[key]


def _value(where: str, entry: dict[str, Any]) -> PublishedValue:
    if set(entry) != _FIELDS:
        odd = ", ".join(sorted(set(entry) ^ _FIELDS))
        raise ValueError(f"{where} must hold exactly {', '.join(sorted(_FIELDS))}; see to {odd}")
    if entry["status"] not in get_args(Status):
        raise ValueError(f"{where} has the unknown status {entry['status']!r}")
    sd = None if entry["sd"] == "not given" else float(entry["sd"])
    if not math.isfinite(entry["value"]) or (sd is not None and not 0.0 <= sd < math.inf):
        raise ValueError(f"{where} needs a finite value and an sd of 0 or more")
    source = Source(entry["cite"], entry["status"])
    return PublishedValue(float(entry["value"]), sd, entry["unit"], entry["valid"], source)
