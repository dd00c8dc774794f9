"""Which share of the scatter is between subjects? The six intraclass correlations.

Shrout and Fleiss, Psychological Bulletin 86, 1979, 420-428: one-way, two-way random and two-way
fixed, each for a single rating and for the mean of k.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.stats.intervals import Interval
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class IntraclassCorrelations:
    """The six forms: by model (1 one-way, 2 raters drawn, 3 these raters), single and mean of k.

    ``one``, ``two`` and ``three`` are of single ratings, with their 95 % interval; those of the
    mean of all k raters are ``one_mean``, ``two_mean`` and ``three_mean``.
    """

    subjects: int
    raters: int
    one: Interval
    two: Interval
    three: Interval
    one_mean: float
    two_mean: float
    three_mean: float


@dataclass(frozen=True, slots=True)
class _Squares:
    """Mean squares of a two-way table without repeats: subjects, raters, rest, within subjects."""

    n: int
    k: int
    between: float
    raters: float
    rest: float
    within: float


def intraclass_correlations(
    ratings: FloatArray, confidence: float = 0.95
) -> IntraclassCorrelations:
    """How reliable are these ratings, by each of the six definitions?

    Parameters
    ----------
    ratings : array, shape (subjects, raters)
        At least two of each, all finite.

    Raises
    ------
    WrongInput
        Too few subjects or raters, a missing rating, or all the same.

    Notes
    -----
    Intervals: F laws for the one-way and fixed models; for drawn raters Satterthwaite's degrees
    of freedom (McGraw and Wong, Psychological Methods 1, 1996, 30-46).

    Examples
    --------
    >>> found = intraclass_correlations(np.array([[9.0, 8.0], [6.0, 5.5], [8.0, 8.0], [7.0, 6.0]]))
    >>> [round(one.value, 2) for one in (found.one, found.two, found.three)]
    [0.84, 0.85, 0.93]
    """
    squares = _squares(np.asarray(ratings, dtype=np.float64))
    n, k = squares.n, squares.k
    between, raters, rest, within = squares.between, squares.raters, squares.rest, squares.within
    tail = 0.5 * (1.0 - confidence)
    one = (between - within) / (between + (k - 1) * within)
    two = (between - rest) / (between + (k - 1) * rest + k * (raters - rest) / n)
    three = (between - rest) / (between + (k - 1) * rest)
    return IntraclassCorrelations(
        subjects=n,
        raters=k,
        one=_by_f(one, _ratio(between, within), (n - 1, n * (k - 1)), k, tail),
        two=_by_satterthwaite(two, squares, tail),
        three=_by_f(three, _ratio(between, rest), (n - 1, (n - 1) * (k - 1)), k, tail),
        one_mean=(between - within) / between,
        two_mean=(between - rest) / (between + (raters - rest) / n),
        three_mean=(between - rest) / between,
    )


def _squares(table: FloatArray) -> _Squares:
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise WrongInput(
            f"reliability needs a full table of at least 2 subjects by 2 raters, got shape "
            f"{table.shape}; leave out subjects that a rater did not measure"
        )
    n, k = table.shape
    grand = table.mean()
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    between = k * float(((rows - grand) ** 2).sum()) / (n - 1)
    raters = n * float(((columns - grand) ** 2).sum()) / (k - 1)
    left = table - rows[:, None] - columns + grand
    rest = float((left**2).sum()) / ((n - 1) * (k - 1))
    within = float(((table - rows[:, None]) ** 2).sum()) / (n * (k - 1))
    if between == 0.0:
        raise WrongInput("all subjects have the same mean, so no share of scatter is between them")
    return _Squares(n, k, between, raters, rest, within)


def _ratio(between: float, error: float) -> float:
    return between / error if error > 0.0 else np.inf


def _by_f(value: float, ratio: float, freedom: tuple[int, int], k: int, tail: float) -> Interval:
    from scipy.special import fdtri  # noqa: PLC0415  scipy is loaded late

    if not np.isfinite(ratio):
        return Interval(value, value, value)
    low = ratio / float(fdtri(*freedom, 1.0 - tail))
    high = ratio * float(fdtri(*freedom[::-1], 1.0 - tail))
    return Interval(value, (low - 1.0) / (low + k - 1.0), (high - 1.0) / (high + k - 1.0))


def _by_satterthwaite(value: float, squares: _Squares, tail: float) -> Interval:
    from scipy.special import fdtri  # noqa: PLC0415  scipy is loaded late

    n, k = squares.n, squares.k
    if squares.rest == 0.0 or value >= 1.0:
        return Interval(value, value, value)
    a = k * value / (n * (1.0 - value))
    b = 1.0 + k * value * (n - 1.0) / (n * (1.0 - value))
    top = (a * squares.raters + b * squares.rest) ** 2
    bottom = (a * squares.raters) ** 2 / (k - 1.0)
    bottom += (b * squares.rest) ** 2 / ((n - 1.0) * (k - 1.0))
    freedom = top / bottom
    above = float(fdtri(n - 1, freedom, 1.0 - tail))
    below = float(fdtri(freedom, n - 1, 1.0 - tail))
    whole = k * squares.raters + (k * n - k - n) * squares.rest
    low = n * (squares.between - above * squares.rest)
    low /= above * whole + n * squares.between
    high = n * (below * squares.between - squares.rest)
    high /= whole + n * below * squares.between
    return Interval(value, low, high)
