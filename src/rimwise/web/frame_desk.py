"""Recorded frames and clips that wait, are aligned or are done; a restart loses none of them."""

import contextlib
import json
import secrets
import shutil
import threading
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from rimwise.store.whole import write_whole
from rimwise.terms.errors import RimwiseError, WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.frame_jobs import PROGRESS, clip_job, frames_job, invented_job
from rimwise.web.worker import Worker

FRAMES = "frames"
STILLS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".jp2")
CLIPS = (".mp4", ".m4v", ".mov", ".mkv", ".avi", ".webm", ".mpg", ".mpeg", ".mts", ".ts", ".wmv")
WAITS, RUNS, DONE, FAILED, CANCELLED = "waits", "runs", "done", "failed", "cancelled"
_NEEDED = {"at", "names", "files", "kind", "state", "values"}
_FAILED_TO_KEEP = "the recording could not be put on the list"

Told = dict[str, Any]


class FrameDesk:
    """Aligns recordings one after the other, each in a folder of its own beside the casebook.

    Parameters
    ----------
    worker : Worker
        A child of its own, with time enough for a clip.
    folder : Path
        The casebook's.
    """

    def __init__(self, worker: Worker, folder: Path) -> None:
        self._worker = worker
        self._folder = folder / FRAMES
        self._turn = threading.Lock()
        self._thread: threading.Thread | None = None

    def add(self, files: Sequence[tuple[str, bytes]], told: Mapping[str, Any],
            reference: bytes | None = None) -> str:  # fmt: skip
        """Put frames, or one clip, at the end; returns its number.

        Parameters
        ----------
        files : sequence of (name, bytes)
            As they were sent; kept under names of ours.
        told : mapping
            ``values`` (keys of the picture sheet), ``code``, ``who``, ``make``.
        reference : bytes, optional
            An eye's reference.

        Raises
        ------
        WrongInput
            Nothing that is taken, or a clip beside something else.
        OutputFailed
            The disk is full or read-only.
        """
        kind, suffixes = kind_of([name for name, _ in files])
        number = secrets.token_hex(8)
        place = self.place(number)
        kept = []
        for k, ((_, data), suffix) in enumerate(zip(files, suffixes, strict=True)):
            kept.append(f"recording-{k}{suffix}")
            write_whole(place / kept[-1], data, _FAILED_TO_KEEP)
        if reference is not None:
            write_whole(place / "reference.json", reference, _FAILED_TO_KEEP)
        self._tell(number, dict(told) | {
            "names": [name for name, _ in files], "files": kept, "kind": kind, "state": WAITS,
            "at": datetime.now(UTC).isoformat(timespec="microseconds"), "sentence": "",
            "reference": reference is not None,
        })  # fmt: skip
        self.go_on()
        return number

    def invent(self, who: str) -> str:
        """Put a drawn frame of an invented eye at the end."""
        number = secrets.token_hex(8)
        place, file = self.place(number), "recording-0.jpg"
        place.mkdir(parents=True, exist_ok=True)
        values = self._worker.run(invented_job, str(place), file, secrets.randbelow(2**31))
        self._tell(number, {
            "names": [TEXT["frame.invented.name"]], "files": [file], "kind": "frames", "who": who,
            "state": WAITS, "at": datetime.now(UTC).isoformat(timespec="microseconds"),
            "sentence": "", "reference": False, "values": values, "code": "", "make": False,
        })  # fmt: skip
        self.go_on()
        return number

    def place(self, number: str) -> Path:
        """In which folder does this recording lie?"""
        if len(number) != 16 or set(number) - set("0123456789abcdef"):
            raise WrongInput("a recording is asked for by its number")
        return self._folder / number

    def told(self, number: str) -> Told | None:
        """What has become of a recording? None where there is none."""
        try:
            held = json.loads((self.place(number) / "state.json").read_text("utf-8"))
        except (OSError, ValueError, WrongInput):
            return None
        if not isinstance(held, dict) or not held.keys() >= _NEEDED:
            return None
        return held | {"number": number, "progress": self._progress(number)}

    def result(self, number: str) -> Told | None:
        """What was found in a recording? None before it is done."""
        try:
            held = json.loads((self.place(number) / "result.json").read_text("utf-8"))
        except (OSError, ValueError, WrongInput):
            return None
        return held if isinstance(held, dict) else None

    def _progress(self, number: str) -> tuple[int, int]:
        try:
            done, of = (self.place(number) / PROGRESS).read_text("utf-8").split()
            return int(done), int(of)
        except (OSError, ValueError):
            return 0, 0

    def listed(self) -> list[Told]:
        """Return all recordings, the newest first."""
        numbers = sorted(path.parent.name for path in self._folder.glob("*/state.json"))
        found = [one for one in map(self.told, numbers) if one is not None]
        return sorted(found, key=lambda one: str(one["at"]), reverse=True)

    def go_on(self) -> None:
        """Align what waits, if that is not being done already."""
        with self._turn:
            if self._thread is None or not self._thread.is_alive():
                for one in self.listed():
                    if one["state"] == RUNS:  # the program ended meanwhile
                        self._change(one, state=WAITS)
                self._thread = threading.Thread(target=self._all, daemon=True)
                self._thread.start()

    def cancel(self, number: str) -> None:
        """Take a recording out; one that is being aligned is stopped."""
        with self._turn:
            one = self.told(number)
            if one is None or one["state"] not in (WAITS, RUNS):
                return
            running = one["state"] == RUNS
            self._change(one, state=CANCELLED)
        if running:
            self._worker.stop()

    def remove(self, number: str) -> None:
        """Let a recording that is done go, with all that was found; what was saved stays."""
        one = self.told(number)
        if one is not None and one["state"] not in (WAITS, RUNS):
            shutil.rmtree(self.place(number), ignore_errors=True)

    def _tell(self, number: str, told: Told) -> None:
        words = json.dumps(told, ensure_ascii=False).encode("utf-8")
        write_whole(self.place(number) / "state.json", words, _FAILED_TO_KEEP)

    def _change(self, one: Told, **to: Any) -> None:
        one |= to
        self._tell(one["number"], {k: v for k, v in one.items() if k not in ("number", "progress")})

    def _all(self) -> None:
        while True:
            with self._turn:
                waiting = [one for one in self.listed() if one["state"] == WAITS]
                if not waiting:
                    self._thread = None
                    return
                one = waiting[-1]
                self._change(one, state=RUNS)
            try:
                found = self._found(one)
                self._ends(one, DONE, "", found)
            except RimwiseError as error:
                self._ends(one, FAILED, error.sentence)
            except Exception:
                # Whatever one recording does, those behind it are aligned.
                self._ends(one, FAILED, TEXT["error.fault"])

    def _found(self, one: Told) -> Told:
        place, values = self.place(one["number"]), dict(one["values"])
        if one["reference"]:
            values["reference"] = str(place / "reference.json")
        found: Told
        if one["kind"] == "clip":
            values["kind"] = "clip"
            found = self._worker.run(clip_job, str(place), one["files"][0], values)
            return found
        values["kind"] = "frame"
        make = bool(one.get("make"))
        found = self._worker.run(frames_job, str(place), one["files"], values, make)
        return found

    def _ends(self, one: Told, state: str, sentence: str, found: Told | None = None) -> None:
        with self._turn, contextlib.suppress(RimwiseError):
            now = self.told(one["number"])
            if now is None or now["state"] != RUNS:  # cancelled meanwhile
                return
            if found is not None:
                words = json.dumps(found, ensure_ascii=False).encode("utf-8")
                write_whole(self.place(one["number"]) / "result.json", words, _FAILED_TO_KEEP)
            self._change(one, state=state, sentence=sentence)


def kind_of(names: Sequence[str]) -> tuple[str, list[str]]:
    """What was sent, frames or a clip, and with which endings?

    Raises
    ------
    WrongInput

    Examples
    --------
    >>> kind_of(["a.JPG", "b.png"]), kind_of(["../c.mp4"])
    (('frames', ['.jpg', '.png']), ('clip', ['.mp4']))
    """
    suffixes = [PurePosixPath(name.replace("\\", "/")).suffix.lower() for name in names]
    if suffixes and all(one in STILLS for one in suffixes):
        return "frames", suffixes
    if len(suffixes) == 1 and suffixes[0] in CLIPS:
        return "clip", suffixes
    raise WrongInput(TEXT["frame.none"])
