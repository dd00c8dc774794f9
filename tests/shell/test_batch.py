"""A folder on a pool of processes: every picture once, also after a kill, and one table out."""

import csv
import ctypes
import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from rimwise.audit.columns import map_columns
from rimwise.casebook.batch import BatchRequest, measure_folder, pictures_in
from rimwise.casebook.kept import Kept, key_of
from rimwise.casebook.pool import Crashed, LocalPool
from rimwise.cli.main import app
from rimwise.demo.photos import draw_photo, photo_jpeg
from rimwise.exchange.cover_table import COLUMNS, cover_row, table_lines
from rimwise.exchange.results import cover_document
from rimwise.records.cover import CoverFinding
from rimwise.records.implant_reflexes import ImplantReflexes
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photograph, a grey wall, and a text file that calls itself a picture."""
    folder = tmp_path_factory.mktemp("pictures")
    (folder / "below").mkdir()
    pixels, _, sheet = draw_photo(np.random.default_rng(8), "easy")
    (folder / "below" / "eye.jpg").write_bytes(photo_jpeg(pixels, 92))
    told = f'side = "{sheet.side}"\noptic_diameter_mm = {sheet.optic_diameter_mm}\n'
    (folder / "below" / "eye.toml").write_text(told)
    Image.new("RGB", (640, 480), (90, 90, 90)).save(folder / "wall.png")
    (folder / "wall.toml").write_text('side = "left"\noptic_diameter_mm = 6.0\n')
    (folder / "words.jpg").write_text("no picture")
    (folder / "words.toml").write_text('side = "left"\n')
    return folder


@pytest.fixture(scope="module")
def measured(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[BatchRequest, object]:
    out = tmp_path_factory.mktemp("out")
    request = BatchRequest(folder, out, json_out=out / "all.json", workers=2)
    told = []
    outcome = measure_folder(request, lambda done, of, _: told.append((done, of)))
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]
    return request, outcome


def test_every_picture_has_its_place_and_failures_are_listed(measured) -> None:
    _, outcome = measured
    assert outcome.by_status == {"measured": 1, "refused": 1, "wrong input": 1}
    assert [(one.picture, one.exit_code) for one in outcome.failures] == [
        ("wall.png", 3),
        ("words.jpg", 2),
    ]
    assert outcome.exit_code == 2
    assert outcome.kept == 0


def test_the_table_says_what_the_document_says(measured) -> None:
    request, outcome = measured
    with outcome.table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    entries = json.loads(request.json_out.read_text(encoding="utf-8"))["results"]
    assert [Path(row["picture"]).name for row in rows] == ["eye.jpg", "wall.png", "words.jpg"]
    assert [row["status"] for row in rows] == [entry["status"] for entry in entries]
    least = entries[0]["cover"]["min_mm"]
    # Ten significant digits are written.
    assert float(rows[0]["least_cover_mm"]) == pytest.approx(least["value"], rel=1e-9)
    assert rows[1]["least_cover_mm"] == ""


def test_a_second_run_measures_nothing_again(measured) -> None:
    request, outcome = measured
    before = outcome.table.read_bytes()
    again = measure_folder(request)
    assert again.kept == 3
    assert again.by_status == outcome.by_status
    assert outcome.table.read_bytes() == before


def test_after_a_kill_only_what_is_missing_is_measured(measured, tmp_path: Path) -> None:
    request, outcome = measured
    lines = (request.out / "kept.jsonl").read_bytes().splitlines(keepends=True)
    (tmp_path / "kept.jsonl").write_bytes(lines[0] + lines[1] + lines[2][: len(lines[2]) // 2])
    again = measure_folder(BatchRequest(request.folder, tmp_path, workers=1))
    assert again.kept == 2
    assert (tmp_path / "cover.csv").read_bytes() == outcome.table.read_bytes()


def test_a_changed_sheet_measures_that_picture_again(measured, tmp_path: Path) -> None:
    request, _ = measured
    (tmp_path / "kept.jsonl").write_bytes((request.out / "kept.jsonl").read_bytes())
    flags = {"optic_diameter_mm": 6.1}
    again = measure_folder(BatchRequest(request.folder, tmp_path, flags=flags, workers=1))
    assert again.kept == 0


def test_another_program_or_another_telling_is_another_key() -> None:
    assert key_of(b"a", 1) != key_of(b"b", 1) != key_of(b"b", 2)


def test_a_crash_costs_one_piece_of_work() -> None:
    # Reading address 0 kills a process; a bytes object is read back.
    pool = LocalPool(ctypes.string_at, 2)
    answers = dict(pool.run([b"one", 0, b"two", b"three"]))
    assert isinstance(answers[0], Crashed)
    assert [answers[key] for key in (b"one", b"two", b"three")] == [b"one", b"two", b"three"]


# One worker at work for a minute, one that waits for more; their numbers are printed.
_POOL = """
import multiprocessing, threading, time
from rimwise.casebook.pool import LocalPool

def tell():
    while len(children := multiprocessing.active_children()) < 2:
        time.sleep(0.05)
    print(*(child.pid for child in children), flush=True)

threading.Thread(target=tell, daemon=True).start()
list(LocalPool(time.sleep, 2).run([60.0, 0.0]))
"""


def _runs(pid: int) -> bool:
    """Whether a process runs; one that ended and is not waited for runs no more (proc(5))."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] in "ZX")


@pytest.mark.skipif(os.name != "posix", reason="asks for a process by its number as POSIX does")
def test_workers_end_with_a_parent_that_is_killed_by_force() -> None:
    parent = subprocess.Popen([sys.executable, "-c", _POOL], stdout=subprocess.PIPE, text=True)
    with parent:
        assert parent.stdout is not None
        workers = [int(word) for word in parent.stdout.readline().split()]
        assert len(workers) == 2
        assert all(_runs(pid) for pid in workers)
        parent.kill()
    until = time.monotonic() + 30.0
    while any(_runs(pid) for pid in workers) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(_runs(pid) for pid in workers)


def test_a_fault_is_not_kept_for_a_second_run(tmp_path: Path) -> None:
    kept = Kept(tmp_path / "kept.jsonl")
    kept.add("fault", {"reasons": [{"code": "unexpected-error", "sentence": "s"}]})
    kept.add("fine", {"reasons": []})
    kept.close()
    again = Kept(tmp_path / "kept.jsonl")
    assert "fine" in again
    assert "fault" not in again


def test_a_name_that_is_no_utf8_stands_escaped_in_the_table(folder: Path, tmp_path: Path) -> None:
    own = tmp_path / "in"
    own.mkdir()
    try:
        (own / "bad\udcff.jpg").write_bytes((folder / "words.jpg").read_bytes())
    except OSError:
        pytest.skip("this file system takes no such name")
    outcome = measure_folder(BatchRequest(own, tmp_path / "out", workers=1), None)
    table = (tmp_path / "out" / "cover.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    assert [row["picture"].endswith("bad\\udcff.jpg") for row in rows] == [True]
    assert len(outcome.failures) == 1


def test_what_is_no_picture_is_left_alone(folder: Path, tmp_path: Path) -> None:
    assert pictures_in(folder, tmp_path) == ["below/eye.jpg", "wall.png", "words.jpg"]
    assert pictures_in(folder, folder / "below") == ["wall.png", "words.jpg"]
    with pytest.raises(WrongInput, match="holds no picture"):
        pictures_in(tmp_path, tmp_path / "out")
    with pytest.raises(WrongInput, match="not a folder"):
        pictures_in(folder / "words.jpg", tmp_path)


def test_every_number_of_a_finding_reaches_the_row(finding: CoverFinding) -> None:
    row = cover_row(cover_document(finding))
    assert set(row) == set(COLUMNS)
    assert row["opacification_score"] == "1.1"
    assert row["implant_toric_axis_deg"] == "91"
    assert row["opening_from_optic_nasal_mm_sd"] != ""
    lit = ImplantReflexes({}, (Estimate(3.5, 0.5), Estimate(-1.0, 0.6)))
    tilted = cover_row(cover_document(replace(finding, reflexes=lit)))
    assert (tilted["lens_tilt_x_deg"], tilted["lens_tilt_y_deg_sd"]) == ("3.5", "0.6")
    read = map_columns(COLUMNS).columns
    assert {f"optic_from_{one}_nasal_mm" for one in ("pupil", "limbus")} <= read.keys()
    header, line = table_lines([cover_document(finding)])
    assert len(header.split(b",")) == len(COLUMNS)
    assert line.endswith(b"\n")


def test_the_command_tells_and_gives_the_exit_code(measured) -> None:
    request, _ = measured
    done = CliRunner().invoke(app, ["batch", str(request.folder), "--out", str(request.out)])
    assert done.exit_code == 2
    assert "3 kept from an earlier run" in done.output
    assert "words.jpg gave no answer" in done.output


def test_pictures_that_differ_in_their_ending_alone_keep_a_drawing_each(
    folder: Path, tmp_path: Path
) -> None:
    eye = folder / "below" / "eye.jpg"
    for name in ("eye.jpg", "eye.png"):
        Image.open(eye).save(tmp_path / name)
        (tmp_path / name).with_suffix(".toml").write_bytes(eye.with_suffix(".toml").read_bytes())
    out = tmp_path / "out"
    request = BatchRequest(tmp_path, out, workers=1, drawing_dir=out / "drawn")
    measure_folder(request, None)
    assert len(list((out / "drawn").rglob("*.cover.png"))) == 2
