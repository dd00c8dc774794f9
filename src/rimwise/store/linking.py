"""The next link of the history: what was done, tied to all that was done before."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, insert, select

from rimwise import __version__
from rimwise.store.chain import FIRST, link_hash
from rimwise.store.tables import HISTORY


def add_link(db: Connection, row: Mapping[str, Any], by: tuple[str, str], action: str) -> None:
    """Tie to the history what is being written; who writes holds the one writer's place.

    Parameters
    ----------
    db : Connection
    row : mapping
        eye, kind, slot, version, sha256 and at of what is written.
    by : (str, str)
        Who, and why.
    action : str
    """
    last = db.execute(
        select(HISTORY.c.seq, HISTORY.c.hash).order_by(HISTORY.c.seq.desc()).limit(1)
    ).first()
    link = dict(row) | {
        "seq": 1 if last is None else last.seq + 1,
        "who": by[0][:64], "program": __version__, "action": action, "why": by[1],
        "before": FIRST if last is None else last.hash,
    }  # fmt: skip
    db.execute(insert(HISTORY).values(**link, hash=link_hash(link)))
