"""Studies in the casebook, and casebooks of the first form brought up to date."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine, insert, text
from sqlalchemy.exc import DatabaseError
from two_stores import Open

from rimwise.store import opening
from rimwise.store.book import Casebook, Who, WrittenMeanwhile
from rimwise.store.linking import add_link
from rimwise.store.opening import BOOK, PICTURES, open_engine
from rimwise.store.shelf import digest
from rimwise.store.studies import put_study, studies, study
from rimwise.store.tables import EYES, RECORDS

WHO = Who("S-2", "a test")
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def test_a_study_is_kept_in_versions_and_tied_into_the_history(again: Open) -> None:
    book = again()
    first = put_study(book, "", {"title": "edges"}, WHO, 0)
    assert first.slot == "M-1"
    assert put_study(book, "", {"title": "others"}, WHO, 0).slot == "M-2"
    closed = put_study(book, "M-1", {"title": "edges", "closed": True}, WHO, 1)
    assert closed.version == 2
    with pytest.raises(WrittenMeanwhile):
        put_study(book, "M-1", {}, WHO, 1)
    assert [one.slot for one in studies(again())] == ["M-2", "M-1"]
    found = study(book, "M-1")
    assert found is not None
    assert found.document["closed"] is True
    assert study(book, "M-9") is None
    assert [one["kind"] for one in book.history("")] == ["study"] * 3
    assert book.verify() == []


def test_a_study_cannot_be_changed_and_a_changed_one_is_found(again: Open) -> None:
    book = again()
    put_study(book, "", {"title": "edges"}, WHO, 0)
    for act in ("UPDATE studies SET document = '{}'", "DELETE FROM studies"):
        with pytest.raises(DatabaseError, match="never changed"), book.writing() as db:
            db.execute(text(act))
    with book.writing() as db:
        db.execute(text("DROP TRIGGER studies_update" if db.dialect.name == "sqlite"
                        else "DROP TRIGGER studies_locked ON studies"))  # fmt: skip
        db.execute(text("UPDATE studies SET document = '{}'"))
    assert book.verify() == ["study M-1, version 1, is not what was written"]


def _first_form(engine_of: Casebook) -> None:
    """Take the casebook back to nothing, then make it as the first program made it."""
    engine = engine_of._engine
    config = Config()
    config.set_main_option("script_location", str(opening._MIGRATIONS))
    with engine.connect().execution_options(writes=True) as db, db.begin():
        for one in ("history", "records", "eyes", "studies", "alembic_version"):
            db.execute(text(f"DROP TABLE {one}"))
        if db.dialect.name == "postgresql":
            for one in ("history", "records", "studies"):
                db.execute(text(f"DROP FUNCTION {one}_locked()"))
        config.attributes["connection"] = db
        command.upgrade(config, "s0001")
        db.execute(insert(EYES).values(code="E-1", person=None, side="left", hidden=False,
                                       touched=AT))  # fmt: skip
        document = json.dumps({"age_years": 70}, separators=(",", ":"))
        row = {"eye": "E-1", "kind": "case", "slot": "", "version": 1,
               "sha256": digest(document.encode()), "at": AT}  # fmt: skip
        db.execute(insert(RECORDS).values(**row, document=document))
        add_link(db, row, ("S-2", "of old"), "put")


def test_a_casebook_of_the_first_form_is_brought_up_and_loses_nothing(again: Open) -> None:
    _first_form(again())
    book = again()
    assert [one.document for one in book.versions("E-1", "case")] == [{"age_years": 70}]
    assert book.verify() == []
    assert studies(book) == []
    put_study(book, "", {"title": "edges"}, WHO, 0)
    assert book.put("E-1", "case", {"age_years": 71}, WHO, expect=1).version == 2
    with pytest.raises(DatabaseError, match="never changed"), book.writing() as db:
        db.execute(text("UPDATE records SET document = '{}'"))
    assert again().verify() == []


def test_a_file_of_the_first_form_is_brought_up(tmp_path: Path) -> None:
    """As a user has it: a folder that an older program left."""
    with Casebook(tmp_path / "made") as made:
        _first_form(made)
    folder = tmp_path / "old"
    (folder / PICTURES).mkdir(parents=True)
    shutil.copy(tmp_path / "made" / BOOK, folder / BOOK)
    with create_engine(f"sqlite:///{folder / BOOK}").connect() as db:
        assert db.execute(text("SELECT version_num FROM alembic_version")).scalar() == "s0001"
    with Casebook(folder) as book:
        assert book.verify() == []
    engine = open_engine(folder)
    with engine.connect() as db:
        assert db.execute(text("SELECT version_num FROM alembic_version")).scalar() == "s0002"
    engine.dispose()
