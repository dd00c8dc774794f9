"""One source of facts at a time: read from TOML or from flags, checked, merged by authority."""

import contextlib
import datetime
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwise.exchange.plan_layer import read_plan_values
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from pydantic import BaseModel

CLINIC = "clinic.toml"
COMMAND_LINE = "the command line"
MOST_BYTES = 1_000_000

# Keys that state one fact between them: a layer that gives one of them replaces them all.
ONE_FACT = (
    ("radius_mm", "radius_flat_mm", "radius_steep_mm", "steep_axis_deg"),
    ("posterior_flat_mm", "posterior_steep_mm"),
    ("taken", "visit_day"),
)
# Tables that are replaced whole; all others are merged key by key.
WHOLE_TABLES = ("ruler", "operation", "visit", "profile")

# A number alone on its line, as many languages write it: axial_mm = 23,61
_DECIMAL_COMMA = re.compile(r"=[ \t]*([-+]?\d+),(\d+)[ \t]*(?:#.*)?$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Layer:
    """What one source says, checked: its name in a sentence and its values by key."""

    origin: str
    values: dict[str, Any]


def find_clinic(path: Path) -> Path | None:
    """Which ``clinic.toml`` is nearest: in the picture's folder, or in a folder above?"""
    for folder in path.absolute().parents:
        found = folder / CLINIC
        if found.is_file():
            return found
    return None


def read_layer(path: Path, model: "type[BaseModel]") -> Layer:
    """What does this TOML sheet, or this plan's JSON, say, after every key has been checked?

    Raises
    ------
    WrongInput
        The file is missing, no TOML and no plan, or a value is outside its range.
    UnknownKey
        The file holds a key that the model does not know.
    """
    values = read_plan_values(path) if path.suffix.lower() == ".json" else read_toml(path)
    return checked_layer(values, model, path.name)


def flag_layer(flags: Mapping[str, object], model: "type[BaseModel]") -> Layer:
    """What do the flags say, after every value has been checked?

    None counts as not given; a key of a table is written ``table.key``.
    """
    given: dict[str, Any] = {}
    for name, value in flags.items():
        if value is None:
            continue
        table, _, key = name.rpartition(".")
        (given.setdefault(table, {}) if table else given)[key] = value
    if isinstance(given.get("taken"), str):
        with contextlib.suppress(ValueError):
            given["taken"] = datetime.date.fromisoformat(given["taken"])
    return checked_layer(given, model, COMMAND_LINE)


def checked_layer(values: Mapping[str, object], model: "type[BaseModel]", origin: str) -> Layer:
    """What do these values say, after every key and value has been checked?"""
    from pydantic import ValidationError  # noqa: PLC0415

    from rimwise.exchange.sheet_refusals import refusal  # noqa: PLC0415

    try:
        checked = model.model_validate(_with_tuples(values))
    except ValidationError as error:
        raise refusal(error, model, origin, flags=origin == COMMAND_LINE) from None
    return Layer(origin, checked.model_dump(exclude_unset=True))


def _with_tuples(value: object) -> Any:
    """TOML's lists as tuples: the records are frozen all the way down."""
    if isinstance(value, list | tuple):
        return tuple(_with_tuples(one) for one in value)
    if isinstance(value, Mapping):
        return {key: _with_tuples(one) for key, one in value.items()}
    return value


def read_toml(path: Path) -> dict[str, Any]:
    """What stands in this TOML file, unchecked?

    Raises
    ------
    WrongInput
        The file is missing, not UTF-8, no TOML or far too large for a sheet.
    """
    try:
        if path.is_dir():
            raise WrongInput(f"{path} is a folder, and a sheet is a TOML file; give the file")
        if path.stat().st_size > MOST_BYTES:
            raise WrongInput(f"{path.name} is over 1 MB, and a sheet is a short TOML file")
        text = path.read_bytes().decode("utf-8-sig")
        return tomllib.loads(text)
    except FileNotFoundError:
        raise WrongInput(f"there is no sheet {path}; check the name and the folder") from None
    except UnicodeDecodeError:
        raise WrongInput(f"{path.name} is not UTF-8 text; save the sheet as UTF-8") from None
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        where = " ".join(str(error).split())[:100]
        comma = _DECIMAL_COMMA.search(text)
        mend = "correct that line" if comma is None else f"write {comma[1]}.{comma[2]} with a point"
        raise WrongInput(f"{path.name} is not TOML ({where}); {mend}") from None
    except OSError as error:
        raise WrongInput(
            f"{path} cannot be read ({error.strerror}); check the name and its permissions"
        ) from None


def merge(layers: list[Layer]) -> dict[str, Any]:
    """What holds when these layers are put together, the first having most authority?"""
    merged: dict[str, Any] = {}
    for layer in reversed(layers):
        merged = _over(layer.values, merged)
    return merged


def _over(upper: dict[str, Any], lower: dict[str, Any]) -> dict[str, Any]:
    replaced = {key for fact in ONE_FACT if any(key in upper for key in fact) for key in fact}
    merged = {key: value for key, value in lower.items() if key not in replaced}
    for key, value in upper.items():
        below = merged.get(key)
        if isinstance(value, dict) and isinstance(below, dict) and key not in WHOLE_TABLES:
            merged[key] = _over(value, below)
        else:
            merged[key] = value
    return merged
