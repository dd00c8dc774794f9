"""The worker: what hangs or dies is ended in time, and the next picture is measured."""

import os
import platform
import signal
import subprocess
import sys
import threading
import time
import timeit
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from rimwise.terms.errors import WrongInput
from rimwise.web.jobs import measure_job
from rimwise.web.serve import serve
from rimwise.web.worker import MOST_WAITING, Busy, Stopped, Worker, WorkerFault


@pytest.fixture
def worker() -> Iterator[Worker]:
    made = Worker(limit_s=20.0)
    yield made
    made.close()


def test_a_job_is_done_in_another_program(worker: Worker) -> None:
    first = worker.run(os.getpid)
    assert first != os.getpid()
    assert worker.run(os.getpid) == first
    assert worker.run(os.path.join, "a", "b") == os.path.join("a", "b")


def test_a_job_that_takes_too_long_is_ended_and_the_next_one_done() -> None:
    worker = Worker(limit_s=3.0)
    try:
        before = worker.run(os.getpid)
        start = time.monotonic()
        with pytest.raises(Stopped, match="longer than 3 s"):
            worker.run(time.sleep, 60.0)
        assert time.monotonic() - start < 10.0  # 3 s and a busy machine
        with pytest.raises(ProcessLookupError):
            os.kill(before, 0)
        assert worker.run(abs, -1) == 1
    finally:
        worker.close()


def test_a_job_that_ends_its_program_is_told_and_the_next_one_done(worker: Worker) -> None:
    with pytest.raises(Stopped, match="ended its worker"):
        worker.run(os._exit, 7)
    assert worker.run(abs, -1) == 1


def test_arrays_reuse_the_memory_of_the_last_ones(worker: Worker) -> None:
    """A page of memory asked of the system anew is cleared first: hands would wait for it."""
    if platform.libc_ver()[0] != "glibc":
        pytest.skip("only the GNU C library keeps freed memory when told so")
    import resource  # noqa: PLC0415 - not on every system

    def asked() -> int:
        return worker.run(resource.getrusage, resource.RUSAGE_SELF).ru_minflt

    array, count = "numpy.ones(400_000)", 50  # 3.2 MB, as the draws of a cover: 781 pages
    worker.run(timeit.timeit, array, "import numpy", time.perf_counter, count)
    before = asked()
    worker.run(timeit.timeit, array, "import numpy", time.perf_counter, count)
    assert asked() - before < 2 * 781, "no more than two arrays' pages for fifty arrays"


def test_want_of_memory_is_refused_in_one_sentence(worker: Worker) -> None:
    if sys.platform != "linux":
        pytest.skip("the limit of memory is set on Linux only")
    with pytest.raises(WrongInput, match="memory"):
        worker.run(bytearray, 40 * 1024**3)
    assert worker.run(abs, -1) == 1


def test_a_refusal_keeps_its_sentence(worker: Worker) -> None:
    with pytest.raises(WrongInput, match=r"^eye\.png is not a picture"):
        worker.run(measure_job, {"side": "left", "optic_diameter_mm": 6.0}, b"no", "eye.png")


def test_a_fault_tells_its_kind_only(worker: Worker) -> None:
    with pytest.raises(WorkerFault, match=r"^ValueError$"):
        worker.run(int, "Invented Name")


def test_a_closed_worker_starts_no_child_that_would_outlive_it() -> None:
    worker = Worker()
    worker.close()
    with pytest.raises(Stopped, match="closing"):
        worker.run(abs, -1)


def test_more_than_can_wait_is_refused_at_once() -> None:
    worker = Worker(limit_s=20.0)
    try:
        worker.run(abs, -1)
        waiting = [
            threading.Thread(target=worker.run, args=(time.sleep, 1.0)) for _ in range(MOST_WAITING)
        ]
        for one in waiting:
            one.start()
        time.sleep(0.3)
        with pytest.raises(Busy):
            worker.run(abs, -1)
        for one in waiting:
            one.join()
        assert worker.run(abs, -1) == 1
    finally:
        worker.close()


class Served:
    """``rimwise serve`` as a person starts it."""

    def __init__(self, *words: str) -> None:
        program = str(Path(sys.executable).with_name("rimwise"))
        start = time.monotonic()
        self.child = subprocess.Popen(
            [program, "serve", "--no-browser", *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.child.stdout
        self.address = self.child.stdout.readline().removeprefix("Workbench: ").strip()
        self.took_s = time.monotonic() - start

    def end(self) -> tuple[int, str, str]:
        """Press Ctrl-C; return the exit code and what was said."""
        self.child.send_signal(signal.SIGINT)
        out, err = self.child.communicate(timeout=20)
        return self.child.returncode, out, err


@pytest.fixture
def served() -> Iterator[Served]:
    made = Served()
    yield made
    if made.child.poll() is None:
        made.end()


def test_serve_prints_an_address_of_this_machine_and_ends_cleanly(served: Served) -> None:
    assert served.address.startswith("http://127.0.0.1:")
    assert "?token=" in served.address
    with urllib.request.urlopen(served.address) as answer:
        assert answer.status == 200
    with pytest.raises(urllib.error.HTTPError) as again:
        urllib.request.urlopen(served.address)
    assert again.value.code == 403
    again.value.close()
    code, out, err = served.end()
    assert (code, err) == (0, "")
    assert "forgotten" in out
    assert served.address.partition("=")[2] not in out


def test_two_workbenches_stand_beside_each_other(served: Served) -> None:
    other = Served()
    try:
        assert other.address.partition("/?")[0] != served.address.partition("/?")[0]
    finally:
        assert other.end()[0] == 0


def test_a_port_in_use_is_told_in_one_sentence(served: Served) -> None:
    port = served.address.rpartition(":")[2].partition("/")[0]
    with pytest.raises(WrongInput, match=f"port {port} cannot be used"):
        serve(int(port), browser=False, casebook=None, tell=lambda _: None)
    with pytest.raises(WrongInput, match="1 to 65535"):
        serve(70000, browser=False, casebook=None, tell=lambda _: None)


@pytest.mark.slow
def test_the_address_is_there_within_one_and_a_half_seconds() -> None:
    """Median of five, on a quiet machine; 1.5 s is what a person takes for "at once"."""
    took = []
    for _ in range(5):
        served = Served()
        took.append(served.took_s)
        assert served.end()[0] == 0
    assert sorted(took)[2] <= 1.5
