"""The queue of pictures: measured one after the other beside the pages, kept in the casebook."""

import contextlib
import json
import threading
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from rimwise.store.waiting import WaitingRoom
from rimwise.terms.errors import RimwiseError
from rimwise.web import bench_book
from rimwise.web.bench import Bench
from rimwise.web.catalogue import TEXT
from rimwise.web.jobs import MeasuredPicture, measure_job
from rimwise.web.keeping import Keeping
from rimwise.web.worker import Busy, Worker

WAITS, RUNS, DONE, FAILED, CANCELLED = "waits", "runs", "done", "failed", "cancelled"
NEEDED = {"name", "values", "who", "at", "state"}
_PAUSE_S = 1.0


class Queue:
    """Measures waiting pictures one at a time, also those that an earlier run left.

    Parameters
    ----------
    worker : Worker
        Where pictures are decoded and measured.
    keeping : Keeping
        The casebook that keeps what was found.
    """

    def __init__(self, worker: Worker, keeping: Keeping) -> None:
        self._worker = worker
        self._keeping = keeping
        self._room = WaitingRoom(keeping.folder)
        self._turn = threading.Lock()
        self._thread: threading.Thread | None = None

    def add(self, data: bytes, name: str, values: Mapping[str, object], who: str) -> str:
        """Put a picture at the end; ``values`` are the keys of its sheet, its code among them."""
        at = datetime.now(UTC).isoformat(timespec="microseconds")
        told = {"name": name, "values": dict(values), "who": who, "at": at, "state": WAITS}
        number = self._room.add(data, told)
        self.go_on()
        return number

    def go_on(self) -> None:
        """Measure what waits, if that is not being done already."""
        with self._turn:
            if self._thread is None or not self._thread.is_alive():
                for one in self.listed():
                    if one["state"] == RUNS:  # the program ended while it was measured
                        self._change(one, state=WAITS)
                self._thread = threading.Thread(target=self._measure_all, daemon=True)
                self._thread.start()

    def listed(self) -> list[dict[str, Any]]:
        """Return all pictures, those given first first."""
        found = []
        for number in self._room.numbers():
            told = self._room.told(number)
            if told is not None and told.keys() >= NEEDED and "code" in told["values"]:
                found.append({"number": number, "sentence": "", "sha256": ""} | told)
        return sorted(found, key=lambda one: str(one["at"]))

    def cancel(self, number: str | None = None) -> None:
        """Take a picture, or all that wait, out of the queue; what is running is not kept."""
        with self._turn:
            for one in self.listed():
                if one["state"] in (WAITS, RUNS) and number in (None, one["number"]):
                    self._change(one, state=CANCELLED)
                    self._room.empty(one["number"])

    def clear(self) -> None:
        """Take out of the list what is done; results stay in the casebook."""
        for one in self.listed():
            if one["state"] not in (WAITS, RUNS):
                self._room.remove(one["number"])

    def _change(self, one: dict[str, Any], **to: Any) -> None:
        one |= to
        self._room.tell(one["number"], one)

    def _fails(self, one: dict[str, Any], sentence: str) -> None:
        # Where even that cannot be written it stays "runs", and waits again at the next start.
        with contextlib.suppress(RimwiseError):
            self._change(one, state=FAILED, sentence=sentence)

    def _measure_all(self) -> None:
        while True:
            with self._turn:
                waiting = [one for one in self.listed() if one["state"] == WAITS]
                if not waiting:
                    self._thread = None
                    return
                one = waiting[0]
                self._change(one, state=RUNS)
            try:
                self._measure(one)
            except Busy:
                self._change(one, state=WAITS)
                time.sleep(_PAUSE_S)
            except RimwiseError as error:
                self._fails(one, error.sentence)
            except Exception:
                # Whatever one picture does, those behind it are measured.
                self._fails(one, TEXT["error.fault"])

    def _measure(self, one: dict[str, Any]) -> None:
        data, values, name = self._room.data(one["number"]), one["values"], one["name"]
        measured: MeasuredPicture = self._worker.run(measure_job, values, data, name)
        with self._turn:
            now = self._room.told(one["number"])
            if now is None or now["state"] != RUNS:  # cancelled meanwhile
                return
        entry = json.loads(measured.document)["results"][0]
        bench = Bench(name, values, entry, data)
        what = bench_book.Keep(values["code"], entry, one["who"], TEXT["queue.why"])
        bench_book.keep(self._keeping.book(), bench, what, None)
        self._change(one, state=DONE, sentence=measured.headline, sha256=measured.sha256)
        self._room.empty(one["number"])
