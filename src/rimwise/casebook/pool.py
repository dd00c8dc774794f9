"""Work shared among processes of this machine: bounded, and a crash costs one piece of work."""

import os
import threading
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import islice
from multiprocessing import get_context, parent_process
from typing import Generic, TypeVar

Task = TypeVar("Task")
Answer = TypeVar("Answer")

WAITING_PER_WORKER = 2  # tasks handed out per worker: none idles, and memory stays bounded
# One picture per core: the inner thread pools of libraries only get in each other's way.
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
PRELOADED = [
    "rimwise.casebook.measuring",
    "rimwise.measure.photograph",
    "rimwise.picture.compiled_paths",
    "rimwise.measure.opacification",
]


@dataclass(frozen=True, slots=True)
class Crashed:
    """The process that did this piece of work died, twice: alone too."""


class LocalPool(Generic[Task, Answer]):
    """Does work in processes of this machine.

    Parameters
    ----------
    work : callable
        A function of a module (workers import it by name); it takes a task and returns an answer.
    workers : int
        How many processes; 1 still keeps crashes away from this one.
    """

    def __init__(self, work: Callable[[Task], Answer], workers: int) -> None:
        self._work = work
        self._workers = workers

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Answer | Crashed]]:
        """Do all tasks; yield each with its answer as it comes, in no order."""
        source = iter(tasks)
        while True:
            lost = yield from self._until_broken(source)
            if lost is None:
                return
            for task in lost:
                yield task, self._alone(task)

    def _until_broken(
        self, source: Iterator[Task]
    ) -> Generator[tuple[Task, Answer | Crashed], None, list[Task] | None]:
        """Work until all is done (None) or a process dies; then return the tasks without answer."""
        out: dict[Future[Answer], Task] = {}
        with self._executor(self._workers) as executor:
            try:
                while True:
                    for task in islice(source, WAITING_PER_WORKER * self._workers - len(out)):
                        try:
                            out[executor.submit(self._work, task)] = task
                        except BrokenProcessPool:
                            return [*out.values(), task]
                    if not out:
                        return None
                    done, _ = wait(out, return_when=FIRST_COMPLETED)
                    for future in done:
                        if isinstance(future.exception(), BrokenProcessPool):
                            return list(out.values())
                        yield out.pop(future), future.result()
            finally:
                executor.shutdown(wait=False, cancel_futures=True)

    def _alone(self, task: Task) -> Answer | Crashed:
        """Do one task in a process of its own, to learn whether it was the one that crashed."""
        with self._executor(1) as executor:
            try:
                return executor.submit(self._work, task).result()
            except BrokenProcessPool:
                return Crashed()

    @staticmethod
    def _executor(workers: int) -> ProcessPoolExecutor:
        for name in THREADS:
            os.environ.setdefault(name, "1")
        # A fork server imports the libraries once and its children share their pages.
        context = get_context("forkserver" if os.name == "posix" else "spawn")
        if os.name == "posix":
            context.set_forkserver_preload(PRELOADED)
        return ProcessPoolExecutor(workers, mp_context=context, initializer=end_with_parent)


def end_with_parent() -> None:
    """In a worker: end with the process that started it, however that ended.

    A process that is killed by force tells its workers nothing: they would hold their memory, and
    wait for work, for ever.
    """
    threading.Thread(target=_wait_and_end, daemon=True, name="watches the parent").start()


def _wait_and_end() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
