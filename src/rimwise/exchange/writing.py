"""Answers written whole or not at all: a name never shows half a file, not even after a kill."""

import contextlib
import json
import math
import os
import stat
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rimwise.terms.errors import OutputFailed

STANDARD_OUTPUT = "-"


def write_bytes(path: Path | str, data: bytes) -> None:
    """Write a file whole: into a new file beside it first, then under its name in one step.

    Parameters
    ----------
    path : path
        Where to; an existing file is replaced. A device or pipe is written to directly.
    data : bytes
        All of it.

    Raises
    ------
    OutputFailed
        The folder is missing, full or read-only.
    """
    target = Path(os.path.realpath(path))
    try:
        if target.exists() and not stat.S_ISREG(target.stat().st_mode) and not target.is_dir():
            target.write_bytes(data)
            return
        _replace(target, (data,))
    except (OSError, ValueError) as error:
        raise _failed(path, error) from None


def write_chunks(path: Path | str, chunks: Iterable[bytes]) -> None:
    """Write a file whole like ``write_bytes``, part by part, so that it never stands in memory.

    Raises
    ------
    OutputFailed
        The folder is missing, full or read-only.
    """
    target = Path(os.path.realpath(path))
    try:
        _replace(target, chunks)
    except (OSError, ValueError) as error:
        raise _failed(path, error) from None


def write_json(destination: Path | str, document: dict[str, Any]) -> None:
    """Write one JSON document to a file, or to standard output for ``-``.

    Raises
    ------
    OutputFailed
        The file cannot be written.
    ValueError
        The document holds NaN or infinity: JSON has neither.
    """
    _write_text(destination, json_text(document))


def copy_document(source: Path, destination: Path | str) -> None:
    """Write a document that was written already to a second place, or to standard output for ``-``.

    Raises
    ------
    OutputFailed
        It cannot be read or written.
    """
    try:
        text = source.read_text(encoding="utf-8")
    except OSError as error:
        raise _failed(source, error) from None
    _write_text(destination, text)


def _write_text(destination: Path | str, text: str) -> None:
    if str(destination) != STANDARD_OUTPUT:
        write_bytes(destination, text.encode("utf-8"))
        return
    try:
        # Always UTF-8, whatever the terminal's locale says: it is a document, not talk.
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.buffer.flush()
    except OSError as error:
        raise _failed("standard output", error) from None


def json_text(document: dict[str, Any]) -> str:
    """How does this document read as JSON: one line for each entry, lists of numbers unbroken?

    Examples
    --------
    >>> print(json_text({"a": {"b": [1, 2.5, None]}}), end="")
    {
     "a": {
      "b": [1, 2.5, null]
     }
    }
    """
    return _lines(document, 0) + "\n"


def _lines(value: Any, depth: int) -> str:
    if isinstance(value, dict) and any(isinstance(v, dict | list) for v in value.values()):
        inner = " " * (depth + 1)
        body = ",\n".join(
            f"{inner}{json.dumps(key, ensure_ascii=False)}: {_lines(one, depth + 1)}"
            for key, one in value.items()
        )
        return "{\n" + body + "\n" + " " * depth + "}"
    if isinstance(value, list) and any(isinstance(one, dict) for one in value):
        inner = " " * (depth + 1)
        body = ",\n".join(inner + _lines(one, depth + 1) for one in value)
        return "[\n" + body + "\n" + " " * depth + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def check_writable(path: Path | str) -> None:
    """Refuse now what could not be written after minutes of work.

    Raises
    ------
    OutputFailed
        The folder of this file is missing, is no folder, or may not be written to.
    """
    if str(path) == STANDARD_OUTPUT:
        return
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise OutputFailed(f"{path} is a folder, and a file is written; give a file name in it")
    folder = target.parent
    if not folder.is_dir():
        raise OutputFailed(f"the folder {folder} is not there; make it, or give another")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputFailed(f"the folder {folder} may not be written to; give another")


def check_not_input(output: Path | str | None, inputs: Iterable[Path]) -> None:
    """Refuse to write over what was given to be read, or over any sheet.

    Raises
    ------
    OutputFailed
        The output is one of the inputs, or ends in .toml: sheets belong to the person.
    """
    if output is None or str(output) == STANDARD_OUTPUT:
        return
    target = os.path.realpath(output)
    if target.lower().endswith(".toml") or target in {os.path.realpath(one) for one in inputs}:
        raise OutputFailed(
            f"{output} is an input or a sheet, and those are never written over; give another name"
        )


def make_folder(path: Path | str) -> Path:
    """Make a folder for several files, with the folders above it, unless it is there.

    Raises
    ------
    OutputFailed
        It cannot be made or may not be written to.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise _failed(path, error) from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputFailed(f"the folder {folder} may not be written to; give another")
    return folder


def finite(value: float | None, digits: int) -> float | None:
    """Which rounded number is written; None for what is not known.

    Raises
    ------
    ValueError
        For NaN and infinity, which are never an answer.

    Examples
    --------
    >>> finite(1.23456789, 6), finite(None, 6), finite(-0.0, 3)
    (1.234568, None, 0.0)
    """
    if value is None:
        return None
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"a result holds {number}, which is no answer")
    return round(number, digits) + 0.0


def _replace(target: Path, chunks: Iterable[bytes]) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(chunks)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def _mode(target: Path) -> int:
    """The rights of the file that is replaced, else those the user's mask leaves."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _failed(path: Path | str, error: Exception) -> OutputFailed:
    words = getattr(error, "strerror", None) or str(error)
    return OutputFailed(f"{path} could not be written ({words}); give a place that can be written")
