"""The casebook: versions, history, pictures, consent, copies; on SQLite and on PostgreSQL alike."""

import hashlib
import json
import multiprocessing
import random
import resource
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest
import tree
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError
from two_stores import Open
from typer.testing import CliRunner

from rimwise.casebook.book import add_file
from rimwise.cli.main import app
from rimwise.store.book import Casebook, Who
from rimwise.store.moving import backup, export_all, restore
from rimwise.store.opening import BOOK, open_engine
from rimwise.store.tables import METADATA
from rimwise.terms.errors import OutputFailed, WrongInput
from rimwise.web.bench_book import kept_bench
from rimwise.web.jobs import picture_sheet

WHO = Who("S-2", "a test")


def test_a_correction_is_a_new_version(again: Open) -> None:
    book = again()
    book.add_eye("E-1", "left", WHO, "P-1")
    first = book.put("E-1", "case", {"age_years": 70}, WHO)
    second = book.put("E-1", "case", {"age_years": 71}, Who("S-2", "a slip"), expect=1)
    assert (first.version, second.version) == (1, 2)
    other = again()
    assert [one.document["age_years"] for one in other.versions("E-1", "case")] == [70, 71]
    newest = other.newest("E-1", "case")
    assert newest is not None
    assert newest.at.utcoffset() is not None
    links = other.history("E-1")
    assert [one["action"] for one in links] == ["add", "put", "put"]
    assert links[-1]["why"] == "a slip"
    assert other.verify() == []


def test_the_second_of_two_writers_is_told(again: Open) -> None:
    one, two = again(), again()
    one.add_eye("E-1", "right", WHO)
    one.put("E-1", "case", {"a": 1}, WHO, expect=0)
    with pytest.raises(WrongInput, match="was changed meanwhile"):
        two.put("E-1", "case", {"a": 2}, WHO, expect=0)
    assert len(two.versions("E-1", "case")) == 1


def test_rows_cannot_be_changed(again: Open) -> None:
    book = again()
    book.add_eye("E-1", "right", WHO)
    for command in ("UPDATE records SET document = '{}'", "DELETE FROM history"):
        with pytest.raises(DatabaseError, match="never changed"), book._engine.begin() as db:
            db.execute(text(command))
    assert book.verify() == []


def test_wrong_eyes_are_refused(again: Open) -> None:
    book = again()
    book.add_eye("E-1", "right", WHO, "P-1")
    for code, side, person, says in (
        ("E-1", "left", None, "has an eye E-1 already"),
        ("E-2", "right", "P-1", "has a right eye in the casebook already"),
        ("", "right", None, "needs a code"),
        ("E-3", "both", None, "right or left"),
    ):
        with pytest.raises(WrongInput, match=says):
            book.add_eye(code, side, WHO, person)
    with pytest.raises(WrongInput, match="has no eye"):
        book.put("E-9", "case", {}, WHO)
    with pytest.raises(ValueError, match="JSON"):
        book.put("E-1", "case", {"a": float("nan")}, WHO)
    assert len(book.history()) == 1


def test_lists_searches_hides_and_shows_again(again: Open) -> None:
    book = again()
    for number in range(7):
        book.add_eye(f"E_{number}", "left", WHO, f"P-{number}")
    book.add_eye("E%1", "left", WHO)
    assert book.count("E_") == 7
    assert [one.code for one in book.eyes("E%")] == ["E%1"]
    assert [one.code for one in book.eyes("P-3")] == ["E_3"]
    book.put("E_2", "case", {}, WHO)
    assert book.eyes(limit=1)[0].code == "E_2"
    book.hide("E_2", WHO)
    assert "E_2" not in {one.code for one in book.eyes()}
    assert [one.code for one in book.eyes(hidden=True)] == ["E_2"]
    book.hide("E_2", WHO, hidden=False)
    assert book.count() == 8
    assert book.verify() == []


def test_pictures_are_kept_by_content_and_checked(again: Open) -> None:
    book = again()
    book.add_eye("E-1", "left", WHO)
    sha256 = book.add_picture("E-1", "../../etc/eye.jpg", b"light", WHO, {"side": "left"})
    assert book.add_picture("E-1", "again.jpg", b"light", WHO) == sha256
    assert book.pictures.get(sha256) == b"light"
    assert book.pictures.all() == [sha256]
    kept = book.versions("E-1", "picture")
    assert [one.document["name"] for one in kept] == ["eye.jpg", "again.jpg"]
    with pytest.raises(WrongInput, match="64 hexadecimal"):
        book.pictures.get("../" * 20)
    book.pictures.path(sha256).write_bytes(b"dark")
    with pytest.raises(WrongInput, match="was changed on disk"):
        book.pictures.get(sha256)
    assert any("changed on disk" in one for one in book.verify())
    book.pictures.path(sha256).unlink()
    assert any("is missing" in one for one in book.verify())


def test_export_asks_for_consent(again: Open, tmp_path: Path) -> None:
    book = again()
    for code in ("E-1", "E-2", "E-3"):
        book.add_eye(code, "left", WHO)
    book.set_consent("E-1", ("care", "research"), WHO)
    book.set_consent("E-2", ("care", "research"), WHO)
    book.set_consent("E-2", ("care",), WHO)
    book.add_picture("E-1", "eye.png", b"light", WHO)
    given = export_all(book, tmp_path / "out", "research")
    assert given == (1, 2)
    told = json.loads((tmp_path / "out/eye-00001/records.json").read_text(encoding="utf-8"))
    assert told["code"] == "E-1"
    assert "E-2" not in (tmp_path / "out/eyes.csv").read_text(encoding="utf-8")
    with pytest.raises(WrongInput, match="is not empty"):
        export_all(book, tmp_path / "out", "research")
    with pytest.raises(WrongInput, match="consent is to"):
        book.set_consent("E-1", ("all",), WHO)


def test_migrated_tables_are_those_of_the_program(again: Open) -> None:
    book = again()
    with book._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": False})
        assert compare_metadata(context, METADATA) == []


def write_many(folder: Path, url: str | None, first: int, count: int) -> None:
    with Casebook(folder, url) as book:
        for number in range(first, first + count):
            book.put("E-1", "note", {"number": number}, WHO)


def test_two_processes_write_at_once(again: Open) -> None:
    book = again()
    book.add_eye("E-1", "left", WHO)
    url = book._engine.url
    told = None if url.drivername == "sqlite" else url.render_as_string(hide_password=False)
    spawn = multiprocessing.get_context("spawn")
    both = [
        spawn.Process(target=write_many, args=(book.folder, told, first, 60)) for first in (0, 60)
    ]
    for one in both:
        one.start()
    for one in both:
        one.join(120)
        assert one.exitcode == 0
    numbers = {one.document["number"] for one in book.versions("E-1", "note")}
    assert numbers == set(range(120))
    assert book.verify() == []


def test_backup_and_restore(tmp_path: Path) -> None:
    with Casebook(tmp_path / "book") as book:
        book.add_eye("E-1", "left", WHO)
        sha256 = book.add_picture("E-1", "eye.jpg", b"light", WHO)
        assert backup(book, tmp_path / "b.zip") == 1
        with pytest.raises(OutputFailed, match="never overwrites"):
            backup(book, tmp_path / "b.zip")
    assert restore(tmp_path / "b.zip", tmp_path / "new") == []
    with Casebook(tmp_path / "new") as book:
        assert book.pictures.get(sha256) == b"light"
    with pytest.raises(WrongInput, match="is not empty"):
        restore(tmp_path / "b.zip", tmp_path / "new")
    (tmp_path / "no.zip").write_bytes(b"PK nothing")
    with pytest.raises(WrongInput, match="cannot be restored"):
        restore(tmp_path / "no.zip", tmp_path / "other")


def test_a_damaged_casebook_is_not_opened(tmp_path: Path) -> None:
    with Casebook(tmp_path / "book") as book:
        for number in range(50):
            book.add_eye(f"E-{number}", "left", WHO)
    path = tmp_path / "book" / BOOK
    data = bytearray(path.read_bytes())
    data[100:6000] = b"\xff" * 5900
    path.write_bytes(bytes(data))
    with pytest.raises(WrongInput, match="is damaged"):
        Casebook(tmp_path / "book")
    path.write_bytes(b"no casebook at all, but long enough to be looked at" * 100)
    with pytest.raises(WrongInput, match="is damaged or no casebook"):
        Casebook(tmp_path / "book")


def test_a_newer_form_is_not_touched(tmp_path: Path) -> None:
    with Casebook(tmp_path / "book") as book, book._engine.begin() as db:
        db.execute(text("UPDATE alembic_version SET version_num = 's9999'"))
    with pytest.raises(WrongInput, match="newer program"):
        Casebook(tmp_path / "book")


WRITER = textwrap.dedent("""
    import sys
    from pathlib import Path
    from rimwise.store.book import Casebook, Who
    book = Casebook(Path(sys.argv[1]))
    who = Who("S-1")
    if not book.count():
        book.add_eye("E-1", "left", who)
    print("open", flush=True)
    number = int(sys.argv[2])
    while True:
        number += 1
        book.add_picture("E-1", f"{number}.jpg", str(number).encode() * 20000, who)
        book.put("E-1", "note", {"number": number}, who)
        print(number, flush=True)
""")


def killed(folder: Path, times: int) -> None:
    """Kill a writer at random moments; all that it acknowledged must be there, and whole."""
    chance, acknowledged = random.Random(20260601), 0
    for _ in range(times):
        child = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), str(acknowledged + 1000)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        time.sleep(chance.uniform(0.0, 0.25))
        child.send_signal(signal.SIGKILL)
        said = [int(line) for line in child.stdout.read().split("\n") if line.strip().isdigit()]
        child.wait()
        child.stdout.close()
        acknowledged = max([acknowledged, *said])
        with Casebook(folder) as book:
            assert book.verify() == []
            kept = {one.document["number"] for one in book.versions("E-1", "note")}
            assert set(said) <= kept
    assert acknowledged > 0


def test_a_killed_writer_loses_nothing_that_it_told(tmp_path: Path) -> None:
    killed(tmp_path / "book", 6)


@pytest.mark.slow
def test_two_hundred_killed_writers(tmp_path: Path) -> None:
    killed(tmp_path / "book", 200)


def _on_a_full_disk(folder: Path, size: int) -> subprocess.CompletedProcess[str]:
    code = textwrap.dedent("""
        import sys
        from pathlib import Path
        from rimwise.store.book import Casebook, Who
        from rimwise.terms.errors import OutputFailed
        book = Casebook(Path(sys.argv[1]))
        try:
            for number in range(40):
                book.add_picture("E-1", "eye.jpg", bytes([number]) * 3000, Who("S-1"))
                book.put("E-1", "note", {"text": "x" * 20000}, Who("S-1"))
        except OutputFailed as error:
            print(error.sentence)
    """)

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return subprocess.run(
        [sys.executable, "-c", code, str(folder)],
        preexec_fn=limit, capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip


def test_a_full_disk_is_one_sentence_and_loses_nothing(tmp_path: Path) -> None:
    with Casebook(tmp_path / "book") as book:
        book.add_eye("E-1", "left", WHO)
        book.put("E-1", "note", {"text": "before"}, WHO)
    done = _on_a_full_disk(tmp_path / "book", 300_000)
    assert len(done.stdout.strip().splitlines()) == 1
    assert "could not be" in done.stdout
    with Casebook(tmp_path / "book") as book:
        assert book.verify() == []
        assert book.versions("E-1", "note")[0].document == {"text": "before"}


def test_a_hundred_thousand_eyes_are_listed_quickly(tmp_path: Path) -> None:
    engine = open_engine(tmp_path / "book")
    rows = [
        {"code": f"E-{n:06d}", "person": f"P-{n // 2:06d}", "side": ("left", "right")[n % 2],
         "hidden": False, "touched": f"2026-01-01T00:00:{n % 60:02d}+00:00"}
        for n in range(100_000)
    ]  # fmt: skip
    with engine.connect().execution_options(writes=True) as db, db.begin():
        db.exec_driver_sql(
            "INSERT INTO eyes (code, person, side, hidden, touched) VALUES "
            "(:code, :person, :side, :hidden, :touched)",
            rows,
        )
    engine.dispose()
    with Casebook(tmp_path / "book") as book:
        for search in ("", "E-0123", "P-04999"):
            spent = []
            for _ in range(7):
                # Of this process alone: what else the machine does is not the casebook's.
                start = time.process_time()
                page, total = book.eyes(search), book.count(search)
                spent.append(time.process_time() - start)
            assert page
            assert total >= len(page)
            assert sorted(spent)[3] < 0.2


def test_the_command_keeps_and_shows(tmp_path: Path) -> None:
    sheet = tmp_path / "E-1.toml"
    sheet.write_text(
        'code = "E-1"\nside = "left"\ncorneal_surgery = "none"\n'
        "[implant]\noptic_diameter_mm = 6.0\n"
    )
    visit = tmp_path / "visit.toml"
    visit.write_text('code = "E-1"\n[visit]\nday = 28\nacuity_logmar = 0.02\n')
    folder = tmp_path / "book"

    def run(*words: str) -> tuple[int, str, str]:
        done = CliRunner().invoke(app, ["casebook", *words])
        return done.exit_code, done.stdout, done.stderr

    place = ("--folder", str(folder))
    assert run("add", str(sheet), str(visit), "--who", "S-2", *place)[0] == 0
    assert "E-1" in run("list", *place)[1]
    assert "visit" in run("show", "E-1", *place)[1]
    assert run("consent", "E-1", "--to", "care", *place)[0] == 0
    assert "all is whole" in run("verify", *place)[1]
    assert run("backup", str(tmp_path / "b.zip"), *place)[0] == 0
    assert run("restore", str(tmp_path / "b.zip"), str(tmp_path / "new"))[0] == 0
    code, out, _ = run("export", str(tmp_path / "out"), "--for", "teaching", *place)
    assert code == 0
    assert "0 eyes given, 1 without consent left out" in out
    assert run("hide", "E-1", *place)[0] == 0
    assert "0 of 0 eyes" in run("list", *place)[1]
    visit.write_text('code = "E-1"\n[visit]\nday = 28\nacuity = 0.02\n')
    code, _, err = run("add", str(visit), *place)
    assert code == 2
    assert "acuity_logmar" in err
    code, _, err = run("show", "E-9", *place)
    assert code == 2
    assert "has no eye E-9" in err


def test_results_go_to_the_eye_that_keeps_their_picture(tmp_path: Path) -> None:
    """What ``measure --json`` writes tells the picture's hash, not the eye's code."""
    source = tree.SOURCE / "demo" / "pictures" / "photo_easy_001.jpg"
    picture = tmp_path / "eye.jpg"
    picture.write_bytes(source.read_bytes())
    told = 'code = "E-1"\nside = "left"\ntaken = 2026-03-02\noptic_diameter_mm = 6.0\n'
    picture.with_suffix(".toml").write_text(told)
    case = tmp_path / "E-1.toml"
    case.write_text(told.replace("taken = 2026-03-02\n", 'corneal_surgery = "none"\n[implant]\n'))
    results = tmp_path / "eye.json"
    entry = {"schema": "rimwise.cover/1", "picture": "eye.jpg", "status": "refused",
             "sha256": hashlib.sha256(picture.read_bytes()).hexdigest()}  # fmt: skip
    results.write_text(json.dumps({"results": [entry]}))
    with Casebook(tmp_path / "book") as book:
        who = Who("S-1")
        add_file(book, case, who)
        with pytest.raises(WrongInput, match="give --eye CODE"):
            add_file(book, results, who)
        add_file(book, picture, who)
        assert add_file(book, results, who)[0].eye == "E-1"
        # A kept sheet has been through JSON; its date is one all the same.
        kept = kept_bench(book, "E-1", entry["sha256"])
        assert kept is not None
        assert picture_sheet(kept.values).taken == "2026-03-02"
