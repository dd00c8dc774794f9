"""What a batch has done already: a line a picture, kept as it comes, read back after a stop."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import IO, Any

from rimwise.terms.errors import OutputFailed

FAULT = "unexpected-error"


class Kept:
    """Entries on disk by the key of what they were made from.

    Only keys and places are held in memory. A line that a kill cut short is left out, and its
    picture is measured again.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._places: dict[str, int] = {}
        self._file: IO[bytes] | None = None
        if path.is_file():
            self._read_places()

    def _read_places(self) -> None:
        place = 0
        with self._path.open("rb") as file:
            for line in file:
                key = _key_of(line)
                # A fault of the program is no answer: that picture gets another try.
                if key is not None:
                    self._places[key] = place
                place += len(line)

    def __contains__(self, key: str) -> bool:
        return key in self._places

    def add(self, key: str, entry: Mapping[str, Any]) -> None:
        """Keep one entry; it survives a kill from here on.

        Raises
        ------
        OutputFailed
            The disk is full or the folder may not be written to.
        """
        line = json.dumps({"key": key, "entry": entry}, ensure_ascii=False, allow_nan=False) + "\n"
        try:
            if self._file is None:
                self._file = self._path.open("ab")
                if not _ends_with_line(self._path):
                    self._file.write(b"\n")
            place = self._file.seek(0, 2)
            self._file.write(line.encode("utf-8"))
            self._file.flush()
        except OSError as error:
            raise OutputFailed(
                f"{self._path} could not be written ({error.strerror}); make room or give another "
                "folder, then run the same command again"
            ) from None
        self._places[key] = place

    def entries(self, keys: Iterator[str]) -> Iterator[dict[str, Any]]:
        """Read entries back one at a time, in the order of these keys."""
        with self._path.open("rb") as file:
            for key in keys:
                file.seek(self._places[key])
                entry: dict[str, Any] = json.loads(file.readline())["entry"]
                yield entry

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _key_of(line: bytes) -> str | None:
    if not line.endswith(b"\n"):
        return None
    try:
        held = json.loads(line)
    except ValueError:
        return None
    key = held.get("key") if isinstance(held, dict) else None
    entry = held.get("entry") if isinstance(held, dict) else None
    if not isinstance(key, str) or not isinstance(entry, dict):
        return None
    faults = [reason.get("code") for reason in entry.get("reasons") or []]
    return None if FAULT in faults else key


def _ends_with_line(path: Path) -> bool:
    with path.open("rb") as file:
        if file.seek(0, 2) == 0:
            return True
        file.seek(-1, 2)
        return file.read(1) == b"\n"


def key_of(picture: bytes, told: object) -> str:
    """Which key do a picture, what was told about it and this program make? (SHA-256)

    Examples
    --------
    >>> key_of(b"picture", "left") == key_of(b"picture", "right")
    False
    """
    digest = hashlib.sha256(_program())
    digest.update(hashlib.sha256(picture).digest())
    digest.update(repr(told).encode("utf-8"))
    return digest.hexdigest()


@cache
def _program() -> bytes:
    """Return a hash of the program's text: another program measures anew."""
    digest = hashlib.sha256()
    folders: list[Traversable] = [resources.files("rimwise")]
    while folders:
        for entry in sorted(folders.pop().iterdir(), key=lambda item: item.name):
            if entry.is_dir() and entry.name != "__pycache__":
                folders.append(entry)
            elif entry.name.endswith((".py", ".toml")):
                digest.update(entry.read_bytes())
    return digest.digest()
