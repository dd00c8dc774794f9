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

Kind = Literal["number", "whole", "text", "choice", "flag", "pair", "several"]

MOST_SIGNS = 200  # of one field: no key of a sheet needs more
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Field:
    """One question of a form.

    Parameters
    ----------
    key : str
        The sheet's key; one of a table is written ``table.key``.
    kind : str
        How the text becomes a value; a pair is two numbers, several is a list of ticked words.
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


def _words(*values: str) -> tuple[tuple[str, str], ...]:
    return tuple((value, f"choice.{value}") for value in values)


_SIDE = Field("side", "choice", choices=_words("right", "left"), required=True,
              missing="error.side")  # fmt: skip
_CODE = Field("code", "text", hint="field.code.hint")
_OPTIC_HINT = "field.optic_diameter_mm.hint"
_RADIUS_HINT = "field.cornea.radius_mm.hint"


def _mm(key: str, hint: str = "") -> Field:
    return Field(key, "number", "mm", hint)


def _pair(key: str, hint: str = "") -> Field:
    return Field(key, "pair", "mm", hint)


MEASURE_FORM = (
    Group(
        "group.eye",
        (
            _SIDE,
            Field("optic_diameter_mm", "number", "mm", _OPTIC_HINT, required=True,
                  missing="error.optic"),
            Field("superior_deg", "choice", choices=_words("90", "270", "0", "180")),
        ),
    ),
    Group(
        "group.more",
        (
            _CODE,
            Field("visit_day", "whole"),
            _mm("optic_diameter_sd_mm", "field.optic_diameter_sd_mm.hint"),
            Field("state", "choice", choices=_words("visit", "implant", "gel-implant")),
            Field("mirrored", "flag"),
        ),
        folded=True,
    ),
)  # fmt: skip

PLAN_FORM = (
    Group(
        "group.eye",
        (
            _SIDE,
            Field("age_years", "number"),
            Field("corneal_surgery", "choice", required=True, missing="error.corneal_surgery",
                  choices=_words("none", "myopic", "hyperopic", "radial", "graft", "keratoconus",
                                 "unknown")),
            _CODE,
        ),
    ),
    Group(
        "group.cornea",
        (
            _mm("cornea.radius_flat_mm", _RADIUS_HINT),
            _mm("cornea.radius_steep_mm", _RADIUS_HINT),
            _mm("lengths.chamber_depth_mm", "field.lengths.chamber_depth_mm.hint"),
            _mm("lengths.pupil_dilated_mm", "field.lengths.pupil_dilated_mm.hint"),
        ),
    ),
    Group(
        "group.opening",
        (
            Field("implant.optic_diameter_mm", "number", "mm", _OPTIC_HINT, required=True,
                  missing="error.optic"),
            Field("opening.centre", "choice",
                  choices=(("", "choice.all_centres"),
                           *_words("visual_axis", "lens", "pupil", "limbus"))),
            _mm("opening.diameter_mm", "field.opening.diameter_mm.hint"),
        ),
    ),
    Group(
        "group.risks",
        (Field("risks", "several",
               choices=_words("pseudoexfoliation", "weak-zonule", "uveitis", "vitrectomy",
                              "dense-lens", "alpha-blocker", "small-pupil", "high-myopia")),),
        folded=True,
    ),
    Group(
        "group.hand",
        (
            _pair("spread.opening_from_target_bias_mm",
                  "field.spread.opening_from_target_bias_mm.hint"),
            _pair("spread.opening_from_target_sd_mm"),
            _mm("spread.diameter_bias_mm", "field.spread.diameter_bias_mm.hint"),
            _mm("spread.diameter_sd_mm"),
            _pair("spread.optic_from_rest_sd_mm"),
        ),
        folded=True,
    ),
    Group(
        "group.refraction",
        (
            _mm("lengths.axial_mm", "field.lengths.axial_mm.hint"),
            Field("implant.a_constant", "number"),
            Field("implant.constants_source", "text", hint="field.implant.constants_source.hint"),
            Field("implant.power_dpt", "number", "dpt", "field.implant.power_dpt.hint"),
            Field("goal.refraction_dpt", "number", "dpt"),
            _mm("lengths.lens_thickness_mm", "field.lengths.lens_thickness_mm.hint"),
            _mm("lengths.white_to_white_mm", "field.lengths.white_to_white_mm.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.goal",
        (
            Field("goal.p_complete", "choice", choices=_words("0.95", "0.9", "0.98", "0.99")),
            _mm("goal.least_cover_mm", "field.goal.least_cover_mm.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.centres",
        (
            _pair("centres.lens_mm", "field.centres.visual_axis_mm.hint"),
            _pair("centres.visual_axis_mm", "field.centres.visual_axis_mm.hint"),
        ),
        folded=True,
    ),
)  # fmt: skip

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
    >>> values_of(MEASURE_FORM, {"side": ["left"], "optic_diameter_mm": [" 6,0 "]})
    {'side': 'left', 'optic_diameter_mm': 6.0}
    """
    values: dict[str, object] = {}
    for field in (field for group in form for field in group.fields):
        value = _value(field, told)
        if value is None and field.required:
            raise WrongField(field.key, TEXT[field.missing])
        if value is None:
            continue
        table, _, key = field.key.rpartition(".")
        place = values.setdefault(table, {}) if table else values
        assert isinstance(place, dict)
        place[key] = value
    return values


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
    text = texts[0]
    if field.kind == "flag":
        return True
    if field.kind == "whole":
        return int(text) if re.fullmatch(r"\d{1,9}", text, re.ASCII) else _number(text)
    return _number(text) if field.kind == "number" or field.key in NUMERIC_CHOICES else text


def _clean(field: Field, text: str) -> str:
    if len(text) > MOST_SIGNS:
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
    >>> in_words("the form: [cornea] radius_flat_mm is 99, and ...", PLAN_FORM)
    'Flat radius of the cornea is 99, and ...'
    >>> in_words("the form: cornea has only one of radius_flat_mm and radius_steep_mm", PLAN_FORM)
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
    >>> key_in("the form: [cornea] radius_flat_mm is 9e9, and ...", PLAN_FORM)
    'cornea.radius_flat_mm'
    """
    found = re.match(r"[^:]*: (?:\[(\w+)\] )?(\w+)", sentence)
    if found is None:
        return None
    table, key = found.groups()
    name = f"{table}.{key}" if table else key
    keys = [field.key for group in form for field in group.fields]
    # A sentence may be about a whole table: then its first field is the place to go to.
    return next((one for one in keys if one == name or one.startswith(f"{key}.")), None)
