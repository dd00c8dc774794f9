"""The casebook behind the pages: opened when a page first needs it, and once only."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from anyio import to_thread
from fastapi import Request

if TYPE_CHECKING:
    from rimwise.store.book import Casebook

Answer = TypeVar("Answer")


class Keeping:
    """Holds the casebook of a workbench, which is not made before it is used.

    Parameters
    ----------
    folder : Path
    url : str, optional
        Of a PostgreSQL database.
    """

    def __init__(self, folder: Path, url: str | None = None) -> None:
        self.folder = folder
        self._url = url
        self._book: Casebook | None = None
        self._turn = threading.Lock()

    def book(self) -> "Casebook":
        """Return the open casebook.

        Raises
        ------
        WrongInput, OutputFailed
            It is damaged, or cannot be made or opened.
        """
        with self._turn:
            if self._book is None:
                from rimwise.store.book import Casebook  # noqa: PLC0415 - loads much

                self._book = Casebook(self.folder, self._url)
            return self._book

    def close(self) -> None:
        """Let the casebook go, if it was opened."""
        with self._turn:
            if self._book is not None:
                self._book.close()
                self._book = None


async def booked(request: Request, ask: Callable[..., Answer], *what: Any) -> Answer:
    """Ask the casebook something, beside the server's own thread.

    Parameters
    ----------
    request : Request
    ask : callable
        Takes the casebook first.
    *what
        Its other arguments.
    """
    keeping: Keeping = request.app.state.keeping
    return await to_thread.run_sync(lambda: ask(keeping.book(), *what))


def book_folder(request: Request) -> str:
    """In which folder does the casebook lie, whether it was opened yet or not?"""
    keeping: Keeping = request.app.state.keeping
    return str(keeping.folder)
