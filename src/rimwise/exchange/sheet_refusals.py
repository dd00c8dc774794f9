"""How a wrong sheet is refused: file, key, what came, what is allowed, what to do."""

import datetime
import difflib
import math
import types
import typing
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from rimwise.terms.errors import UnknownKey, WrongInput

_KINDS = {str: "text", datetime.date: "a date such as 2026-03-02", bool: "true or false"}


def refusal(
    error: ValidationError, model: type[BaseModel], origin: str, *, flags: bool = False
) -> WrongInput:
    """Which sentence says what is wrong with this sheet?

    Parameters
    ----------
    error : ValidationError
        What the model found; unknown keys come first, then the first wrong value.
    model : type
        The model of the sheet.
    origin : str
        The file's name, or "the command line".
    flags : bool
        Whether the keys were given as flags: they are called so then.
    """
    found = error.errors(include_url=False)
    unknown = [one for one in found if one["type"] == "extra_forbidden"]
    if unknown:
        return UnknownKey(_unknown_sentence([one["loc"] for one in unknown], model, origin))
    first = found[0]
    path = [str(part) for part in first["loc"] if _is_key(str(part))]
    key = f"{origin}: {_in_words(path)}"
    if flags:
        key = "--" + path[-1].replace("_", "-")
    if first["type"] == "value_error":
        return WrongInput(f"{key} {first['ctx']['error']}")
    if first["type"] == "missing":
        return WrongInput(f"{key} is missing, and {_allowed(model, path)} is needed; add it")
    return WrongInput(
        f"{key} is {shown(first['input'])}, and {_allowed(model, path)} is allowed; "
        "correct it or leave it out"
    )


def shown(value: object) -> str:
    """How is a value written in a sentence, short and as in the sheet?

    Examples
    --------
    >>> shown("left"), shown(float("nan")), shown(True), shown({}), shown((1, 2.5))
    ('"left"', 'nan', 'true', 'a table', '[1, 2.5]')
    """
    if isinstance(value, str):
        text = value if len(value) <= 40 else value[:37] + "..."
        return '"' + "".join(c if c.isprintable() else "?" for c in text) + '"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        inside = ", ".join(shown(one) for one in value[:4])
        return f"[{inside}{', ...' if len(value) > 4 else ''}]"
    if isinstance(value, int) and abs(value) >= 10**12:
        return "a very large number"
    return str(value)[:40]


def _is_key(part: str) -> bool:
    # pydantic names the branch of a union too: "constrained-float", "literal['a','b']".
    return part.replace("_", "").isalnum()


def _in_words(path: list[str]) -> str:
    names = [part for part in path if not part.isdigit()]
    if not names:
        return "the sheet"
    return names[0] if len(names) == 1 else f"[{'.'.join(names[:-1])}] {names[-1]}"


def _unknown_sentence(
    places: list[tuple[int | str, ...]], model: type[BaseModel], origin: str
) -> str:
    one = places[0]
    table, key = [str(part) for part in one[:-1]], str(one[-1])
    where = f" in [{'.'.join(table)}]" if table else ""
    more = ""
    if len(places) > 1:
        more = "; also unknown: " + ", ".join(shown(str(place[-1])) for place in places[1:6])
    return f"{origin}: {shown(key)} is not a key{where}; {_advice(key, table, model)}{more}"


def _advice(key: str, table: list[str], model: type[BaseModel]) -> str:
    stray = None if table else _sheet_of(key, model)
    if stray is not None:
        return (
            f"it belongs to a {stray} sheet, and this is read as another kind; give the right file"
        )
    nearest = nearest_key(key, table, model)
    if key.lower().endswith(("_dpt", "_d")) and (
        table == ["cornea"] or key.lower().startswith("k")
    ):
        return (
            "corneas are given as radii in mm: turn a dioptre reading into radius_flat_mm and "
            "radius_steep_mm with the index it was made with"
        )
    if nearest is None:
        return "remove it, or see the list of keys in docs/sheets.md"
    return f"the nearest known key is {nearest}; correct or remove it"


def _sheet_of(key: str, model: type[BaseModel]) -> str | None:
    """Which other kind of sheet has this key at its top, if one has?"""
    from rimwise.exchange.sheet_keys import CaseKeys, PictureKeys  # noqa: PLC0415

    if model is CaseKeys:
        return "picture" if key in PictureKeys.model_fields else None
    return "case" if model is PictureKeys and key in CaseKeys.model_fields else None


def nearest_key(key: str, table: list[str], model: type[BaseModel]) -> str | None:
    """Which known key is nearest to this unknown one; None where none is near.

    The same table is looked through first, then all others.
    """
    all_keys = list(_all_keys(model))
    here = [name for place, name in all_keys if place == tuple(table)]
    close = difflib.get_close_matches(key.strip().lower(), here, n=1, cutoff=0.6)
    if close:
        return f'"{close[0]}"'
    names = sorted({name for _, name in all_keys})
    close = difflib.get_close_matches(key.strip().lower(), names, n=1, cutoff=0.6)
    if not close:
        return None
    place = next(place for place, name in all_keys if name == close[0])
    return f'"{close[0]}" ' + (f"in [{'.'.join(place)}]" if place else "at the top of the sheet")


def _all_keys(
    model: type[BaseModel], place: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], str]]:
    for name, field in model.model_fields.items():
        yield place, name
        inner = _table_of(field)
        if inner is not None:
            yield from _all_keys(inner, (*place, name))


def _table_of(field: FieldInfo) -> type[BaseModel] | None:
    for part in (field.annotation, *typing.get_args(field.annotation)):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
    return None


def _allowed(model: type[BaseModel], path: list[str]) -> str:
    table: type[BaseModel] = model
    names = [part for part in path if not part.isdigit()]
    for name in names[:-1]:
        inner = _table_of(table.model_fields[name])
        if inner is None:
            break
        table = inner
    if not names or names[-1] not in table.model_fields:
        return "a table"
    hint = typing.get_type_hints(table, include_extras=True)[names[-1]]
    return _described(hint, _unit(names[-1]))


def _unit(key: str) -> str:
    units = {"mm": " mm", "um": " µm", "deg": "°", "dpt": " D", "px": " px", "years": " years"}
    units |= {"m": " m"}
    return units.get(key.rsplit("_", 1)[-1] if "_per_" not in key else "", "")


def _described(hint: Any, unit: str) -> str:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        told = [_described(one, unit) for one in arguments if one is not type(None)]
        return " or ".join(told)
    if origin is typing.Literal:
        return "one of " + ", ".join(f'"{one}"' for one in arguments)
    if origin is typing.Annotated:
        return _bounded(arguments[0], _bounds(arguments[1:]), unit)
    if origin is tuple:
        if arguments[-1] is Ellipsis:
            return f"a list in which each entry is {_described(arguments[0], unit)}"
        return f"a list of {len(arguments)}, each {_described(arguments[0], unit)}"
    if isinstance(hint, type) and issubclass(hint, BaseModel):
        return "a table"
    return _KINDS.get(hint, "a finite number")


def _bounds(metadata: tuple[Any, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for field in metadata:
        for one in getattr(field, "metadata", ()):
            for name in ("ge", "gt", "le", "lt", "min_length", "max_length"):
                bound = getattr(one, name, None)
                if bound is not None:
                    found[name] = bound
    return found


def _bounded(kind: Any, bounds: dict[str, float], unit: str) -> str:
    if kind in (int, float):
        noun = "a whole number" if kind is int else "a number"
        if "gt" in bounds:
            return f"{noun} above {bounds['gt']:g} and below {bounds.get('lt', math.inf):g}{unit}"
        return f"{noun} from {bounds['ge']:g} to {bounds['le']:g}{unit}"
    if kind is str:
        return f"plain text of {bounds['min_length']:g} to {bounds['max_length']:g} characters"
    return _described(kind, unit)
