"""The casebook from sheets, pictures and results: read and checked, then kept."""

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimwise.exchange.course_sheets import read_course_sheet
from rimwise.exchange.pictures import check_file, load_picture
from rimwise.exchange.sheets import read_case_sheet, read_picture_sheet
from rimwise.store.book import Casebook, Consent, Who
from rimwise.store.folder import default_folder
from rimwise.store.moving import backup, export_all, restore
from rimwise.terms.errors import WrongInput

__all__ = ["Added", "Casebook", "Consent", "Who", "add_file", "backup", "default_folder",
           "export_all", "open_book", "restore"]  # fmt: skip

_KINDS = {
    "rimwise.cover/1": "cover",
    "rimwise.frame/1": "frame",
    "rimwise.plan/1": "plan",
    "rimwise.place/1": "place",
    "rimwise.healing/1": "healing",
    "rimwise.sight/1": "sight",
    "rimwise.reference/1": "reference",
}


@dataclass(frozen=True, slots=True)
class Added:
    """What was kept of a file."""

    eye: str
    what: str


def open_book(folder: Path | None = None, url: str | None = None) -> Casebook:
    """Open the casebook of this folder, the usual one without a word."""
    return Casebook(folder or default_folder(), url)


def add_file(book: Casebook, path: Path, who: Who, eye: str | None = None) -> list[Added]:
    """Keep what a file holds: a case, operation or visit sheet, results, or a picture.

    Parameters
    ----------
    book : Casebook
    path : Path
        .toml, .json, or a picture with its sheet beside it.
    who : Who
    eye : str, optional
        Code of the eye; without it the file's own.

    Raises
    ------
    WrongInput
        The file cannot be used, or no eye's code is known.
    OutputFailed
        It could not be kept; nothing was changed.
    """
    suffix = path.suffix.lower()
    if suffix == ".toml":
        return [_sheet(book, path, who, eye)]
    if suffix == ".json":
        return _results(book, path, who, eye)
    return [_picture(book, path, who, eye)]


def _sheet(book: Casebook, path: Path, who: Who, eye: str | None) -> Added:
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give a sheet") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise WrongInput(f"{path} is no TOML ({str(error)[:80]}); correct the sheet") from None
    if "operation" in values or "visit" in values:
        told = read_course_sheet(path)
        code = _code(eye, told.get("code"), path)
        for kind in ("operation", "visit"):
            if kind in told:
                day = told[kind].get("day", "")
                book.put(code, kind, told[kind], who, slot=str(day) if kind == "visit" else "")
        return Added(code, " and ".join(kind for kind in ("operation", "visit") if kind in told))
    sheet = read_case_sheet(path).sheet
    code = eye or sheet.code
    if not book.eyes(search=code) or code not in {one.code for one in book.eyes(search=code)}:
        book.add_eye(code, sheet.side, who, sheet.person)
    book.put(code, "case", _plain(values), who)
    return Added(code, "case sheet")


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """Dates of TOML as text: JSON has none."""
    return dict(json.loads(json.dumps(values, default=str)))


def _code(told: str | None, own: object, path: Path) -> str:
    code = told or (str(own) if own else None)
    if code is None:
        raise WrongInput(f"{path.name} does not say of which eye it is; give --eye CODE")
    return code


def _results(book: Casebook, path: Path, who: Who, eye: str | None) -> list[Added]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give results") from None
    except (ValueError, RecursionError):
        raise WrongInput(f"{path} is no JSON; give results that a command wrote") from None
    entries = document.get("results") if isinstance(document, dict) else None
    known = [one for one in entries or [] if isinstance(one, dict) and one.get("schema") in _KINDS]
    if not known:
        raise WrongInput(f"{path} holds no results that a casebook keeps; give a command's --json")
    added = []
    for one in known:
        code = _code(eye, one.get("code") or _eye_of_picture(book, one.get("sha256")), path)
        kind = _KINDS[str(one["schema"])]
        slot = str(one.get("sha256") or one.get("picture") or "")[:128]
        book.put(code, kind, one, who, slot=slot)
        added.append(Added(code, f"{kind} results"))
    return added


def _eye_of_picture(book: Casebook, sha256: object) -> str | None:
    """Return the one eye whose picture these results are of, where the casebook keeps it."""
    keeps = book.pictures_of("", 2, sha256) if isinstance(sha256, str) and sha256 else []
    return keeps[0][0] if len(keeps) == 1 else None


def _picture(book: Casebook, path: Path, who: Who, eye: str | None) -> Added:
    check_file(path)
    sheet = read_picture_sheet(path).sheet
    load_picture(path)  # what is no whole picture is not kept
    code = _code(eye, sheet.code, path)
    own = path.with_suffix(".toml")
    told = tomllib.loads(own.read_text(encoding="utf-8")) if own.is_file() else {}
    book.add_picture(code, path.name, path.read_bytes(), who, _plain(told))
    return Added(code, "picture")
