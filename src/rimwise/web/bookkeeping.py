"""What the eyes' pages ask of the casebook; each function takes the open casebook first."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.filling import differences, next_document, said
from rimwise.web.forms import SHEET_FORMS

if TYPE_CHECKING:
    from rimwise.store.book import Casebook, Consent, Kept, KeptEye
    from rimwise.terms.frames import Side

PAGE = 50
MOST_SHEET_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Asked:
    """What a list of eyes is asked for."""

    search: str = ""
    hidden: bool = False
    side: "Side | None" = None
    after: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """Which record of which eye."""

    eye: str
    kind: str
    slot: str = ""


@dataclass(frozen=True, slots=True)
class Saving:
    """What somebody wants to save, seen from a version, by whom and why."""

    told: Mapping[str, Any]
    seen: int
    who: str
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class EyePage:
    """All that the page of an eye shows; sheets are the newest version of each kind and slot."""

    eye: "KeptEye"
    sheets: "dict[str, list[Kept]]" = field(default_factory=dict)
    fellow: "KeptEye | None" = None

    def lines(self, kind: str) -> list[tuple[str, list[tuple[str, str]]]]:
        """Return the records of a kind as (slot, lines of what and value)."""
        form = SHEET_FORMS[kind]
        return [
            (one.slot, said(form, inside(kind, one.document))) for one in self.sheets.get(kind, [])
        ]

    @property
    def consent(self) -> list[str]:
        """Return to what the person has agreed."""
        kept = self.sheets.get("consent", [])
        return [str(one) for one in kept[0].document["to"]] if kept else []


def inside(kind: str, document: Mapping[str, Any]) -> dict[str, Any]:
    """How does a record lie inside its sheet: a case is the sheet, others are a table of theirs?"""
    return dict(document) if kind == "case" else {kind: dict(document)}


def list_eyes(book: "Casebook", asked: Asked) -> "tuple[list[KeptEye], int]":
    """Which eyes are on this page of the list, and how many are there in all?"""
    eyes = book.eyes(asked.search, asked.hidden, PAGE, asked.after, asked.side)
    return eyes, book.count(asked.search, asked.hidden, asked.side)


def read_eye(book: "Casebook", code: str) -> EyePage | None:
    """What is known of an eye? None where the casebook has no such eye."""
    eye = book.eye(code)
    if eye is None:
        return None
    newest: dict[tuple[str, str], Kept] = {}
    for one in book.records(code):
        newest[one.kind, one.slot] = one
    sheets: dict[str, list[Kept]] = {}
    for (kind, _), one in newest.items():
        sheets.setdefault(kind, []).append(one)
    visits = sheets.get("visit", [])
    visits.sort(key=lambda one: int(one.slot) if one.slot.isdigit() else -1)
    return EyePage(eye, sheets, _fellow(book, eye))


def _fellow(book: "Casebook", eye: "KeptEye") -> "KeptEye | None":
    if eye.person is None:
        return None
    others = [one for one in book.of_person(eye.person) if one.code != eye.code]
    return others[0] if others else None


def add_eye(book: "Casebook", values: Mapping[str, Any], who: str) -> str:
    """Add an eye by the form; returns its code."""
    from rimwise.store.book import Who  # noqa: PLC0415

    book.add_eye(values["code"], values["side"], Who(who), values.get("person"))
    return str(values["code"])


def add_sheet(book: "Casebook", data: bytes, who: str) -> str:
    """Keep what a sheet says; returns the code of its eye.

    Raises
    ------
    WrongInput
        It is no sheet, a value is outside its range, or it does not say of which eye it is.
    """
    from rimwise.store.book import Who  # noqa: PLC0415

    if len(data) > MOST_SHEET_BYTES:
        raise WrongInput(TEXT["error.no_sheet"])
    try:
        values = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError, ValueError):
        raise WrongInput(TEXT["error.no_sheet"]) from None
    course = [kind for kind in ("operation", "visit") if kind in values]
    check_sheet("operation" if course else "case", values)
    code = values.get("code")
    if not code:
        raise WrongInput(TEXT["error.no_code"])
    by = Who(who)
    if course:
        for kind in course:
            day = str(values[kind].get("day", "")) if kind == "visit" else ""
            book.put(code, kind, values[kind], by, slot=day)
        return str(code)
    if "side" not in values:
        raise WrongInput(TEXT["error.side"])
    eye = book.eye(code)
    if eye is None:
        book.add_eye(code, values["side"], by, values.get("person"))
    elif eye.side != values["side"]:
        raise WrongInput(TEXT["error.other_side"])
    book.put(code, "case", values, by)
    return str(code)


def check_sheet(kind: str, values: Mapping[str, Any]) -> None:
    """Refuse what the sheet of this kind would refuse."""
    from rimwise.exchange.course_sheets import CourseKeys  # noqa: PLC0415 - loads much
    from rimwise.exchange.sheet_keys import CaseKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415
    from rimwise.web.jobs import THE_FORM  # noqa: PLC0415

    checked_layer(values, CaseKeys if kind == "case" else CourseKeys, THE_FORM)


def read_record(book: "Casebook", place: Place) -> "Kept | None":
    """What is the newest version of a record?"""
    return book.newest(place.eye, place.kind, place.slot)


def save_sheet(book: "Casebook", place: Place, saving: Saving) -> "Kept":
    """Keep the next version of a sheet as a form says it.

    Raises
    ------
    WrongInput
        A value is outside its range, the reason is missing, or the side is not the eye's.
    WrittenMeanwhile
        A newer version than the one seen is there; nothing was written.
    """
    from rimwise.store.book import Who  # noqa: PLC0415

    kept = read_record(book, place)
    before = inside(place.kind, kept.document) if kept is not None else {}
    sheet = next_document(SHEET_FORMS[place.kind], before, saving.told)
    check_sheet(place.kind, sheet)
    if place.kind == "case":
        _same_eye(book, place.eye, sheet)
    if saving.seen and not saving.why.strip():
        raise WrongInput(TEXT["error.why"])
    if place.kind == "visit" and not place.slot:
        place = Place(place.eye, "visit", str(sheet["visit"]["day"]))
    document = sheet if place.kind == "case" else sheet.get(place.kind, {})
    by = Who(saving.who, saving.why.strip())
    written = book.put(place.eye, place.kind, document, by, place.slot, saving.seen)
    _tie(book, place, document, by)
    return written


def _same_eye(book: "Casebook", code: str, sheet: dict[str, Any]) -> None:
    eye = book.eye(code)
    if eye is not None and sheet.get("side") != eye.side:
        raise WrongInput(TEXT["error.other_side"])
    sheet["code"] = code


def _tie(book: "Casebook", place: Place, document: Mapping[str, Any], by: Any) -> None:
    """Let the list know whose eye it is, where a case sheet says so."""
    eye = book.eye(place.eye)
    person = document.get("person")
    if place.kind == "case" and eye is not None and person and person != eye.person:
        book.name_person(place.eye, str(person), by)


def both_versions(
    book: "Casebook", place: Place, saving: Saving
) -> "tuple[Kept | None, list[tuple[str, str, str]]]":
    """Which version came meanwhile, and where does it differ from what somebody wants to save?"""
    if place.kind == "visit" and not place.slot:
        day = "".join(saving.told.get("visit.day", ())[:1]).strip()
        place = Place(place.eye, "visit", day)
    newer = read_record(book, place)
    form = SHEET_FORMS[place.kind]
    mine = next_document(form, {}, saving.told)
    return newer, differences(form, mine, inside(place.kind, newer.document) if newer else {})


def set_consent(book: "Casebook", code: str, to: "tuple[Consent, ...]", saving: Saving) -> None:
    """Keep to what the person has agreed."""
    from rimwise.store.book import Who  # noqa: PLC0415

    book.set_consent(code, to, Who(saving.who, saving.why))


def set_hidden(book: "Casebook", code: str, hidden: bool, saving: Saving) -> None:
    """Take an eye out of the list, or back into it."""
    from rimwise.store.book import Who  # noqa: PLC0415

    book.hide(code, Who(saving.who, saving.why), hidden)


def versions_of(book: "Casebook", place: Place) -> "list[Kept]":
    """Return the versions of a record, oldest first."""
    return book.versions(place.eye, place.kind, place.slot)


def history_of(book: "Casebook", code: str) -> list[dict[str, Any]]:
    """Return what was done at an eye, the newest first."""
    return list(reversed(book.history(code)))


def save_plan(book: "Casebook", code: str, saving: Saving, document: Mapping[str, Any]) -> None:
    """Keep a plan and the case sheet that it was made from; a new code adds the eye.

    Raises
    ------
    WrongInput
        As for a sheet.
    WrittenMeanwhile
        A newer case sheet than the one seen is there; nothing was written.
    """
    from rimwise.store.book import Who  # noqa: PLC0415

    place, by = Place(code, "case"), Who(saving.who, saving.why)
    values = next_document(SHEET_FORMS["case"], {}, saving.told)
    if book.eye(code) is None:
        book.add_eye(code, values["side"], by, values.get("person"))
    newest = read_record(book, place)
    same = newest is not None and not differences(
        SHEET_FORMS["case"], newest.document, values | {"code": code}
    )
    if not same:
        save_sheet(book, place, saving)
    book.put(code, "plan", dict(document) | {"code": code}, by)


def last_measured(book: "Casebook") -> list[tuple[str, str, dict[str, Any], dict[str, Any] | None]]:
    """Return the last twenty eyes with a measured cover: code, side, cover, plan."""
    last = []
    for code in book.latest_of("cover", 20):
        eye = book.eye(code)
        covers = book.versions(code, "cover")
        plan = book.newest(code, "plan")
        if eye is not None and covers:
            planned = None if plan is None else plan.document
            last.append((code, str(eye.side), covers[-1].document, planned))
    return last
