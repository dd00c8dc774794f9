"""Two ways of working in the two eyes of the same persons: paired differences."""

from collections.abc import Mapping

import numpy as np

from rimwise.audit.chapters import known
from rimwise.audit.compare import (
    Difference,
    corrected,
    outcomes_of,
    paired_spread,
    paired_within,
)
from rimwise.records.series import Figure, Series
from rimwise.stats.trimmed import MeanDifference, yuen_paired
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import WrongInput

_FEWEST = 10  # pairs: below, a test of paired spreads says nothing (common practice, no source)


def pairs_of(series: Series, second: BoolArray) -> tuple[IntArray, IntArray]:
    """Which rows are pairs: persons with exactly one eye in each group?

    Parameters
    ----------
    series : Series
    second : array of bool
        Which eyes are the second group.

    Returns
    -------
    (first, second) : arrays of row numbers, one entry a person

    Examples
    --------
    >>> series = Series({}, {}, np.array([0, 0, 1, 2, 2]))
    >>> [rows.tolist() for rows in pairs_of(series, np.array([False, True, True, False, False]))]
    [[0], [1]]
    """
    persons = int(series.person.max(initial=-1)) + 1
    counts = [np.bincount(series.person[rows], minlength=persons) for rows in (~second, second)]
    paired = (counts[0] == 1) & (counts[1] == 1)
    rows = np.flatnonzero(paired[series.person])
    rows = rows[np.argsort(series.person[rows], kind="stable")]
    return rows[~second[rows]], rows[second[rows]]


def compare_pairs(
    series: Series, second: BoolArray, margins: Mapping[str, float] | None = None
) -> list[Difference]:
    """In which outcomes do two ways differ, each tried in one eye of the same persons?

    Means by Student's t of the differences within a person, and 20 % trimmed ones (Yuen); scatters
    by the heteroscedastic test of paired spreads; shares by McNemar; p corrected for all (Holm).

    Parameters
    ----------
    series : Series
    second : array of bool
    margins : mapping of outcome to margin, optional
        For equivalence: whether the 90 % interval lies within it.

    Raises
    ------
    WrongInput
        Fewer than ten persons have one eye in each group.

    Examples
    --------
    >>> rng = np.random.default_rng(8)
    >>> person, second = np.arange(80) // 2, np.arange(80) % 2 == 1
    >>> cover = rng.normal(0.3, 0.2, 40)[person] + rng.normal(0.0, 0.05, 80) + 0.1 * second
    >>> told = compare_pairs(Series({"least_cover_mm": cover}, {}, person), second)
    >>> [one.outcome for one in told], told[0].p_holm < 1e-4
    (['least cover', 'least cover, trimmed', 'least cover, scatter'], True)
    """
    first_rows, second_rows = pairs_of(series, second)
    if len(first_rows) < _FEWEST:
        raise WrongInput(
            f"{len(first_rows)} persons have one eye in each group, and paired comparisons need at "
            f"least {_FEWEST}; leave --paired out"
        )
    told: list[Difference] = []
    for key, words, unit, values in outcomes_of(series):
        first, other = values[first_rows], values[second_rows]
        both = known(first, other)
        if int(both.sum()) < _FEWEST:
            continue
        if key == "complete":
            told.append(paired_within(words, first[both] > 0.5, other[both] > 0.5))
            continue
        if np.ptp(other[both] - first[both]) > 0.0:
            told += _numbers((words, unit), first[both], other[both], (margins or {}).get(key))
    if not told:
        raise WrongInput(f"no outcome is known in both eyes of at least {_FEWEST} persons")
    return corrected(told)


def _numbers(
    name: tuple[str, str], first: FloatArray, second: FloatArray, margin: float | None
) -> list[Difference]:
    from scipy.special import stdtr, stdtrit  # noqa: PLC0415  scipy is loaded late

    words, unit = name
    apart, n = second - first, len(first)
    mean, error = float(apart.mean()), float(apart.std(ddof=1) / np.sqrt(n))
    half, narrow = (float(stdtrit(n - 1, end)) * error for end in (0.975, 0.95))
    p = 2.0 * float(stdtr(n - 1, -abs(mean / error)))
    test = MeanDifference(mean, mean / error, n - 1, p, mean - half, mean + half)
    equal = None if margin is None else abs(mean) + narrow < margin
    means = float(first.mean()), float(second.mean())
    told = [_mean(words, unit, means, (test, "Student's t of pairs"), (n, equal))]
    robust = yuen_paired(second, first)
    middles = float(np.median(first)), float(np.median(second))
    told.append(
        _mean(f"{words}, trimmed", unit, middles, (robust, "Yuen, 20 % trimmed, paired"), (n, None))
    )
    if not words.startswith(("absolute", "distance")):
        told.append(paired_spread(words, first, second, unit))
    return told


def _mean(
    words: str,
    unit: str,
    groups: tuple[float, float],
    test: tuple[MeanDifference, str],
    about: tuple[int, bool | None],
) -> Difference:
    told, way = test
    pairs, equal = about
    figure = Figure(
        f"{words}: second less first", told.difference, told.low, told.high, unit, 2 * pairs, pairs,
        way,
    )  # fmt: skip
    return Difference(words, unit, *groups, figure, told.p, equivalent=equal)
