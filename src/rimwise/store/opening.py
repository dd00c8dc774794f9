"""Open a casebook: make it or bring its tables up to date, and look whether it is whole."""

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.exc import DatabaseError, OperationalError

from rimwise.terms.errors import OutputFailed, WrongInput

WAIT_S = 10.0
_MIGRATIONS = Path(__file__).parent / "migrations"
BOOK, PICTURES = "casebook.sqlite", "pictures"


def open_engine(folder: Path, url: str | None = None) -> Engine:
    """Which engine reads and writes the casebook of this folder?

    Parameters
    ----------
    folder : Path
        Holds the pictures and, without a URL, the database; made where it is missing.
    url : str, optional
        Of a PostgreSQL database, postgresql+psycopg://...

    Raises
    ------
    WrongInput
        The database is damaged, of a newer program, or is no casebook.
    OutputFailed
        The folder or the database cannot be written.
    """
    try:
        (folder / PICTURES).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputFailed(
            f"the casebook {folder} cannot be made ({error.strerror}); give another folder"
        ) from None
    engine = _sqlite(folder / BOOK) if url is None else create_engine(url, pool_pre_ping=True)
    try:
        _bring_up(engine)
    except OperationalError as error:
        engine.dispose()
        raise OutputFailed(
            f"the casebook {folder} cannot be opened ({_words(error)}); check disk, rights and "
            "address"
        ) from None
    except DatabaseError as error:
        engine.dispose()
        raise WrongInput(
            f"{folder / BOOK} is damaged or no casebook ({_words(error)}); restore a backup with "
            "rimwise casebook restore"
        ) from None
    except WrongInput:
        engine.dispose()
        raise
    return engine


def _words(error: BaseException) -> str:
    return " ".join(str(getattr(error, "orig", error)).split())[:120]


def _sqlite(path: Path) -> Engine:
    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": WAIT_S})

    @event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: Any) -> None:
        # The driver must not open transactions by itself: a writer asks for its place at once.
        connection.isolation_level = None
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _bring_up(engine: Engine) -> None:
    from alembic import command  # noqa: PLC0415 - only at opening
    from alembic.config import Config  # noqa: PLC0415
    from alembic.runtime.migration import MigrationContext  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    newest = ScriptDirectory.from_config(config).get_current_head()
    if engine.dialect.name == "sqlite":
        _check_whole(engine)
    with engine.connect() as connection:
        now = MigrationContext.configure(connection).get_current_revision()
        known = {one.revision for one in ScriptDirectory.from_config(config).walk_revisions()}
    if now == newest:
        return
    if now is not None and now not in known:
        raise WrongInput(
            f"the casebook was written by a newer program (form {now}); use that one, or restore "
            "an older backup"
        )
    if now is None and set(inspect(engine).get_table_names()) - {"alembic_version"}:
        raise WrongInput("the database holds tables that are no casebook's; give an empty one")
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name != "sqlite":
            connection.execute(text("SELECT pg_advisory_xact_lock(727101)"))
        # Another program may have done it while this one waited.
        if MigrationContext.configure(connection).get_current_revision() != newest:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def _check_whole(engine: Engine) -> None:
    with engine.connect() as connection:
        said = connection.exec_driver_sql("PRAGMA quick_check").scalar()
    if said != "ok":
        raise WrongInput(
            f"the casebook is damaged ({str(said)[:80]}); restore a backup with rimwise casebook "
            "restore"
        )
