"""How eyes are looked for, so that a hundred thousand of them are no burden."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, ColumnElement, Engine, Select, and_, func, select, union

from rimwise.store.tables import EYES, RECORDS
from rimwise.terms.frames import Side


@dataclass(frozen=True, slots=True)
class Sought:
    """Which eyes: beginning of a code or a person's code, in the list or out of it, one side."""

    start: str = ""
    hidden: bool = False
    side: Side | None = None


def listed(engine: Engine, sought: Sought, counted: Select[Any] | None = None) -> Select[Any]:
    """Which query finds these eyes, or counts them?"""
    query = select(EYES) if counted is None else counted.select_from(EYES)
    if sought.side is not None:
        query = query.where(EYES.c.side == sought.side)
    if not sought.start:
        return query.where(EYES.c.hidden == sought.hidden)
    # What was found leads, each part by its own index; "hidden" wrapped up so that its index,
    # which holds nearly every eye, is not taken instead.
    query = query.where(func.coalesce(EYES.c.hidden, sought.hidden) == sought.hidden)
    parts = [
        select(EYES.c.code).where(_begins(engine, one, sought.start))
        for one in (EYES.c.code, EYES.c.person)
    ]
    return query.where(EYES.c.code.in_(union(*parts)))


def _begins(engine: Engine, column: Column[Any], start: str) -> ColumnElement[bool]:
    if engine.dialect.name == "sqlite":
        # A range finds its place in an index; LIKE would read every eye.
        return and_(column >= start, column < start + chr(0x10FFFF))
    escaped = start.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return column.like(f"{escaped}%", escape="\\")


def eyes_with(kind: str) -> Select[Any]:
    """Which query finds the eyes of the list with a record of this kind, the newest first?"""
    newest = func.max(RECORDS.c.id)
    return (
        select(RECORDS.c.eye)
        .join(EYES, EYES.c.code == RECORDS.c.eye)
        .where(RECORDS.c.kind == kind, ~EYES.c.hidden)
        .group_by(RECORDS.c.eye)
        .order_by(newest.desc())
    )


def pictures_of(engine: Engine, start: str, sha256: str = "") -> Select[Any]:
    """Which query finds the pictures, or one, of the eyes of the list whose code begins so?"""
    query = (
        select(RECORDS.c.eye, RECORDS.c.slot)
        .join(EYES, EYES.c.code == RECORDS.c.eye)
        .where(RECORDS.c.kind == "picture", ~EYES.c.hidden)
        .group_by(RECORDS.c.eye, RECORDS.c.slot)
        .order_by(RECORDS.c.eye, func.min(RECORDS.c.id))
    )
    if sha256:
        query = query.where(RECORDS.c.slot == sha256)
    return query.where(_begins(engine, EYES.c.code, start)) if start else query
