"""What masked reading asks of the casebook; each function takes the open casebook first."""

import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.masked import Course, MaskedPicture, Study, Task, reading_from, study_from

if TYPE_CHECKING:
    from rimwise.store.book import Casebook

MOST_PICTURES = 300
HIDDEN_VALUES = ("code", "person", "visit_day", "taken", "reference", "consent")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a new study is asked for."""

    title: str
    readers: tuple[str, str]
    judge: str
    turns: int
    limit_mm: float
    start: str
    only_research: bool


def begin(book: "Casebook", asked: Asked, who: str) -> str:
    """Begin a study of the pictures of these eyes; returns its code.

    Raises
    ------
    WrongInput
        Fewer than two pictures can be read, or more than are taken.
    """
    from rimwise.store.book import Who  # noqa: PLC0415
    from rimwise.store.studies import put_study  # noqa: PLC0415

    found = book.pictures_of(asked.start, MOST_PICTURES + 1)
    if len(found) > MOST_PICTURES:
        raise WrongInput(TEXT["masked.many"])
    agreed: dict[str, bool] = {}
    pictures = []
    for eye, sha256 in found:
        if eye not in agreed:
            agreed[eye] = not asked.only_research or "research" in book.consent(eye)
        sheet = _sheet(book, eye, sha256)
        if agreed[eye] and "optic_diameter_mm" in sheet:
            visit = sheet.get("visit_day", sheet.get("taken", ""))
            pictures.append(MaskedPicture(eye, sha256, _arm(book, eye), str(visit)))
    if len({one.sha256 for one in pictures}) < 2:
        raise WrongInput(TEXT["masked.none"])
    pictures = list({one.sha256: one for one in pictures}.values())
    document = {
        "title": asked.title, "readers": list(asked.readers), "judge": asked.judge,
        "turns": asked.turns, "limit_mm": asked.limit_mm, "salt": secrets.token_hex(16),
        "pictures": [asdict(one) for one in pictures], "left_out": len(found) - len(pictures),
    }  # fmt: skip
    return put_study(book, "", document, Who(who, asked.title), 0).slot


def _sheet(book: "Casebook", eye: str, sha256: str) -> dict[str, Any]:
    picture = book.newest(eye, "picture", sha256)
    values = {} if picture is None else dict(picture.document.get("sheet") or {})
    known = book.eye(eye)
    return values if known is None else {"side": known.side} | values


def _arm(book: "Casebook", eye: str) -> str:
    operation = book.newest(eye, "operation")
    return "" if operation is None else str(operation.document.get("technique") or "")


def listed(book: "Casebook") -> list[Study]:
    """Which studies are there, the newest first?"""
    from rimwise.store.studies import studies  # noqa: PLC0415

    return [study_from(one.slot, one.version, one.document) for one in studies(book)]


def course(book: "Casebook", code: str) -> Course | None:
    """How far is this study? None where there is no such study."""
    from rimwise.store.studies import study  # noqa: PLC0415

    kept = study(book, code)
    if kept is None:
        return None
    found = study_from(kept.slot, kept.version, kept.document)
    readings, judged = [], {}
    for eye in dict.fromkeys(one.eye for one in found.pictures):
        readings += [reading_from(one) for one in _of(book, eye, "reading", code)]
        for one in _of(book, eye, "verdict", code):
            judged[str(one["picture"])] = reading_from(one)
    return Course(found, tuple(readings), judged)


def _of(book: "Casebook", eye: str, kind: str, code: str) -> list[dict[str, Any]]:
    return [one.document for one in book.versions(eye, kind) if one.slot.startswith(f"{code}/")]


def masked_picture(book: "Casebook", task: Task) -> tuple[dict[str, Any], bytes]:
    """What of the picture's sheet is needed to read it, and its bytes?"""
    values = _sheet(book, task.eye, task.sha256)
    shown = {key: one for key, one in values.items() if key not in HIDDEN_VALUES}
    return shown, book.pictures.get(task.sha256)


def keep_reading(
    book: "Casebook", task: Task, told: Mapping[str, Any], values: Mapping[str, float] | None
) -> None:
    """Keep what was read, once: nobody reads the same picture again for the same turn.

    Raises
    ------
    WrongInput
        It was read already.
    """
    from rimwise.store.book import Who  # noqa: PLC0415

    kind = "reading" if task.turn else "verdict"
    document = dict(told) | {
        "study": task.study, "picture": task.sha256, "reader": task.reader, "turn": task.turn,
        "values": None if values is None else dict(values),
    }  # fmt: skip
    slot = f"{task.study}/{task.sha256}/{task.turn}/{task.reader}"
    by = Who(task.reader, str(told.get("why") or TEXT["masked.why"]))
    book.put(task.eye, kind, document, by, slot, expect=0)


def kept_readings(book: "Casebook", of: Course, sha256: str) -> list[dict[str, Any]]:
    """Return the first reading of each reader of a picture, in a mixed order that is kept."""
    study = of.study
    eye = study.picture(sha256).eye
    found = [one for one in _of(book, eye, "reading", study.code) if one["picture"] == sha256]
    firsts = [
        next(one for one in found if one["reader"] == name and one["turn"] == 1)
        for name in study.readers
    ]
    turned = int(study.salt[:2], 16) ^ int(sha256[:2], 16)
    return list(reversed(firsts)) if turned % 2 else firsts


def own_findings(book: "Casebook", of: Study) -> dict[str, dict[str, Any]]:
    """Return what the program found by itself in each picture: its first version."""
    found = {}
    for one in of.pictures:
        versions = book.versions(one.eye, "cover", one.sha256)
        if versions:
            found[one.sha256] = versions[0].document
    return found


def close(book: "Casebook", of: Study, who: str) -> None:
    """Close a study: from now on arms, visits and results are told."""
    from rimwise.store.book import Who  # noqa: PLC0415
    from rimwise.store.studies import put_study  # noqa: PLC0415

    document = asdict(replace(of, closed=True)) | {"readers": list(of.readers)}
    for key in ("code", "version"):
        document.pop(key)
    put_study(book, of.code, document, Who(who, TEXT["masked.closed"]), of.version)
