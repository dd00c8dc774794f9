"""Run the steps on the connection that the caller hands over; no file of settings is read."""

from alembic import context

from rimwise.store.tables import METADATA


def _run() -> None:
    connection = context.config.attributes["connection"]
    context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
    with context.begin_transaction():
        context.run_migrations()


# Looked at by itself, outside a migration, there is nothing to run.
if hasattr(context, "config"):
    _run()
