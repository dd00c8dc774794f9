"""Which column of a table is which quantity, and what its cells may hold."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from rimwise.audit.headings import FOREIGN, factor_to, folded, unclear, unit_of, without_unit
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column of numbers.

    Parameters
    ----------
    name : str
        Unit in the name, as in the sheets.
    low, high : float
        What is possible; a value outside is listed and left out (common practice, no source).
    meaning : str
    also : tuple of str
        Other headings that mean the same, compared without case, spaces and signs.
    """

    name: str
    low: float
    high: float
    meaning: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NameColumn:
    """A column of names; ``allowed`` is empty where any name may stand."""

    name: str
    meaning: str
    allowed: Mapping[str, str]
    also: tuple[str, ...] = ()


_RIGHT = ("right", "r", "od", "re", "ra", "rechts", "rechtes auge", "droit", "droite", "d",
          "derecho", "destro", "right eye", "oculus dexter")  # fmt: skip
_LEFT = ("left", "l", "os", "le", "la", "links", "linkes auge", "gauche", "g", "og", "oi",
         "izquierdo", "sinistro", "left eye", "oculus sinister")  # fmt: skip
_SIDES = dict.fromkeys(_RIGHT, "right") | dict.fromkeys(_LEFT, "left")
_YES = dict.fromkeys(("true", "yes", "y", "1", "1.0", "ja", "j", "oui", "si", "sí", "wahr",
                      "vrai", "complete"), "1")  # fmt: skip
_NO = dict.fromkeys(("false", "no", "n", "0", "0.0", "nein", "non", "falsch", "faux",
                     "incomplete"), "0")  # fmt: skip
_BELOW_LETTERS = {
    "counting-fingers": ("counting-fingers", "counting fingers", "cf", "fz", "fingerzählen", "cld",
                         "compte les doigts"),
    "hand-motion": ("hand-motion", "hand motion", "hand movements", "hm", "hbw",
                    "handbewegungen", "vbm"),
    "light": ("light", "light perception", "lp", "pl", "pl+", "ls", "lux", "lichtschein"),
    "no-light": ("no-light", "no light perception", "nlp", "npl", "pl-", "nulla lux", "amaurose"),
}  # fmt: skip
BELOW_LETTERS = {word: name for name, words in _BELOW_LETTERS.items() for word in words}

NAME_COLUMNS: tuple[NameColumn, ...] = (
    NameColumn("code", "pseudonym of the eye", {}, ("eye",)),
    NameColumn("picture", "name of its photograph, for --covers", {}, ("photograph", "file")),
    NameColumn("person", "pseudonym of the person", {}, ("patient", "patient id", "subject")),
    NameColumn("side", "right or left eye", _SIDES, ("laterality", "eye side")),
    NameColumn(
        "fixation",
        "what stood behind the visual axis: confirmed, claimed, none, or a registered reference",
        {one: one for one in ("confirmed", "claimed", "none", "reference")},
    ),
    NameColumn("surgeon", "pseudonym of the surgeon", {}),
    NameColumn("technique", "how the opening was made", {}, ("method", "arm")),
    NameColumn("implant", "kind of implant, in own words", {}),
    NameColumn("complications", "what happened, parted by ;", {}, ("complication",)),
    NameColumn("opening", "intact or torn", {"intact": "intact", "torn": "torn"}),
    NameColumn(
        "acuity_category",
        "below letters",
        BELOW_LETTERS,
    ),
    NameColumn(
        "complete",
        "complete cover: true, false or empty",
        _YES | _NO,
        ("complete cover", "covered"),
    ),
)

_CENTRES = tuple(
    NumberColumn(f"{pair}_{axis}_mm", -3.0, 3.0, f"{words}, towards {axis}")
    for pair, words in (
        ("opening_from_target", "opening's centre from its target"),
        ("opening_from_optic", "opening's centre from the optic's"),
        ("optic_from_rest", "optic's centre from its resting place"),
        ("opening_from_visual_axis", "opening's centre from the visual axis"),
        ("optic_from_pupil", "optic's centre from the pupil's"),
        ("optic_from_limbus", "optic's centre from the limbus's"),
    )
    for axis in ("nasal", "superior")
)

NUMBER_COLUMNS: tuple[NumberColumn, ...] = (
    NumberColumn(
        "operation_day", -1e5, 1e6, "day of the operation, any start", ("day of surgery",)
    ),
    NumberColumn("age_years", 0.0, 115.0, "age at the operation", ("age",)),
    NumberColumn("least_cover_mm", -3.0, 3.0, "least cover", ("least cover", "minimum cover")),
    NumberColumn("least_cover_sd_mm", 0.0, 1.0, "sd of one measured least cover"),
    NumberColumn("expected_chance", 0.0, 1.0, "expected chance of an incomplete cover, this eye"),
    NumberColumn("bare_total_deg", 0.0, 360.0, "bare arc"),
    NumberColumn("diameter_mm", 2.0, 8.0, "opening's diameter", ("opening diameter",)),
    NumberColumn("diameter_sd_mm", 0.0, 1.0, "sd of one measured diameter"),
    NumberColumn("target_diameter_mm", 2.0, 8.0, "wanted diameter", ("intended diameter",)),
    *_CENTRES,
    NumberColumn("centre_sd_mm", 0.0, 1.0, "sd of one measured centre, each component"),
    NumberColumn("tilt_nasal_deg", -45.0, 45.0, "tilt of the front of the optic towards nasal"),
    NumberColumn("tilt_superior_deg", -45.0, 45.0, "tilt towards superior"),
    NumberColumn("rotation_deg", -180.0, 180.0, "achieved less intended axis", ("rotation",)),
    NumberColumn("predicted_dpt", -20.0, 20.0, "predicted spherical equivalent", ("predicted se",)),
    NumberColumn("achieved_dpt", -20.0, 20.0, "achieved spherical equivalent", ("achieved se",)),
    NumberColumn("sphere_dpt", -25.0, 25.0, "sphere after surgery", ("sphere",)),
    NumberColumn(
        "cylinder_dpt",
        -12.0,
        12.0,
        "cylinder after surgery; plus is written as minus",
        ("cylinder",),
    ),
    NumberColumn("axis_deg", 0.0, 180.0, "axis of the minus cylinder", ("axis",)),
    NumberColumn("before_cylinder_dpt", 0.0, 15.0, "corneal astigmatism before surgery"),
    NumberColumn("before_steep_deg", 0.0, 180.0, "its steep meridian"),
    NumberColumn("after_cylinder_dpt", 0.0, 15.0, "corneal astigmatism after surgery"),
    NumberColumn("after_steep_deg", 0.0, 180.0, "its steep meridian"),
    NumberColumn("acuity_logmar", -0.4, 2.0, "letters read", ("logmar", "acuity")),
    NumberColumn(
        "acuity_decimal",
        0.01,
        2.5,
        "letters read as decimal or fraction; taken as logMAR",
        ("decimal",),
    ),
    NumberColumn("opacification_score", 0.0, 4.0, "posterior capsule"),
    NumberColumn("laser_day", 0.0, 20000.0, "day of laser after surgery"),
    NumberColumn("followed_days", 0.0, 20000.0, "days watched", ("follow up days",)),
    NumberColumn("axial_mm", 14.0, 40.0, "axial length", ("axial length", "al")),
)


@dataclass(frozen=True, slots=True)
class Mapped:
    """Which heading of a table was taken for which column, and which were not used.

    ``unit_from`` names a heading whose unit was not written and was taken for granted;
    ``factors`` what the cells of a column are multiplied by, where another unit was written;
    ``strange`` says in a sentence which headings bear a unit that their column cannot have.
    """

    columns: Mapping[str, str]
    unused: tuple[str, ...]
    unit_from: tuple[str, ...]
    factors: Mapping[str, float] = field(default_factory=dict)
    strange: tuple[str, ...] = ()


def _known_headings() -> dict[str, str]:
    names = [(one.name, one.also) for one in NAME_COLUMNS]
    names += [(one.name, one.also) for one in NUMBER_COLUMNS]
    known = {
        folded(heading): name for name, also in names for heading in (*FOREIGN.get(name, ()), *also)
    }
    return known | {folded(name): name for name, _ in names}


def _meant(heading: str, known: Mapping[str, str]) -> tuple[str, str]:
    """Column (empty where unknown) and written unit of a heading."""
    words, unit = without_unit(heading)
    whole = known.get(folded(heading), "")
    return (whole, unit) if whole else (known.get(words, ""), unit)


def map_columns(headings: Sequence[str], told: Mapping[str, str] | None = None) -> Mapped:
    """Which quantity does each heading mean?

    Parameters
    ----------
    headings : sequence of str
        As they stand in the table.
    told : mapping of column name to heading, optional
        What the person said; it goes before any guess.

    Raises
    ------
    WrongInput
        A told column or heading is unknown, or two headings mean one quantity.

    Examples
    --------
    >>> dict(map_columns(["Patient ID", "Side", "Least cover"]).columns)
    {'person': 'Patient ID', 'side': 'Side', 'least_cover_mm': 'Least cover'}
    """
    known, taken = _known_headings(), dict(told or {})
    for name, heading in taken.items():
        _check_told(name, heading, headings, set(known.values()))
    columns, strange = dict(taken), []
    for heading in headings:
        name, unit = _meant(heading, known)
        if not name or heading in taken.values() or name in taken:
            continue
        if factor_to(name, unit) is None and unit not in folded(name).split():
            strange.append(f"{heading!r} is in {unit}, which {name} cannot be: not used")
            continue
        if name in columns:
            raise WrongInput(
                f"the headings {columns[name]!r} and {heading!r} both mean {name}; say which with "
                f"--column {name}=HEADING"
            )
        columns[name] = heading
    unused = tuple(one for one in headings if one not in set(columns.values()))
    units, factors = _units(columns)
    strange += [why for one in unused if (why := unclear(one))]
    return Mapped(columns, unused, units, factors, tuple(strange))


def _units(columns: Mapping[str, str]) -> tuple[tuple[str, ...], dict[str, float]]:
    """Which headings bear no unit, and by what are cells in another unit multiplied?"""
    numbers = {one.name for one in NUMBER_COLUMNS}
    silent, factors = [], {}
    for name, heading in columns.items():
        unit = without_unit(heading)[1]
        if name in numbers - {"operation_day"} and unit_of(name) and not unit:
            silent.append(heading)
        factor = factor_to(name, unit)
        if name in numbers and factor is not None and factor != 1.0:
            factors[name] = factor
    return tuple(silent), factors


def _check_told(name: str, heading: str, headings: Sequence[str], names: set[str]) -> None:
    if name not in names:
        near = get_close_matches(name, names, 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise WrongInput(f"{name} is no column that an audit knows{hint}")
    if heading not in headings:
        near = get_close_matches(heading, headings, 1)
        hint = f"; did you mean {near[0]!r}?" if near else f"; it has {', '.join(headings[:12])}"
        raise WrongInput(f"the table has no heading {heading!r}{hint}")
