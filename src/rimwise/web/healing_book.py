"""What the page about healing asks of the casebook: an eye's kept photographs with their days."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT

if TYPE_CHECKING:
    from rimwise.store.book import Casebook


@dataclass(frozen=True, slots=True)
class KeptVisit:
    """A kept photograph that may be a visit.

    Parameters
    ----------
    sha256, name : str
    sheet : mapping
        What was told about it when it was kept.
    entry : mapping or None
        Its newest measurement, hands and all; None where it was not measured yet.
    """

    sha256: str
    name: str
    sheet: Mapping[str, Any]
    entry: Mapping[str, Any] | None

    @property
    def when(self) -> str:
        """Return what its sheet says of the day, for the list; empty where it says nothing."""
        day = self.sheet.get("visit_day")
        return str(self.sheet.get("taken") or "") if day is None else f"{TEXT['healing.on']} {day}"

    @property
    def status(self) -> str:
        """Return how it was measured."""
        return TEXT["healing.unread"] if self.entry is None else str(self.entry["status"])


def kept_visits(book: "Casebook", code: str) -> list[KeptVisit] | None:
    """Which photographs does the casebook keep of this eye, in the order they were kept?

    None where there is no such eye; a photograph without a day in its sheet is left out.
    """
    eye = book.eye(code)
    if eye is None:
        return None
    pictures = {one.slot: one.document for one in book.versions(code, "picture")}
    covers = {one.slot: one.document for one in book.versions(code, "cover")}
    found = [
        KeptVisit(slot, str(one["name"]), {"side": eye.side} | dict(one.get("sheet") or {}),
                  covers.get(slot))
        for slot, one in pictures.items()
    ]  # fmt: skip
    return [one for one in found if one.when]


def chosen_visits(
    book: "Casebook", code: str, wanted: Sequence[str]
) -> list[tuple[int, KeptVisit, bytes]]:
    """Which visits are the wanted photographs: day, photograph and whole file?

    Raises
    ------
    WrongInput
        Some tell a day after surgery and others a date only, or a picture was changed on disk.
    """
    chosen = [one for one in kept_visits(book, code) or [] if one.sha256 in wanted]
    return [
        (day, one, book.pictures.get(one.sha256))
        for day, one in zip(_days(chosen), chosen, strict=True)
    ]


def _days(chosen: Sequence[KeptVisit]) -> list[int]:
    """Days after surgery, or since the first of the dates; the two are never mixed."""
    days = [one.sheet.get("visit_day") for one in chosen]
    if all(day is not None for day in days):
        return [int(str(day)) for day in days]
    try:
        taken = [date.fromisoformat(str(one.sheet.get("taken") or "")[:10]) for one in chosen]
    except ValueError:
        raise WrongInput(TEXT["healing.mixed"]) from None
    return [(one - min(taken)).days for one in taken]
