"""From what is kept back to a filled-in form, and from a form to the next version of a record."""

from collections.abc import Mapping, Sequence
from typing import Any

from rimwise.web.catalogue import TEXT
from rimwise.web.fields import Field, Group, put_in, values_of


def _found(document: Mapping[str, Any], key: str) -> Any:
    """Return what stands under a key, which may lie in a table of a table; None where nothing."""
    place: Any = document
    for part in key.split("."):
        if not isinstance(place, Mapping):
            return None
        place = place.get(part)
    return place


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)


def told_of(form: Sequence[Group], document: Mapping[str, Any]) -> dict[str, list[str]]:
    """How would somebody have filled in this form to say this?

    Parameters
    ----------
    form : sequence of Group
    document : mapping
        What is kept.

    Examples
    --------
    >>> form = (Group("group.goal", (Field("goal.diameter_limits_mm", "pair"),)),)
    >>> told_of(form, {"goal": {"diameter_limits_mm": [4.8, 5.5]}})
    {'goal.diameter_limits_mm.first': ['4.8'], 'goal.diameter_limits_mm.second': ['5.5']}
    """
    told: dict[str, list[str]] = {}
    for field in (field for group in form for field in group.fields):
        value = _found(document, field.key)
        if value is None:
            continue
        if field.kind == "pair" and isinstance(value, list | tuple):
            for name, one in zip(field.names, value, strict=False):
                told[name] = [_text(one)]
        elif field.kind == "several" and isinstance(value, list | tuple):
            told[field.key] = [_text(one) for one in value]
        elif field.kind == "list" and isinstance(value, list | tuple):
            told[field.key] = ["; ".join(_text(one) for one in value)]
        elif field.kind == "points" and isinstance(value, list | tuple):
            told[field.key] = ["\n".join(" ".join(_text(n) for n in one) for one in value)]
        else:
            told[field.key] = [_text(value)]
    return told


def next_document(
    form: Sequence[Group], before: Mapping[str, Any], told: Mapping[str, Sequence[str]]
) -> dict[str, Any]:
    """What is to be kept next: what the form says, and what it does not ask about as before?

    Raises
    ------
    WrongField
        Something in the form cannot be read.

    Examples
    --------
    >>> form = (Group("group.eye", (Field("age_years", "number"), Field("sex", "text"))),)
    >>> next_document(form, {"sex": "female", "reference": "r.json"}, {"age_years": ["71"]})
    {'reference': 'r.json', 'age_years': 71.0}
    """
    asked = {field.key for group in form for field in group.fields}
    kept = _without(before, asked, "")
    for key, value in _flat(values_of(form, told)):
        put_in(kept, key, value)
    return kept


def _without(document: Mapping[str, Any], asked: set[str], prefix: str) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for key, value in document.items():
        if prefix + key in asked:
            continue
        if isinstance(value, Mapping):
            inner = _without(value, asked, f"{prefix}{key}.")
            if inner:
                kept[key] = inner
        else:
            kept[key] = value
    return kept


def _flat(values: Mapping[str, Any], prefix: str = "") -> list[tuple[str, object]]:
    flat: list[tuple[str, object]] = []
    for key, value in values.items():
        if isinstance(value, Mapping):
            flat += _flat(value, f"{prefix}{key}.")
        else:
            flat.append((prefix + key, value))
    return flat


def said(form: Sequence[Group], document: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Which lines (what, value with unit) does a record of this form read as? Unsaid ones not."""
    told = told_of(form, document)
    lines = []
    for field in (field for group in form for field in group.fields):
        texts = [one for name in field.names for one in told.get(name, ())]
        if texts:
            lines.append((field.label, _shown(field, texts)))
    return lines


def _shown(field: Field, texts: Sequence[str]) -> str:
    words = {value: TEXT[word] for value, word in field.choices if value}
    words |= {"yes": TEXT["answer.yes"], "no": TEXT["answer.no"]} if field.kind == "answer" else {}
    text = ", ".join(words.get(one, one) for one in texts).replace("\n", "; ")
    return f"{text} {field.unit}".strip()


def differences(
    form: Sequence[Group], one: Mapping[str, Any], other: Mapping[str, Any]
) -> list[tuple[str, str, str]]:
    """Where do two versions differ: (what, in the one, in the other)?

    Examples
    --------
    >>> form = (Group("group.eye", (Field("age_years", "number"), Field("code", "text"))),)
    >>> differences(form, {"age_years": 71, "code": "E-1"}, {"age_years": 72, "code": "E-1"})
    [('Age in years', '71', '72')]
    """
    first, second = dict(said(form, one)), dict(said(form, other))
    return [
        (what, first.get(what, "–"), second.get(what, "–"))
        for what in dict.fromkeys([*first, *second])
        if first.get(what) != second.get(what)
    ]
