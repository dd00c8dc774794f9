"""Studies of readings in the casebook: of many eyes, in versions, tied into the same history."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import func, insert, select

from rimwise.store.book import Casebook, Kept, Who, WrittenMeanwhile
from rimwise.store.chain import canonical
from rimwise.store.linking import add_link
from rimwise.store.shelf import digest
from rimwise.store.tables import STUDIES

_KIND = "study"


def put_study(
    book: Casebook, code: str, document: Mapping[str, Any], who: Who, expect: int
) -> Kept:
    """Add a version of a study.

    Parameters
    ----------
    book : Casebook
    code : str
        Up to 16 signs; empty: the next number, "M-1" and so on.
    document : mapping
        Plain data for JSON.
    who : Who
    expect : int
        The version that was read before, 0 for a new study.

    Raises
    ------
    WrittenMeanwhile
        Somebody else has written a newer version.
    """
    with book.writing() as db:
        if not code:
            count = db.execute(select(func.count(func.distinct(STUDIES.c.code)))).scalar() or 0
            code = f"M-{count + 1}"
        same = select(func.max(STUDIES.c.version)).where(STUDIES.c.code == code)
        newest = int(db.execute(same).scalar() or 0)
        if newest != expect:
            raise WrittenMeanwhile(f"study {code} was changed meanwhile; look at it again")
        written, at = canonical(document), datetime.now(UTC)
        row = {"version": newest + 1, "sha256": digest(written.encode()), "at": at}
        db.execute(insert(STUDIES).values(code=code, document=written, **row))
        add_link(db, row | {"eye": "", "kind": _KIND, "slot": code}, (who.name, who.why), "put")
    return Kept("", _KIND, code, newest + 1, json.loads(written), str(row["sha256"]), at)


def studies(book: Casebook) -> list[Kept]:
    """Return the newest version of each study, the newest study first."""
    newest: dict[str, Kept] = {}
    with book.reading() as db:
        for row in db.execute(select(STUDIES).order_by(STUDIES.c.id)):
            newest[row.code] = Kept(
                "", _KIND, row.code, row.version, json.loads(row.document), row.sha256, row.at
            )
    return list(reversed(newest.values()))


def study(book: Casebook, code: str) -> Kept | None:
    """What is the newest version of a study? None where there is none."""
    found = [one for one in studies(book) if one.slot == code]
    return found[0] if found else None
