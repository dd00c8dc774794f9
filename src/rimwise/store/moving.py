"""A casebook copied, brought back, and given out as open files."""

import csv
import io
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from pathlib import Path
from typing import Any

from rimwise import __version__
from rimwise.store.book import Casebook, Consent
from rimwise.store.opening import BOOK, PICTURES
from rimwise.terms.errors import OutputFailed, WrongInput

_MARK = "rimwise-casebook.json"


def backup(book: Casebook, target: Path) -> int:
    """Copy a whole SQLite casebook into one file while others may read and write it.

    Returns
    -------
    int
        Pictures in it.

    Raises
    ------
    OutputFailed
        The file exists already or cannot be written; nothing half-written is left.
    """
    if target.exists():
        raise OutputFailed(f"{target} exists already; a backup never overwrites: name a new file")
    pictures = book.pictures.all()
    try:
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as folder:
            copy = Path(folder) / BOOK
            _copy_database(book.folder / BOOK, copy)
            draft = Path(folder) / "backup.zip"
            with zipfile.ZipFile(draft, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
                archive.writestr(_MARK, json.dumps({"rimwise": __version__, "form": 1}))
                archive.write(copy, BOOK)
                for sha256 in pictures:
                    archive.write(book.pictures.path(sha256), f"{PICTURES}/{sha256[:2]}/{sha256}")
            os.replace(draft, target)
    except OSError as error:
        raise OutputFailed(f"{target} could not be written ({error.strerror})") from None
    return len(pictures)


def _copy_database(source: Path, target: Path) -> None:
    if not source.is_file():
        raise WrongInput(
            "only a casebook in a folder is backed up so; use the database server's own"
        )
    with sqlite3.connect(source) as of, sqlite3.connect(target) as to:
        of.backup(to)
    of.close()
    to.close()


def restore(source: Path, folder: Path) -> list[str]:
    """Bring a backup back into an empty folder; returns what its check found wrong.

    Raises
    ------
    WrongInput
        It is no backup, or the folder holds something.
    OutputFailed
        The folder cannot be written.
    """
    if folder.exists() and any(folder.iterdir()):
        raise WrongInput(f"{folder} is not empty; a backup is restored into a new folder")
    try:
        with zipfile.ZipFile(source) as archive:
            names = archive.namelist()
            if _MARK not in names or BOOK not in names:
                raise WrongInput(f"{source} is no backup of a casebook")
            folder.mkdir(parents=True, exist_ok=True)
            for name in names:
                _unpack(archive, name, folder)
    except (OSError, zipfile.BadZipFile) as error:
        raise WrongInput(f"{source} cannot be restored ({error}); give another backup") from None
    with Casebook(folder) as book:
        return book.verify()


def _unpack(archive: zipfile.ZipFile, name: str, folder: Path) -> None:
    """Write one member; a name that is none of ours never becomes a path."""
    parts = name.split("/")
    hexadecimal = len(parts) == 3 and not set(parts[1] + parts[2]) - set("0123456789abcdef")
    if name == _MARK:
        return
    if name != BOOK and not (parts[0] == PICTURES and hexadecimal):
        raise WrongInput(
            f"the backup holds {name[:60]!r}, which no casebook has; it was not restored"
        )
    target = folder.joinpath(*parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as source, target.open("wb") as file:
        shutil.copyfileobj(source, file)


def export_all(book: Casebook, folder: Path, use: Consent) -> tuple[int, int]:
    """Give eyes out as open files: records as JSON, the list as CSV, the pictures as they came.

    Parameters
    ----------
    book : Casebook
    folder : Path
        New or empty.
    use : str
        What for; eyes without consent to it stay out.

    Returns
    -------
    (given, left_out) : int, int

    Raises
    ------
    WrongInput
        The folder holds something.
    OutputFailed
        It cannot be written.
    """
    if folder.exists() and any(folder.iterdir()):
        raise WrongInput(f"{folder} is not empty; give a new folder")
    rows: list[dict[str, Any]] = []
    left_out = 0
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for eye in book.eyes(limit=10_000_000):
            if use not in book.consent(eye.code):
                left_out += 1
                continue
            rows.append(_give(book, eye.code, folder, len(rows) + 1))
        (folder / "eyes.csv").write_text(_table(rows), encoding="utf-8")
    except OSError as error:
        raise OutputFailed(f"{folder} could not be written ({error.strerror})") from None
    return len(rows), left_out


def _give(book: Casebook, code: str, folder: Path, number: int) -> dict[str, Any]:
    """Write one eye into a folder with a number: a code is no safe name of a folder."""
    place = folder / f"eye-{number:05d}"
    place.mkdir()
    kept = book.records(code)
    told = [
        {"kind": one.kind, "slot": one.slot, "version": one.version, "at": one.at.isoformat(),
         "sha256": one.sha256, "document": one.document}
        for one in kept
    ]  # fmt: skip
    text = json.dumps({"rimwise": __version__, "code": code, "records": told}, ensure_ascii=False)
    (place / "records.json").write_text(text, encoding="utf-8")
    pictures = {one.slot: str(one.document["name"]) for one in kept if one.kind == "picture"}
    for sha256, name in pictures.items():
        suffix = Path(name).suffix.lower()
        safe = suffix if suffix.isascii() and suffix[1:].isalnum() else ""
        (place / f"{sha256[:16]}{safe}").write_bytes(book.pictures.get(sha256))
    return {"code": code, "folder": place.name, "records": len(kept), "pictures": len(pictures)}


def _table(rows: list[dict[str, Any]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, ["code", "folder", "records", "pictures"], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
