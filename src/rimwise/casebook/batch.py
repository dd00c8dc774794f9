"""A folder of photographs measured on a pool of processes: resumable, bounded, one table out."""

import os
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rimwise import __version__
from rimwise.casebook.exits import (
    EXIT_DONE,
    EXIT_REFUSED,
    EXIT_UNEXPECTED,
    EXIT_WRONG_INPUT,
    UNEXPECTED,
    Progress,
    worst_exit,
)
from rimwise.casebook.kept import Kept, key_of
from rimwise.casebook.measuring import Request, measure_pictures, shown_name
from rimwise.casebook.pool import Crashed, LocalPool
from rimwise.exchange.cover_table import table_lines
from rimwise.exchange.pictures import check_file
from rimwise.exchange.results import unread_document
from rimwise.exchange.sheets import read_picture_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    json_text,
    make_folder,
    write_chunks,
)
from rimwise.records.cover import Reason
from rimwise.terms.errors import RimwiseError, WrongInput

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp", ".jp2", ".ppm", ".pgm")
TABLE, KEPT = "cover.csv", "kept.jsonl"
DRAWN = ".cover.png"


@dataclass(frozen=True, slots=True)
class BatchRequest:
    """What is asked of ``measure_folder``.

    Parameters
    ----------
    folder : path
        Searched with all folders below; hidden ones and the output are left out.
    out : path
        Where the table and what is kept for a second run go.
    flags : mapping
        Keys of the picture sheet that hold for all pictures.
    case : path or None
        Case sheet, for what nothing else says.
    json_out : path or None
        Where the document with every result goes; None: nowhere.
    drawing_dir : path or None
        Folder for one drawing a picture, in folders as the pictures are.
    workers : int
        Processes; 0 takes one a core.
    fresh : bool
        Measure again what was measured before.
    """

    folder: Path
    out: Path
    flags: Mapping[str, object] = field(default_factory=dict)
    case: Path | None = None
    json_out: Path | None = None
    drawing_dir: Path | None = None
    workers: int = 0
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Failure:
    """A picture without an answer: refused, wrong input or a fault, with its sentence."""

    picture: str
    exit_code: int
    sentence: str


@dataclass(frozen=True, slots=True)
class BatchOutcome:
    """What became of a folder.

    Parameters
    ----------
    by_status : mapping
        Number of pictures by "measured", "partial", "refused" (by the picture), "wrong input" and
        "fault".
    kept : int
        Pictures whose answer was there from an earlier run.
    failures : tuple of Failure
        In the order of the pictures.
    table : path
    seconds : float
        From the first picture to the last.
    """

    by_status: Mapping[str, int]
    kept: int
    failures: tuple[Failure, ...]
    table: Path
    seconds: float

    @property
    def exit_code(self) -> int:
        """Return 1 after a fault, else 2 if any input was bad, else 3 if any was refused."""
        return worst_exit(failure.exit_code for failure in self.failures)


@dataclass(frozen=True, slots=True)
class _Task:
    """One picture for a worker."""

    name: str
    key: str
    request: Request


def measure_folder(request: BatchRequest, progress: Progress | None = None) -> BatchOutcome:
    """What do all photographs of a folder show?

    Killed half-way and started again with the same words it goes on where it was; a picture, its
    sheets, the flags or the program having changed, that picture is measured again.

    Parameters
    ----------
    request : BatchRequest
        The folder, and where the answers go.
    progress : callable, optional
        Told after each picture: how many are done, how many there are, its name.

    Raises
    ------
    WrongInput
        The folder is missing or holds no picture.
    OutputFailed
        A result cannot be written.
    """
    names = pictures_in(request.folder, request.out)
    out = make_folder(request.out)
    _check_outputs(request, names)
    started = time.monotonic()
    kept = Kept(out / KEPT)
    keys = {name: _key(request, name) for name in names}
    todo = [name for name in names if request.fresh or keys[name] not in kept]
    try:
        _measure(request, todo, keys, _Sink(kept, len(names), progress))
        write_chunks(out / TABLE, table_lines(kept.entries(keys[name] for name in names)))
        if request.json_out is not None:
            write_chunks(request.json_out, _document(kept.entries(keys[name] for name in names)))
        counts, failures = _summary(names, kept.entries(keys[name] for name in names))
    finally:
        kept.close()
    seconds = time.monotonic() - started
    return BatchOutcome(counts, len(names) - len(todo), failures, out / TABLE, seconds)


def pictures_in(folder: Path, out: Path) -> list[str]:
    """Which pictures lie in a folder and those below, by path from it, in order of name?

    Raises
    ------
    WrongInput
        It is no folder, or holds no picture.
    """
    if not folder.is_dir():
        raise WrongInput(f"{folder} is not a folder; give the folder that holds the photographs")
    own = os.path.realpath(out)
    found: list[str] = []
    for place, below, files in os.walk(folder):
        below[:] = sorted(
            one
            for one in below
            if not one.startswith(".") and os.path.realpath(os.path.join(place, one)) != own
        )
        found += [
            os.path.relpath(os.path.join(place, name), folder)
            for name in files
            if name.lower().endswith(ENDINGS) and not name.startswith(".")
            and not name.endswith(DRAWN)
        ]  # fmt: skip
    if not found:
        raise WrongInput(
            f"{folder} holds no picture; files that end in {', '.join(ENDINGS)} are taken"
        )
    return sorted(found)


def _check_outputs(request: BatchRequest, names: Sequence[str]) -> None:
    if request.json_out is not None:
        check_writable(request.json_out)
        check_not_input(request.json_out, [request.folder / name for name in names])


def _key(request: BatchRequest, name: str) -> str:
    """Which key has this picture with all that is told about it?"""
    path = request.folder / name
    told: object
    try:
        check_file(path)
        told = read_picture_sheet(path, request.flags, case=request.case)
        picture = path.read_bytes()
    except RimwiseError as error:
        told, picture = error.sentence, b""
    except OSError as error:
        told, picture = str(error), b""
    return key_of(picture, (name, told))


@dataclass(frozen=True, slots=True)
class _Sink:
    """Where answers go: kept on disk, progress told."""

    kept: Kept
    total: int
    progress: Progress | None


def _measure(
    request: BatchRequest, todo: Sequence[str], keys: Mapping[str, str], sink: _Sink
) -> None:
    """Measure what is left, each answer kept as soon as it is there."""
    done = sink.total - len(todo)
    if sink.progress is not None:
        sink.progress(done, sink.total, "")
    if not todo:
        return
    pool = LocalPool(measure_one, min(request.workers or os.cpu_count() or 1, len(todo)))
    stems = Counter(Path(name).with_suffix("") for name in keys)
    tasks = (_task(request, name, keys[name], stems) for name in todo)
    for task, answer in pool.run(tasks):
        sink.kept.add(task.key, _crashed(task) if isinstance(answer, Crashed) else answer)
        done += 1
        if sink.progress is not None:
            sink.progress(done, sink.total, task.name)


def _task(request: BatchRequest, name: str, key: str, stems: Mapping[Path, int]) -> _Task:
    drawing = None
    if request.drawing_dir is not None:
        # Two pictures that differ in their ending alone get a folder each, or one drawing is lost.
        alone = stems[Path(name).with_suffix("")] == 1
        drawing = request.drawing_dir / (Path(name).parent if alone else name)
    path = request.folder / name
    return _Task(name, key, Request([path], request.flags, case=request.case, drawing_dir=drawing))


def measure_one(task: _Task) -> dict[str, Any]:
    """Measure one picture in a worker: which entry does it make?"""
    (measured,) = measure_pictures(task.request).pictures
    return measured.document()


def _crashed(task: _Task) -> dict[str, Any]:
    sentence = (
        f"{task.name} stopped the process that measured it, alone too: it may need more memory "
        "than there is; scale it down, or report it"
    )
    picture = shown_name(task.request.paths[0])
    return unread_document(picture, Reason(UNEXPECTED, sentence))


def _document(entries: Iterator[dict[str, Any]]) -> Iterator[bytes]:
    """Write the document of all results part by part."""
    yield f'{{\n "rimwise": "{__version__}",\n "results": [\n'.encode()
    comma = ""
    for entry in entries:
        yield (comma + json_text(entry).rstrip("\n")).encode("utf-8")
        comma = ",\n"
    yield b"\n]}\n"


def _summary(
    names: Sequence[str], entries: Iterator[dict[str, Any]]
) -> tuple[dict[str, int], tuple[Failure, ...]]:
    counts: Counter[str] = Counter()
    failures = []
    for name, entry in zip(names, entries, strict=True):
        reasons = entry["reasons"] or [{"code": "", "sentence": "it cannot answer"}]
        code = _code_of(entry, reasons[0]["code"])
        word = {EXIT_UNEXPECTED: "fault", EXIT_WRONG_INPUT: "wrong input"}.get(code)
        counts[word or entry["status"]] += 1
        if code != EXIT_DONE:
            failures.append(Failure(name, code, reasons[0]["sentence"]))
    return dict(counts), tuple(failures)


def _code_of(entry: Mapping[str, Any], first_reason: str) -> int:
    if entry["status"] != "refused":
        return EXIT_DONE
    if entry["side"] is not None:
        return EXIT_REFUSED
    return EXIT_UNEXPECTED if first_reason == UNEXPECTED else EXIT_WRONG_INPUT
