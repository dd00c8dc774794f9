"""Shares, means, medians and scatters of eyes, two of which may belong to one person."""

import math

import numpy as np

from rimwise.records.series import Figure
from rimwise.stats.clustered import clustered_fit, count_persons, effective_eyes, gapless
from rimwise.stats.intervals import wilson
from rimwise.stats.order_statistics import quantile_interval
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

FEWEST = 5  # fewer eyes, or persons, and no interval is told


def pair_correlation(values: FloatArray, person: IntArray) -> float:
    """How alike are the two eyes of a person, from 0 (not) to 1 (the same)?

    Parameters
    ----------
    values : array, shape (n,)
    person : array of int, shape (n,)

    Notes
    -----
    One-way analysis of variance (Fisher's intraclass correlation); below 0 is told as 0, since
    treating eyes as separate is then the careful choice.

    Examples
    --------
    >>> pair_correlation(np.array([1.0, 1.0, 3.0, 3.0]), np.array([0, 0, 1, 1]))
    1.0
    """
    person = gapless(person)
    persons, n = int(person.max()) + 1, len(values)
    if persons < 2 or n == persons:
        return 0.0
    counts = np.bincount(person, minlength=persons)
    means = np.bincount(person, values, persons) / counts
    within = float(((values - means[person]) ** 2).sum()) / (n - persons)
    between = float((counts * (means - values.mean()) ** 2).sum()) / (persons - 1)
    size = (n - float((counts**2).sum()) / n) / (persons - 1)
    total = between + (size - 1.0) * within
    return 0.0 if total <= 0.0 else float(np.clip((between - within) / total, 0.0, 1.0))


def worth(values: FloatArray, person: IntArray) -> float:
    """How many separate eyes are these worth?

    Examples
    --------
    >>> worth(np.array([1.0, 1.0, 3.0, 3.0]), np.array([0, 0, 1, 1]))
    2.0
    """
    persons = count_persons(person)
    return effective_eyes(len(values), persons, pair_correlation(values, person))


def share(name: str, hit: BoolArray, person: IntArray, note: str = "") -> Figure:
    """Which share of the eyes is so, and between which shares does the true one lie?

    Wilson's interval on the number of separate eyes that the eyes are worth.

    Examples
    --------
    >>> told = share("covered", np.array([True] * 8 + [False] * 2), np.arange(10))
    >>> told.count, told.n, round(told.low, 4), round(told.high, 4)
    (8, 10, 0.4902, 0.9433)
    """
    n = len(hit)
    if n == 0:
        return Figure(name, None, None, None, "1", 0, 0, note=note or "no eye tells it")
    count, persons = int(hit.sum()), count_persons(person)
    # All alike says nothing about pairs: then a person counts once, which is the careful choice.
    separate = float(persons) if count in {0, n} else worth(hit.astype(np.float64), person)
    low, high = _wilson(count / n, separate)
    way = "Wilson" if separate >= n - 1e-9 else f"Wilson, {n} eyes worth {separate:.0f}"
    return Figure(name, count / n, low, high, "1", n, persons, way, count, note)


def _wilson(value: float, separate: float) -> tuple[float, float]:
    whole = round(separate)
    if abs(separate - whole) < 1e-9 and abs(value * whole - round(value * whole)) < 1e-9:
        told = wilson(round(value * whole), whole)
        return told.low, told.high
    z2 = 1.959963984540054**2
    middle = (value + z2 / (2.0 * separate)) / (1.0 + z2 / separate)
    root = math.sqrt(z2 * (value * (1.0 - value) / separate + z2 / (4.0 * separate**2)))
    half = root / (1.0 + z2 / separate)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def mean(name: str, values: FloatArray, person: IntArray, unit: str, note: str = "") -> Figure:
    """What is the mean, with an interval that allows for persons?

    Examples
    --------
    >>> mean("size", np.array([5.0, 5.2, 5.1, 4.9, 5.3, 5.1]), np.arange(6), "mm").n
    6
    """
    n, persons = len(values), count_persons(person)
    if n == 0:
        return Figure(name, None, None, None, unit, 0, 0, note=note or "no eye tells it")
    if persons < FEWEST:
        return Figure(
            name, float(values.mean()), None, None, unit, n, persons, note=_too_few(persons, note)
        )
    fit = clustered_fit(values, np.ones((n, 1)), gapless(person))
    low, high = fit.interval()
    way = "Student's t" if n == persons else f"estimating equations by person, {fit.way}"
    value = float(fit.coefficients[0])
    return Figure(name, value, low, high, unit, n, persons, way, note=note or fit.note)


def _too_few(persons: int, note: str) -> str:
    few = f"{persons} person{'s' if persons != 1 else ''}: too few for an interval"
    return f"{note}; {few}" if note else few


def median(name: str, values: FloatArray, person: IntArray, unit: str, note: str = "") -> Figure:
    """What is the median, with an interval by order statistics?

    Examples
    --------
    >>> told = median("size", np.arange(1.0, 10.0), np.arange(9), "mm")
    >>> told.value, told.low, told.high
    (5.0, 2.0, 8.0)
    """
    n, persons = len(values), count_persons(person)
    if n == 0:
        return Figure(name, None, None, None, unit, 0, 0, note=note or "no eye tells it")
    separate = None if n == persons else worth(values, person)
    told = quantile_interval(values, 0.5, effective=separate)
    few = persons < FEWEST
    return Figure(
        name,
        told.value,
        None if few else told.low,
        None if few else told.high,
        unit,
        n,
        persons,
        "order statistics" if separate is None else "order statistics, widened for persons",
        note=_too_few(persons, note) if few else note,
    )


def scatter(name: str, values: FloatArray, person: IntArray, unit: str, note: str = "") -> Figure:
    """What is the standard deviation, with an interval that needs no normal law?

    Notes
    -----
    Interval of the mean squared deviation by person, on the log scale (delta method, own
    derivation), with Bonett's correction n / (n - z) for short series (Computational Statistics
    and Data Analysis 2006, from memory); its coverage is simulated in the tests.

    Examples
    --------
    >>> told = scatter("size", np.array([5.0, 5.2, 5.1, 4.9, 5.3, 5.1]), np.arange(6), "mm")
    >>> told.low < told.value < told.high
    True
    """
    n, persons = len(values), count_persons(person)
    if persons < FEWEST:
        return Figure(name, None, None, None, unit, n, persons, note=_too_few(persons, note))
    squares = (values - values.mean()) ** 2 * n / (n - 1)
    value = math.sqrt(float(squares.mean()))
    if value == 0.0:
        return Figure(name, 0.0, None, None, unit, n, persons, note="all values are the same")
    fit = clustered_fit(squares, np.ones((n, 1)), gapless(person))
    low, high = fit.interval()
    half = 0.5 * (high - low) / (2.0 * float(squares.mean()))
    # A small series is likelier too narrow than too wide.
    short = persons / (persons - 1.959963984540054)
    middle = value * math.sqrt(short)
    low, high = middle * math.exp(-short * half), middle * math.exp(short * half)
    way = "delta method on the log scale, by person"
    return Figure(name, value, low, high, unit, n, persons, way, note=note)


def root_mean_square(
    name: str, values: FloatArray, person: IntArray, unit: str, note: str = ""
) -> Figure:
    """What is the root mean square, with its interval?

    Examples
    --------
    >>> told = root_mean_square("error", np.array([0.3, -0.4, 0.3, -0.4, 0.1, 0.2]),
    ...     np.arange(6), "dpt")
    >>> round(told.value, 4)
    0.3028
    """
    n, persons = len(values), count_persons(person)
    if persons < FEWEST:
        return Figure(name, None, None, None, unit, n, persons, note=_too_few(persons, note))
    squares = values**2
    value = math.sqrt(float(squares.mean()))
    if value == 0.0:
        return Figure(name, 0.0, None, None, unit, n, persons, note="all values are 0")
    low, high = clustered_fit(squares, np.ones((n, 1)), gapless(person)).interval()
    half = 0.5 * (high - low) / (2.0 * float(squares.mean()))
    low, high = value * math.exp(-half), value * math.exp(half)
    way = "delta method on the log scale, by person"
    return Figure(name, value, low, high, unit, n, persons, way, note=note)
