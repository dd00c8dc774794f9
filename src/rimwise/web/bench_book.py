"""What the picture workbench asks of the casebook; each function takes the open casebook first."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.bench import Bench
from rimwise.web.catalogue import TEXT

if TYPE_CHECKING:
    from rimwise.store.book import Casebook


MOST_LISTED = 20


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a picture's measurement, as the list shows it."""

    number: int
    at: str
    who: str
    why: str
    status: str


@dataclass(frozen=True, slots=True)
class Keep:
    """What is to be kept of a photograph, by whom and why."""

    eye: str
    entry: Mapping[str, Any]
    who: str
    why: str


def kept_bench(book: "Casebook", eye: str, sha256: str) -> Bench | None:
    """Which photograph of an eye has this hash, with its newest measurement?

    None where there is no such picture. ``entry`` says "refused" where it was not measured yet.

    Raises
    ------
    WrongInput
        It is no hash, or the picture was changed on disk.
    """
    picture = book.newest(eye, "picture", sha256)
    if picture is None:
        return None
    cover = book.newest(eye, "cover", sha256)
    values = dict(picture.document.get("sheet") or {})
    known = book.eye(eye)
    if known is not None:
        values.setdefault("side", known.side)
    entry = {"sha256": sha256} if cover is None else cover.document
    version = 0 if cover is None else cover.version
    return Bench(str(picture.document["name"]), values, entry, None, eye, version)


def picture_bytes(book: "Casebook", sha256: str) -> bytes:
    """Return the whole file of a picture."""
    return book.pictures.get(sha256)


def last_pictures(book: "Casebook") -> list[tuple[str, str, str, str]]:
    """Which pictures were measured last: eye, hash, name of the picture, status?"""
    last = []
    for eye in book.latest_of("cover", MOST_LISTED):
        newest = {one.slot: one for one in book.versions(eye, "cover")}
        for sha256, one in newest.items():
            picture = book.newest(eye, "picture", sha256)
            if picture is not None:
                named = str(picture.document["name"])
                last.append((eye, sha256, named, str(one.document.get("status", ""))))
    return last[:MOST_LISTED]


def versions(book: "Casebook", eye: str, sha256: str) -> list[Version]:
    """Which versions of a picture's measurement are there, oldest first?"""
    told = {
        one["version"]: one
        for one in book.history(eye)
        if (one["kind"], one["slot"]) == ("cover", sha256)
    }
    return [
        Version(
            one.version,
            one.at.strftime("%Y-%m-%d %H:%M"),
            str(told[one.version]["who"]),
            str(told[one.version]["why"]),
            str(one.document["status"]),
        )
        for one in book.versions(eye, "cover", sha256)
    ]


def version(book: "Casebook", eye: str, sha256: str, number: int) -> dict[str, Any] | None:
    """Return one version of a picture's measurement."""
    for one in book.versions(eye, "cover", sha256):
        if one.version == number:
            return one.document
    return None


def keep(book: "Casebook", bench: Bench, what: Keep, seen: int | None) -> int:
    """Keep a measurement as the next version, eye and picture with it where they are new.

    Parameters
    ----------
    book : Casebook
    bench : Bench
    what : Keep
    seen : int or None
        The version that was corrected; None: whatever came meanwhile.

    Returns
    -------
    int
        The new version.

    Raises
    ------
    WrongInput
        The eye is the other one of the person, or a newer version came meanwhile.
    """
    from rimwise.store.book import Who  # noqa: PLC0415

    by = Who(what.who, what.why)
    side = bench.entry["side"]
    known = book.eye(what.eye)
    if known is None:
        book.add_eye(what.eye, side, by)
    elif known.side != side:
        raise WrongInput(TEXT["error.other_side"])
    if bench.data is not None and book.newest(what.eye, "picture", bench.sha256) is None:
        sheet = dict(bench.values) | {"code": what.eye}
        book.add_picture(what.eye, bench.name, bench.data, by, sheet)
    return book.put(what.eye, "cover", what.entry, by, bench.sha256, seen).version
