"""One worker in a child of its own: what hangs or eats memory there is ended, not waited for.

A picture comes from outside and decoders have faults; the server must answer whatever a file does.
"""

import contextlib
import importlib
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, TypeVar

from rimwise.terms.errors import RimwiseError, WrongInput

LIMIT_S = 60.0  # an ordinary picture takes one or two
MOST_WAITING = 4  # each waiting picture is held in memory
MOST_MEMORY_BYTES = 4 * 1024**3  # address space of the worker: 100 megapixels take 1.5
KEPT_BYTES = 32 * 1024**2  # the most that the GNU library's allocator takes for a threshold

Answer = TypeVar("Answer")

DONE, REFUSED, FAULT = "done", "refused", "fault"


class Stopped(WrongInput):
    """The work took too long, or ended its child."""


class Busy(WrongInput):
    """More work is waiting than is taken on."""


class WorkerFault(Exception):
    """A fault of the program in the worker; only its kind is told, never what it worked on."""


@dataclass(frozen=True, slots=True)
class _Running:
    child: SpawnProcess
    pipe: Connection


class Worker:
    """Runs one job at a time in a child, and ends the child when a job takes too long.

    Parameters
    ----------
    limit_s : float
        Seconds that a job may take.
    """

    def __init__(self, limit_s: float = LIMIT_S) -> None:
        self._limit_s = limit_s
        self._running: _Running | None = None
        self._turn = threading.Lock()
        self._places = threading.BoundedSemaphore(MOST_WAITING)
        # Held while a child is started: one that is started during the end would outlive it.
        self._starting = threading.Lock()
        self._closed = False

    def run(self, job: Callable[..., Answer], *inputs: object) -> Answer:
        """What does this job answer?

        Parameters
        ----------
        job : callable
            A function of a module; it and its inputs go to the child.

        Raises
        ------
        RimwiseError
            What the job refused; or it was stopped, or too much is waiting.
        WorkerFault
            The job met a fault of the program.
        """
        if not self._places.acquire(blocking=False):
            raise Busy("too many pictures are waiting; try again when the others are done")
        try:
            with self._turn:
                answer: Answer = self._answer(job, inputs)
                return answer
        finally:
            self._places.release()

    def stop(self) -> None:
        """End the job that is running, if any; the next one gets a new child."""
        with self._starting:
            if self._running is not None:
                self._running.child.kill()

    def warm(self) -> None:
        """Load the libraries before the first picture comes."""
        with contextlib.suppress(RimwiseError, WorkerFault):
            self.run(load_libraries)

    def close(self) -> None:
        """End the child, whatever it does, and start no other."""
        with self._starting:
            self._closed = True
            self._end()

    def _end(self) -> None:
        running, self._running = self._running, None
        if running is not None:
            running.child.kill()
            running.child.join()
            running.pipe.close()

    def _answer(self, job: Callable[..., Any], inputs: tuple[object, ...]) -> Any:
        running = self._started()
        try:
            running.pipe.send((job, inputs))
            if not running.pipe.poll(self._limit_s):
                self._end()
                raise Stopped(
                    f"the work took longer than {self._limit_s:g} s and was stopped; "
                    "give a smaller or clearer picture"
                )
            kind, told = running.pipe.recv()
        except (EOFError, OSError):
            self._end()
            raise Stopped(
                "the work ended its worker, mostly for want of memory; give a smaller picture"
            ) from None
        if kind == REFUSED:
            raise WrongInput(told)
        if kind == FAULT:
            raise WorkerFault(told)
        return told

    def _started(self) -> _Running:
        with self._starting:
            if self._closed:
                raise Stopped("the workbench is closing; start it again to go on")
            if self._running is not None and self._running.child.is_alive():
                return self._running
            self._end()
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe()
            child = context.Process(target=_serve_jobs, args=(theirs,), daemon=True)
            child.start()
            theirs.close()
            self._running = _Running(child, ours)
            return self._running


def load_libraries() -> None:
    """Import what measuring and planning need: a second or two, once."""
    for module in ("rimwise.measure.photograph", "rimwise.plan.make", "rimwise.exchange.pictures",
                   "rimwise.exchange.sheet_keys", "matplotlib.backends.backend_agg"):  # fmt: skip
        importlib.import_module(module)


def _serve_jobs(pipe: Connection) -> None:
    """Do one job after the other until the other end is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends us
    # One picture at a time: inner thread pools only wait for each other (5.0 s instead of 0.9 s of
    # processor time). NumPy reads this when it is first imported, which is after this line.
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    _limit_memory()
    _keep_freed_memory()
    while True:
        try:
            job, inputs = pipe.recv()
        except (EOFError, OSError):
            return
        with contextlib.suppress(BrokenPipeError):
            pipe.send(_outcome(job, inputs))


def _outcome(job: Callable[..., Any], inputs: tuple[object, ...]) -> tuple[str, Any]:
    try:
        return DONE, job(*inputs)
    except RimwiseError as error:
        return REFUSED, error.sentence
    except MemoryError:
        return REFUSED, "the picture needs more memory than is allowed; give a smaller one"
    except Exception as error:
        return FAULT, type(error).__name__


def _limit_memory() -> None:
    if sys.platform == "linux":
        import resource  # noqa: PLC0415 - not on every system

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))


def _keep_freed_memory() -> None:
    """Let arrays of some megabytes reuse what the last ones left.

    By default each is asked of the system anew, which clears every page of it: a third of the time
    in which numbers follow a hand. Where the system's library has no such switch nothing changes.
    """
    if sys.platform == "linux":
        import ctypes  # noqa: PLC0415 - the server itself has no use for it

        with contextlib.suppress(OSError, AttributeError):
            library = ctypes.CDLL(None)
            trim, mapped = -1, -3  # M_TRIM_THRESHOLD and M_MMAP_THRESHOLD of malloc.h
            library.mallopt(mapped, KEPT_BYTES)
            library.mallopt(trim, 4 * KEPT_BYTES)
