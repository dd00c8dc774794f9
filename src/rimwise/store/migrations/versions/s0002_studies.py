"""Studies of readings: a table of their own, since a study is of many eyes; no row is changed."""

import sqlalchemy as sa
from alembic import op

revision = "s0002"
down_revision = "s0001"


def upgrade() -> None:
    """Add the table, and lock its rows as those of the records are."""
    op.create_table(
        "studies",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            primary_key=True,
            autoincrement=True,
        ),
        sa.Column("code", sa.String(16), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.UniqueConstraint("code", "version", name="one_study_a_version"),
    )
    said = "rows of studies are never changed"
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER studies_{act.lower()} BEFORE {act} ON studies "
                f"BEGIN SELECT RAISE(ABORT, '{said}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION studies_locked() RETURNS trigger AS $$ BEGIN "
        f"RAISE EXCEPTION '{said}'; END $$ LANGUAGE plpgsql"
    )
    op.execute(
        "CREATE TRIGGER studies_locked BEFORE UPDATE OR DELETE ON studies "
        "FOR EACH ROW EXECUTE FUNCTION studies_locked()"
    )
