"""The tables of a casebook, the same in SQLite and PostgreSQL.

Everything that was said of an eye is a row of ``records`` that is never changed: a correction is a
new version. ``history`` is a chain of hashes over all that was done. ``eyes`` is an index.
"""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Dialect,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeDecorator

METADATA = MetaData()
# SQLite gives its rows numbers by itself only where they are called INTEGER.
_ROW = BigInteger().with_variant(Integer, "sqlite")


class Moment(TypeDecorator[datetime]):
    """A moment in UTC, as ISO text: SQLite would lose the zone of a date-time."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Return the text that is stored."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its zone")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Return the moment that was stored."""
        return None if value is None else datetime.fromisoformat(str(value))


EYES = Table(
    "eyes",
    METADATA,
    Column("code", String(64), primary_key=True),
    Column("person", String(64), nullable=True),
    Column("side", String(5), nullable=False),
    Column("hidden", Boolean, nullable=False),
    Column("touched", Moment, nullable=False),
    Index("eyes_by_person", "person"),
    Index("eyes_by_touch", "hidden", "touched"),
)

RECORDS = Table(
    "records",
    METADATA,
    Column("id", _ROW, primary_key=True, autoincrement=True),
    Column("eye", String(64), nullable=False),
    Column("kind", String(32), nullable=False),
    Column("slot", String(128), nullable=False),
    Column("version", Integer, nullable=False),
    Column("document", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("at", Moment, nullable=False),
    UniqueConstraint("eye", "kind", "slot", "version", name="one_record_a_version"),
    ForeignKeyConstraint(["eye"], ["eyes.code"], name="record_of_an_eye"),
)

# Of many eyes at once, and as little changed as a record: what readers were asked to read.
STUDIES = Table(
    "studies",
    METADATA,
    Column("id", _ROW, primary_key=True, autoincrement=True),
    Column("code", String(16), nullable=False),
    Column("version", Integer, nullable=False),
    Column("document", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("at", Moment, nullable=False),
    UniqueConstraint("code", "version", name="one_study_a_version"),
)

HISTORY = Table(
    "history",
    METADATA,
    Column("seq", _ROW, primary_key=True, autoincrement=False),
    Column("at", Moment, nullable=False),
    Column("who", String(64), nullable=False),
    Column("program", String(32), nullable=False),
    Column("action", String(32), nullable=False),
    Column("eye", String(64), nullable=False),
    Column("kind", String(32), nullable=False),
    Column("slot", String(128), nullable=False),
    Column("version", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("why", Text, nullable=False),
    Column("before", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)
