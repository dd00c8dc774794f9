"""The surgeon's own spread that a plan takes where nothing else is said."""

from pathlib import Path

from rimwise.exchange.spreads import read_spread
from rimwise.records.case import CaseSheet, Spread
from rimwise.records.cover import Reason
from rimwise.store.folder import default_folder

SPREAD_FILE = "spread.json"
PUBLISHED = Path("published")


def kept_spread_file(case: Path | None = None, book: Path | None = None) -> Path | None:
    """Which file holds the own spread: nearest to the case sheet or above, else the casebook's?

    Parameters
    ----------
    case : Path, optional
        The case sheet.
    book : Path, optional
        The casebook's folder, if not the usual one.
    """
    folders = [] if case is None else list(case.absolute().parents)
    for folder in (*folders, book or default_folder()):
        if (folder / SPREAD_FILE).is_file():
            return folder / SPREAD_FILE
    return None


def own_hand(
    case: Path, sheet: CaseSheet, told: Path | None
) -> tuple[Spread | None, tuple[Reason, ...]]:
    """Which own spread does a plan reckon with, and what is said about it?

    Parameters
    ----------
    case : Path
    sheet : CaseSheet
        Its own [spread] outranks every file.
    told : Path or None
        What the person gave; the word "published" asks for the published spread.

    Raises
    ------
    WrongInput
        The file is no spread.
    """
    if told == PUBLISHED and not PUBLISHED.exists():
        return None, ()
    if told is not None:
        return read_spread(told), ()
    return _kept(sheet, kept_spread_file(case), "--spread published plans with the published one")


def hand_of_book(sheet: CaseSheet, book: Path) -> tuple[Spread | None, tuple[Reason, ...]]:
    """Which own spread does a casebook hold for a plan, and what is said about it?

    Parameters
    ----------
    sheet : CaseSheet
        Its own [spread] outranks the casebook's.
    book : Path
        The casebook's folder.

    Raises
    ------
    WrongInput
        The file is no spread.
    """
    file = book / SPREAD_FILE
    return _kept(sheet, file if file.is_file() else None, "numbers in the form outrank it")


def _kept(
    sheet: CaseSheet, file: Path | None, otherwise: str
) -> tuple[Spread | None, tuple[Reason, ...]]:
    if file is None or sheet.spread is not None:
        return None, ()
    spread = read_spread(file)
    words = (
        f"The hand's spread is this surgeon's own ({spread.origin}), kept in {file}; {otherwise}."
    )
    return spread, (Reason("own-spread", words),)
