"""Pictures that wait to be measured, in the casebook's folder: a restart loses none of them."""

import json
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rimwise.store.whole import write_whole
from rimwise.terms.errors import WrongInput

WAITING = "waiting"
Told = dict[str, Any]


class WaitingRoom:
    """A folder with a file of words and a file of bytes for each waiting picture.

    Parameters
    ----------
    folder : Path
        The casebook's.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / WAITING

    def add(self, data: bytes, told: Mapping[str, Any]) -> str:
        """Keep a picture with what is told of it; returns its number in the queue.

        Raises
        ------
        OutputFailed
            The disk is full or read-only.
        """
        number = secrets.token_hex(8)
        # The picture first: words never point to one that is not there.
        self._write(self._path(number, "picture"), data)
        self.tell(number, told)
        return number

    def tell(self, number: str, told: Mapping[str, Any]) -> None:
        """Keep what is told of a picture now, in place of what was told before."""
        words = json.dumps(dict(told), ensure_ascii=False).encode("utf-8")
        self._write(self._path(number, "json"), words)

    def told(self, number: str) -> Told | None:
        """What is told of a picture? None where there is none."""
        try:
            held = json.loads(self._path(number, "json").read_text("utf-8"))
        except (OSError, ValueError):
            return None
        return held if isinstance(held, dict) else None

    def data(self, number: str) -> bytes:
        """Return the whole file of a picture."""
        try:
            return self._path(number, "picture").read_bytes()
        except OSError:
            raise WrongInput("the waiting picture is missing; give it again") from None

    def numbers(self) -> list[str]:
        """Return the numbers of all pictures."""
        return sorted(path.stem for path in self._folder.glob("*.json"))

    def empty(self, number: str) -> None:
        """Let the bytes of a picture go, which the casebook keeps by now."""
        self._path(number, "picture").unlink(missing_ok=True)

    def remove(self, number: str) -> None:
        """Let a picture go altogether."""
        self._path(number, "json").unlink(missing_ok=True)
        self.empty(number)

    def _path(self, number: str, kind: str) -> Path:
        if len(number) != 16 or set(number) - set("0123456789abcdef"):
            raise WrongInput("a waiting picture is asked for by its number")
        return self._folder / f"{number}.{kind}"

    def _write(self, target: Path, data: bytes) -> None:
        write_whole(target, data, "the picture could not be put into the queue")
