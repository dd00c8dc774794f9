"""The first tables: eyes, records, history; the latter two refuse changes."""

import sqlalchemy as sa
from alembic import op

revision = "s0001"
down_revision = None

_LOCKED = ("records", "history")


def upgrade() -> None:
    """Make the tables as they were at first; later forms are later steps."""
    row = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "eyes",
        sa.Column("code", sa.String(64), primary_key=True),
        sa.Column("person", sa.String(64), nullable=True),
        sa.Column("side", sa.String(5), nullable=False),
        sa.Column("hidden", sa.Boolean(), nullable=False),
        sa.Column("touched", sa.String(40), nullable=False),
    )
    op.create_index("eyes_by_person", "eyes", ["person"])
    op.create_index("eyes_by_touch", "eyes", ["hidden", "touched"])
    op.create_table(
        "records",
        sa.Column("id", row, primary_key=True, autoincrement=True),
        sa.Column("eye", sa.String(64), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("slot", sa.String(128), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.UniqueConstraint("eye", "kind", "slot", "version", name="one_record_a_version"),
        sa.ForeignKeyConstraint(["eye"], ["eyes.code"], name="record_of_an_eye"),
    )
    op.create_table(
        "history",
        sa.Column("seq", row, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(40), nullable=False),
        *(sa.Column(name, sa.String(size), nullable=False) for name, size in _WORDS),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
    )
    for table in _LOCKED:
        _lock(table)


_WORDS = (
    ("who", 64),
    ("program", 32),
    ("action", 32),
    ("eye", 64),
    ("kind", 32),
    ("slot", 128),
    ("sha256", 64),
    ("before", 64),
    ("hash", 64),
)


def _lock(table: str) -> None:
    """Refuse to change or remove a row: a correction is a new one."""
    said = f"rows of {table} are never changed"
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{said}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_locked() RETURNS trigger AS $$ BEGIN "
        f"RAISE EXCEPTION '{said}'; END $$ LANGUAGE plpgsql"
    )
    op.execute(
        f"CREATE TRIGGER {table}_locked BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table}_locked()"
    )
