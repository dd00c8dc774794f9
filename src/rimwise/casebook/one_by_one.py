"""Pictures taken one by one: where their drawings go, and faults that stay with one of them."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from rimwise.casebook.exits import UNEXPECTED, WRONG_INPUT, Progress, fault_sentence
from rimwise.exchange.writing import check_not_input, make_folder
from rimwise.records.cover import Reason
from rimwise.terms.errors import OutputFailed, RimwiseError

Answer = TypeVar("Answer")
Step = Callable[[Path, Path | None], Answer]
Failed = Callable[[Path, Reason], Answer]


def drawing_names(paths: Sequence[Path], ending: str) -> list[str]:
    """How are the drawings of these pictures called, so that no two share a name?

    Parameters
    ----------
    paths : sequence of path
    ending : str
        What is drawn: "cover" or "align".

    Examples
    --------
    >>> drawing_names([Path("a/eye.jpg"), Path("b/eye.jpg"), Path("b/other.png")], "cover")
    ['eye.cover.png', 'eye-2.cover.png', 'other.cover.png']
    """
    names: list[str] = []
    for path in paths:
        name, count = f"{path.stem}.{ending}.png", 1
        while name in names:
            count += 1
            name = f"{path.stem}-{count}.{ending}.png"
        names.append(name)
    return names


def drawing_places(
    paths: Sequence[Path], folder: Path | None, ending: str, inputs: Sequence[Path]
) -> list[Path | None]:
    """Where does the drawing of each picture go? The folder is made now.

    Raises
    ------
    OutputFailed
        The folder cannot be made or written.
    WrongInput
        A drawing would overwrite one of ``inputs``.

    Examples
    --------
    >>> drawing_places([Path("eye.jpg")], None, "cover", [])
    [None]
    """
    if folder is None:
        return [None] * len(paths)
    made = make_folder(folder)
    places = [made / name for name in drawing_names(paths, ending)]
    for place in places:
        check_not_input(place, inputs)
    return list(places)


def one_by_one(
    paths: Sequence[Path],
    places: Sequence[Path | None],
    steps: tuple[Step[Answer], Failed[Answer]],
    progress: Progress | None = None,
) -> tuple[Answer, ...]:
    """What does each picture give, where whatever is wrong with one stays with it?

    Parameters
    ----------
    paths, places : sequences
        The pictures, and where the drawing of each goes.
    steps : (callable, callable)
        The work on one picture, and the answer for one that failed for a reason.
    progress : callable, optional
        Told before each picture: how many are done, how many there are, the name of the next; and
        once at the end.

    Raises
    ------
    OutputFailed
        An answer cannot be written: the pictures after it would fail as well.

    Examples
    --------
    >>> one_by_one([Path("a.jpg")], [None], (lambda p, d: p.name, lambda p, r: r.code))
    ('a.jpg',)
    """
    done: list[Answer] = []
    for path, place in zip(paths, places, strict=True):
        if progress is not None:
            progress(len(done), len(paths), path.name)
        done.append(_answer(path, place, steps))
    if progress is not None:
        progress(len(done), len(paths), "")
    return tuple(done)


def _answer(path: Path, place: Path | None, steps: tuple[Step[Answer], Failed[Answer]]) -> Answer:
    work, failed = steps
    try:
        return work(path, place)
    except OutputFailed:
        raise
    except RimwiseError as error:
        return failed(path, Reason(WRONG_INPUT, error.sentence))
    except Exception as error:
        # A fault of ours in one picture must not lose the answers for the others.
        if os.environ.get("RIMWISE_DEBUG"):
            raise
        return failed(path, Reason(UNEXPECTED, fault_sentence(path.name, error)))
