"""Who is in a series and who is out, and what to do about two eyes of one person."""

from typing import Literal

import numpy as np

from rimwise.records.series import FlowStep, Series
from rimwise.terms.arrays import BoolArray, IntArray
from rimwise.terms.errors import WrongInput

EyesChoice = Literal["both", "first", "random"]

CHOICE_WORDS: dict[EyesChoice, str] = {
    "both": "both eyes of a person are used; every interval allows for their likeness",
    "first": "one eye a person: the one operated first, the first row where days do not tell",
    "random": "one eye a person, drawn at random with the seed that is printed",
}


def eyes_choice(told: str) -> EyesChoice:
    """Which choice is meant?

    Examples
    --------
    >>> eyes_choice("first")
    'first'
    """
    for choice in CHOICE_WORDS:
        if told == choice:
            return choice
    raise WrongInput(f"eyes {told!r} is none of both, first and random")


def one_eye_each(
    series: Series, choice: EyesChoice, rng: np.random.Generator | None = None
) -> tuple[Series, FlowStep | None]:
    """Which eyes remain under this choice, and how many were left out?

    Raises
    ------
    WrongInput
        "random" without a generator.

    Examples
    --------
    >>> series = Series({}, {}, np.array([0, 0, 1]))
    >>> kept, step = one_eye_each(series, "first")
    >>> len(kept), step.rows_out
    (2, 1)
    """
    if choice == "both" or len(series) == 0:
        return series, None
    if choice == "first":
        day = np.nan_to_num(series.number("operation_day"), nan=np.inf)
        order = np.lexsort((np.arange(len(series)), day, series.person))
    else:
        if rng is None:
            raise WrongInput("eyes drawn at random need a seed; give --seed NUMBER")
        order = np.lexsort((rng.random(len(series)), series.person))
    people = series.person[order]
    first = np.concatenate([[True], people[1:] != people[:-1]])
    keep = np.zeros(len(series), dtype=bool)
    keep[order[first]] = True
    return series.among(keep), FlowStep(
        "second eye of a person", int((~keep).sum()), int(keep.sum())
    )


def drop(series: Series, rows: BoolArray, reason: str) -> tuple[Series, FlowStep]:
    """Which series is left without these rows, and which step of the flow says so?

    Examples
    --------
    >>> kept, step = drop(Series({}, {}, np.arange(3)), np.array([True, False, False]), "twice")
    >>> step
    FlowStep(reason='twice', rows_out=1, rows_left=2)
    """
    kept = series.among(~rows)
    return kept, FlowStep(reason, int(rows.sum()), len(kept))


def repeated(series: Series) -> BoolArray:
    """Which rows repeat an eye that stood before: the same person and side, or the same code?

    Examples
    --------
    >>> from rimwise.records.series import Names
    >>> sides = Names.of(["right", "right", "left"])
    >>> repeated(Series({}, {"side": sides}, np.array([0, 0, 0]))).tolist()
    [False, True, False]
    """
    again = np.zeros(len(series), dtype=bool)
    side = series.names.get("side")
    if side is not None:
        again |= _again(series.person * 3 + side.codes + 1) & (side.codes >= 0)
    code = series.names.get("code")
    if code is not None:
        again |= _again(code.codes) & (code.codes >= 0)
    return again


def _again(keys: IntArray) -> BoolArray:
    _, first = np.unique(keys, return_index=True)
    again = np.ones(len(keys), dtype=bool)
    again[first] = False
    return again
