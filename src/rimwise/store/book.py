"""The casebook: eyes, their records in versions, pictures, consent, and what was done when."""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import (
    Connection,
    Select,
    and_,
    func,
    insert,
    select,
    text,
    update,
)
from sqlalchemy.exc import IntegrityError, OperationalError

from rimwise.store.chain import broken_link, canonical
from rimwise.store.finding import Sought, eyes_with, listed, pictures_of
from rimwise.store.linking import add_link
from rimwise.store.opening import PICTURES, WAIT_S, open_engine
from rimwise.store.shelf import PictureShelf, digest
from rimwise.store.tables import EYES, HISTORY, RECORDS, STUDIES
from rimwise.terms.errors import OutputFailed, WrongInput
from rimwise.terms.frames import Side

Consent = Literal["care", "teaching", "research", "publication"]
CONSENTS: tuple[Consent, ...] = ("care", "teaching", "research", "publication")
_LOCK = 727102


@dataclass(frozen=True, slots=True)
class Who:
    """Who writes and why; ``name`` is a pseudonym."""

    name: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class KeptEye:
    """An eye as the list shows it."""

    code: str
    side: Side
    person: str | None
    hidden: bool
    touched: datetime


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """One version of one record.

    Parameters
    ----------
    eye, kind, slot : str
        Of which eye, what it is ("case", "cover", "visit", "picture", ...), and which one of it.
    version : int
        From 1.
    document : dict
    sha256 : str
        Of the document's canonical text.
    at : datetime
        UTC.
    """

    eye: str
    kind: str
    slot: str
    version: int
    document: dict[str, Any]
    sha256: str
    at: datetime


class WrittenMeanwhile(WrongInput):
    """A newer version of a record came between reading it and writing the next."""


class Casebook:
    """Keeps what is known of eyes; a correction adds a version, nothing is overwritten.

    One program writes at a time: another waits up to ten seconds and is then told so. Any number
    may read.
    """

    def __init__(self, folder: Path, url: str | None = None) -> None:
        self.folder = folder
        self._engine = open_engine(folder, url)
        self.pictures = PictureShelf(folder / PICTURES)

    def close(self) -> None:
        """Let the database go."""
        self._engine.dispose()

    def __enter__(self) -> "Casebook":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Hold the one writer's place: all of it is kept, or nothing."""
        try:
            with (
                self._engine.connect().execution_options(writes=True) as connection,
                connection.begin(),
            ):
                if self._engine.dialect.name == "postgresql":
                    connection.execute(text(f"SET LOCAL lock_timeout = '{int(WAIT_S)}s'"))
                    connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
                yield connection
        except OperationalError as error:
            words = " ".join(str(error.orig).split())[:100]
            if "locked" in words or "lock timeout" in words:
                raise OutputFailed(
                    f"another program is writing into the casebook; it was waited for {WAIT_S:.0f} "
                    "s: try again when it is done"
                ) from None
            raise OutputFailed(
                f"the casebook could not be written ({words}); nothing was changed: free space or "
                "check its rights"
            ) from None

    def reading(self) -> Connection:
        """Return a connection to read by."""
        return self._engine.connect()

    def add_eye(self, code: str, side: Side, who: Who, person: str | None = None) -> None:
        """Add an eye under its pseudonym.

        Raises
        ------
        WrongInput
            The code is taken or empty, or this person has another eye of this side.
        """
        if not code.strip() or len(code) > 64:
            raise WrongInput(f"an eye needs a code of 1 to 64 signs, got {code[:80]!r}")
        if side not in {"right", "left"}:
            raise WrongInput(f"a side is right or left, got {side!r}")
        try:
            with self.writing() as db:
                if person is not None:
                    self._check_person(db, person, side)
                row = {"code": code, "person": person, "side": side, "hidden": False}
                db.execute(insert(EYES).values(**row, touched=_now()))
                self._add(db, (code, "eye", ""), {"side": side, "person": person}, who, "add")
        except IntegrityError:
            raise WrongInput(f"the casebook has an eye {code} already; give another code") from None

    def _check_person(self, db: Connection, person: str, side: Side, own: str = "") -> None:
        same = and_(EYES.c.person == person, EYES.c.side == side, ~EYES.c.hidden,
                    EYES.c.code != own)  # fmt: skip
        other = db.execute(select(EYES.c.code).where(same)).scalar()
        if other is not None:
            raise WrongInput(
                f"{person} has a {side} eye in the casebook already ({other}); check person and "
                "side"
            )

    def put(
        self, eye: str, kind: str, document: Mapping[str, Any], who: Who, slot: str = "",
        expect: int | None = None,
    ) -> Kept:  # fmt: skip
        """Add a version of a record.

        Parameters
        ----------
        eye, kind, slot : str
        document : mapping
            Plain data for JSON.
        who : Who
        expect : int, optional
            The version that was read before: where a newer one came meanwhile it is refused, so
            that nobody's work is lost.

        Raises
        ------
        WrongInput
            No such eye.
        WrittenMeanwhile
            Somebody else has written a newer version.
        """
        with self.writing() as db:
            self._check_eye(db, eye)
            newest = self._newest(db, eye, kind, slot)
            if expect is not None and newest != expect:
                raise WrittenMeanwhile(
                    f"{kind} of {eye} was changed meanwhile (version {newest}, not {expect}); look "
                    "at the newer one, then save yours again as the next"
                )
            return self._add(db, (eye, kind, slot), document, who, "put")

    def add_picture(
        self, eye: str, name: str, data: bytes, who: Who, sheet: Mapping[str, Any] | None = None
    ) -> str:
        """Keep a picture of an eye with its sheet; returns its hash."""
        with self._engine.connect() as db:
            self._check_eye(db, eye)
        # The picture first: a record never points to one that is not there.
        sha256 = self.pictures.put(data)
        told = {"name": Path(name).name, "sha256": sha256, "bytes": len(data)}
        self.put(eye, "picture", told | {"sheet": dict(sheet or {})}, who, slot=sha256)
        return sha256

    def set_consent(self, eye: str, to: tuple[Consent, ...], who: Who) -> None:
        """Say to what the person has agreed; a later word replaces it, both are kept."""
        unknown = [one for one in to if one not in CONSENTS]
        if unknown:
            raise WrongInput(f"consent is to {', '.join(CONSENTS)}; got {', '.join(unknown)}")
        self.put(eye, "consent", {"to": list(to)}, who)

    def consent(self, eye: str) -> tuple[str, ...]:
        """To what has the person agreed?"""
        kept = self.newest(eye, "consent")
        return () if kept is None else tuple(str(one) for one in kept.document["to"])

    def name_person(self, eye: str, person: str | None, who: Who) -> None:
        """Say whose eye this is, or take that back.

        Raises
        ------
        WrongInput
            This person has another eye of this side.
        """
        with self.writing() as db:
            self._check_eye(db, eye)
            side: Side = db.execute(select(EYES.c.side).where(EYES.c.code == eye)).scalar_one()
            if person is not None:
                self._check_person(db, person, side, eye)
            db.execute(update(EYES).where(EYES.c.code == eye).values(person=person))
            self._add(db, (eye, "eye", ""), {"side": side, "person": person}, who, "put")

    def hide(self, eye: str, who: Who, hidden: bool = True) -> None:
        """Take an eye out of the lists, or back into them; nothing of it is removed."""
        with self.writing() as db:
            self._check_eye(db, eye)
            db.execute(update(EYES).where(EYES.c.code == eye).values(hidden=hidden))
            action = "hide" if hidden else "show"
            self._add(db, (eye, "hidden", ""), {"hidden": hidden}, who, action)

    def eyes(self, search: str = "", hidden: bool = False, limit: int = 50, after: int = 0,
             side: Side | None = None) -> list[KeptEye]:  # fmt: skip
        """Which eyes are there, those touched last first?

        Parameters
        ----------
        search : str
            Beginning of the code or of the person's code.
        hidden : bool
            Those taken out of the lists instead.
        limit, after : int
            A page of the list.
        side : str, optional
            Only those of one side.
        """
        return self._eyes(listed(self._engine, Sought(search, hidden, side)), limit, after)

    def count(self, search: str = "", hidden: bool = False, side: Side | None = None) -> int:
        """How many eyes are there?"""
        query = listed(self._engine, Sought(search, hidden, side), select(func.count()))
        with self._engine.connect() as db:
            return int(db.execute(query).scalar() or 0)

    def eye(self, code: str) -> KeptEye | None:
        """Which eye has this code, in the list or taken out of it?"""
        found = self._eyes(select(EYES).where(EYES.c.code == code), 1, 0)
        return found[0] if found else None

    def of_person(self, person: str) -> list[KeptEye]:
        """Which eyes of this person are in the list?"""
        return self._eyes(select(EYES).where(EYES.c.person == person, ~EYES.c.hidden), 10, 0)

    def latest_of(self, kind: str, limit: int) -> list[str]:
        """Which eyes of the list have a record of this kind, those written last first?"""
        with self._engine.connect() as db:
            return [row.eye for row in db.execute(eyes_with(kind).limit(limit))]

    def pictures_of(self, start: str, limit: int, sha256: str = "") -> list[tuple[str, str]]:
        """Which pictures (eye, hash), or this one, do eyes have whose code begins so?"""
        with self._engine.connect() as db:
            found = db.execute(pictures_of(self._engine, start, sha256).limit(limit))
            return [(row.eye, row.slot) for row in found]

    def _eyes(self, query: Select[Any], limit: int, after: int) -> list[KeptEye]:
        query = query.order_by(EYES.c.touched.desc(), EYES.c.code).limit(limit).offset(after)
        with self._engine.connect() as db:
            return [
                KeptEye(row.code, row.side, row.person, row.hidden, row.touched)
                for row in db.execute(query)
            ]

    def newest(self, eye: str, kind: str, slot: str = "") -> Kept | None:
        """What is the newest version of a record?"""
        versions = self.versions(eye, kind, slot)
        return versions[-1] if versions else None

    def versions(self, eye: str, kind: str, slot: str | None = None) -> list[Kept]:
        """Which versions of a record are there, oldest first? All of its kind without a slot."""
        query = select(RECORDS).where(RECORDS.c.eye == eye, RECORDS.c.kind == kind)
        if slot is not None:
            query = query.where(RECORDS.c.slot == slot)
        with self._engine.connect() as db:
            return [_kept(row) for row in db.execute(query.order_by(RECORDS.c.id))]

    def records(self, eye: str) -> list[Kept]:
        """Return all versions of all records of an eye, oldest first."""
        query = select(RECORDS).where(RECORDS.c.eye == eye).order_by(RECORDS.c.id)
        with self._engine.connect() as db:
            return [_kept(row) for row in db.execute(query)]

    def history(self, eye: str | None = None) -> list[dict[str, Any]]:
        """What was done, in order?"""
        query = select(HISTORY).order_by(HISTORY.c.seq)
        if eye is not None:
            query = query.where(HISTORY.c.eye == eye)
        with self._engine.connect() as db:
            return [dict(row._mapping) for row in db.execute(query)]

    def verify(self) -> list[str]:
        """What is wrong with the casebook? Nothing is the answer hoped for.

        The chain of the history, each record against the hash that the history keeps, and each
        picture against its name.
        """
        links = self.history()
        broken = broken_link(links)
        wrong = []
        if broken is not None:
            wrong.append(f"the history does not hold from its entry {broken} on")
        told = {
            (one["eye"], one["kind"], one["slot"], one["version"]): one["sha256"] for one in links
        }
        with self._engine.connect() as db:
            for row in db.execute(select(RECORDS)):
                written = told.pop((row.eye, row.kind, row.slot, row.version), None)
                wrong += self._wrong_row(row, written)
            for study in db.execute(select(STUDIES)):
                written = told.pop(("", "study", study.code, study.version), None)
                if written != study.sha256 or digest(study.document.encode()) != study.sha256:
                    wrong.append(f"study {study.code}, version {study.version}, is not what was "
                                 "written")  # fmt: skip
        missing = [f"{kind} of {eye or slot}, version {number}" for eye, kind, slot, number in told]
        return wrong + [f"{one}, is missing" for one in missing]

    def _wrong_row(self, row: Any, written: str | None) -> list[str]:
        if written != row.sha256 or digest(row.document.encode()) != row.sha256:
            return [f"{row.kind} of {row.eye}, version {row.version}, is not what was written"]
        if row.kind != "picture":
            return []
        try:
            self.pictures.get(row.slot)
        except WrongInput as error:
            return [error.sentence]
        return []

    def _check_eye(self, db: Connection, eye: str) -> None:
        if db.execute(select(EYES.c.code).where(EYES.c.code == eye)).scalar() is None:
            raise WrongInput(f"the casebook has no eye {eye[:64]!r}; add it first")

    def _newest(self, db: Connection, eye: str, kind: str, slot: str) -> int:
        same = and_(RECORDS.c.eye == eye, RECORDS.c.kind == kind, RECORDS.c.slot == slot)
        return int(db.execute(select(func.max(RECORDS.c.version)).where(same)).scalar() or 0)

    def _add(
        self, db: Connection, place: tuple[str, str, str], document: Mapping[str, Any], who: Who,
        action: str,
    ) -> Kept:  # fmt: skip
        eye, kind, slot = place
        written = canonical(document)
        version, at = self._newest(db, *place) + 1, _now()
        row = {"eye": eye, "kind": kind, "slot": slot, "version": version,
               "sha256": digest(written.encode()), "at": at}  # fmt: skip
        db.execute(insert(RECORDS).values(**row, document=written))
        add_link(db, row, (who.name, who.why), action)
        db.execute(update(EYES).where(EYES.c.code == eye).values(touched=at))
        return Kept(eye, kind, slot, version, json.loads(written), str(row["sha256"]), at)


def _now() -> datetime:
    return datetime.now(UTC)


def _kept(row: Any) -> Kept:
    return Kept(
        row.eye, row.kind, row.slot, row.version, json.loads(row.document), row.sha256, row.at
    )
