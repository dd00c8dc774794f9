"""The fields of the forms: each is a key of a sheet, and only reading the text happens here.

Ranges and kinds are checked where the sheets are, so that a form and a sheet say the same.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.jobs import THE_FORM

Kind = Literal[
    "number", "whole", "text", "choice", "flag", "pair", "several", "answer", "list", "points"
]

MOST_SIGNS = 200  # of one field: no key of a sheet needs more
MOST_POINT_SIGNS = 20_000  # but for a profile, point by point
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Field:
    """One question of a form.

    Parameters
    ----------
    key : str
        The sheet's key; one of a table is written ``table.key``, and of a table's table alike.
    kind : str
        How the text becomes a value; a pair is two numbers, several is a list of ticked words, an
        answer is yes or no or not said, a list is words with semicolons between them, and points
        are two numbers a line.
    unit : str
        Shown behind the control.
    hint : str
        Key of the catalogue.
    choices : sequence of (value, key of the catalogue)
        The first is chosen when nothing was said, unless the field is required.
    required : bool
        Has no default.
    missing : str
        Key of the catalogue: what is said where a required field is empty.
    """

    key: str
    kind: Kind
    unit: str = ""
    hint: str = ""
    choices: Sequence[tuple[str, str]] = ()
    required: bool = False
    missing: str = ""

    @property
    def label(self) -> str:
        """Return what the field asks."""
        return TEXT[f"field.{self.key}"]

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the controls: a pair has two."""
        return (f"{self.key}.first", f"{self.key}.second") if self.kind == "pair" else (self.key,)

    @property
    def element(self) -> str:
        """Return the id of the control on the page."""
        return self.names[0].replace(".", "-").replace("_", "-")


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under one heading; a folded group opens when something in it was said."""

    title: str
    fields: tuple[Field, ...]
    folded: bool = False


# Of these choices the sheet wants a number, not the word.
NUMERIC_CHOICES = {"superior_deg", "goal.p_complete"}


class WrongField(WrongInput):
    """A field that is missing or cannot be read; ``key`` names it."""

    def __init__(self, key: str, sentence: str) -> None:
        super().__init__(sentence)
        self.key = key


def values_of(form: Sequence[Group], told: Mapping[str, Sequence[str]]) -> dict[str, object]:
    """Which values of a sheet does a filled-in form hold? Empty fields are left out.

    Parameters
    ----------
    form : sequence of Group
    told : mapping
        Name of a control to all that was sent under it; names that the form does not have are
        not looked at.

    Raises
    ------
    WrongField
        A required field is empty, or one came twice or far too long.

    Examples
    --------
    >>> form = (Group("group.eye", (Field("optic_diameter_mm", "number"),)),)
    >>> values_of(form, {"optic_diameter_mm": [" 6,0 "]})
    {'optic_diameter_mm': 6.0}
    """
    values: dict[str, object] = {}
    for field in (field for group in form for field in group.fields):
        value = _value(field, told)
        if value is None and field.required:
            raise WrongField(field.key, TEXT[field.missing])
        if value is None:
            continue
        put_in(values, field.key, value)
    return values


def put_in(values: dict[str, object], key: str, value: object) -> None:
    """Put a value under a key of a sheet, which may lie in a table of a table.

    Examples
    --------
    >>> values = {}
    >>> put_in(values, "visit.refraction.sphere_dpt", -1.0)
    >>> values
    {'visit': {'refraction': {'sphere_dpt': -1.0}}}
    """
    *tables, last = key.split(".")
    place = values
    for table in tables:
        inner = place.setdefault(table, {})
        assert isinstance(inner, dict)
        place = inner
    place[last] = value


def _value(field: Field, told: Mapping[str, Sequence[str]]) -> object:
    if field.kind == "several":
        ticked = tuple(_clean(field, one) for one in told.get(field.key, ())[:20])
        return ticked or None
    texts = []
    for name in field.names:
        given = told.get(name, ())
        if len(given) > 1:
            raise WrongField(field.key, TEXT["error.form"])
        texts.append(_clean(field, given[0]) if given else "")
    if not any(texts):
        return None
    if field.kind == "pair":
        return tuple(_number(text) for text in texts)
    return _read(field, texts[0])


def _read(field: Field, text: str) -> object:
    if field.kind == "flag":
        return True
    if field.kind == "answer":
        return {"yes": True, "no": False}.get(text, text)
    if field.kind == "list":
        return tuple(one.strip() for one in text.split(";") if one.strip())
    if field.kind == "points":
        lines = [line for line in re.split(r"[\n;]+", text) if line.strip()]
        return tuple(tuple(_number(one) for one in line.split()) for line in lines)
    if field.kind == "whole":
        return int(text) if re.fullmatch(r"[+-]?\d{1,9}", text, re.ASCII) else _number(text)
    return _number(text) if field.kind == "number" or field.key in NUMERIC_CHOICES else text


def _clean(field: Field, text: str) -> str:
    if len(text) > (MOST_POINT_SIGNS if field.kind == "points" else MOST_SIGNS):
        raise WrongField(field.key, TEXT["error.form"])
    return text.strip()


def _number(text: str) -> float | str:
    """Return the number; what is none stays a word, for the sheet to refuse by its own sentence."""
    plain = text.replace("−", "-").replace(" ", "")
    return float(plain.replace(",", ".")) if NUMBER.fullmatch(plain) else text


def in_words(sentence: str, form: Sequence[Group]) -> str:
    """How does a sheet's refusal read beside the form: keys by what the fields ask?

    Examples
    --------
    >>> keys = ("cornea.radius_flat_mm", "cornea.radius_steep_mm")
    >>> form = (Group("group.cornea", tuple(Field(key, "number") for key in keys)),)
    >>> in_words("the form: [cornea] radius_flat_mm is 99, and ...", form)
    'Flat radius of the cornea is 99, and ...'
    >>> in_words("the form: cornea has only one of radius_flat_mm and radius_steep_mm", form)
    'cornea has only one of “Flat radius of the cornea” and “Steep radius of the cornea”'
    """
    told = sentence.removeprefix(f"{THE_FORM}: ")
    for field in (field for group in form for field in group.fields):
        table, _, key = field.key.rpartition(".")
        opening = f"[{table}] {key} " if table else f"{key} "
        if told.startswith(opening):
            told = f"{field.label} {told.removeprefix(opening)}"
        elif "_" in key:
            told = re.sub(rf"\b{key}\b", f"“{field.label}”", told)
    return told


def key_in(sentence: str, form: Sequence[Group]) -> str | None:
    """Which field does a sheet's refusal speak of, if any?

    Examples
    --------
    >>> form = (Group("group.cornea", (Field("cornea.radius_flat_mm", "number"),)),)
    >>> key_in("the form: [cornea] radius_flat_mm is 9e9, and ...", form)
    'cornea.radius_flat_mm'
    """
    found = re.match(r"[^:]*: (?:\[([\w.]+)\] )?(\w+)", sentence)
    if found is None:
        return None
    table, key = found.groups()
    name = f"{table}.{key}" if table else key
    keys = [field.key for group in form for field in group.fields]
    # A sentence may be about a whole table: then its first field is the place to go to.
    return next((one for one in keys if one == name or one.startswith(f"{key}.")), None)
