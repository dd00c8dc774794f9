"""How well do repeated measurements, readers and methods agree?

Differences and their limits after Bland and Altman (Statistical Methods in Medical Research 8,
1999, 135-160), intervals of the limits by the non-central t law (the interval of a normal
quantile, any textbook of tolerance limits).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.stats.intervals import Interval
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

FEWEST_DIFFERENCES = 3
Z95 = 1.96  # the trade's rounding of the 97.5 % quantile, so that published sums come out


@dataclass(frozen=True, slots=True)
class Limits:
    """Differences of n pairs: their mean, sd and 95 % limits of agreement, each with its interval.

    Parameters
    ----------
    n : int
        Number of independent differences.
    mean, lower, upper : Interval
        Mean difference and the limits.
    sd : float
        Standard deviation of the differences.
    """

    n: int
    mean: Interval
    sd: float
    lower: Interval
    upper: Interval


def limits_of_agreement(
    differences: Sequence[float] | FloatArray, confidence: float = 0.95
) -> Limits:
    """Between which values do 95 % of the differences of two methods lie?

    Parameters
    ----------
    differences : sequence of float
        One a subject, at least three.
    confidence : float
        Of the intervals of mean and limits; the limits themselves hold 95 % of the differences.

    Raises
    ------
    WrongInput
        Fewer than three differences, or one that is no number.

    Examples
    --------
    >>> found = limits_of_agreement([-0.02, 0.01, 0.03, 0.0, -0.01])
    >>> round(found.lower.value, 3), round(found.upper.value, 3)
    (-0.036, 0.04)
    """
    row = np.asarray(differences, dtype=np.float64)
    if row.ndim != 1 or len(row) < FEWEST_DIFFERENCES or not np.isfinite(row).all():
        raise WrongInput(
            f"limits of agreement need at least {FEWEST_DIFFERENCES} finite differences, got shape "
            f"{row.shape}; measure more eyes twice"
        )
    return limits_from_summary(len(row), float(row.mean()), float(row.std(ddof=1)), confidence)


def limits_from_summary(n: int, mean: float, sd: float, confidence: float = 0.95) -> Limits:
    """Which limits of agreement follow from number, mean and sd of the differences?

    Notes
    -----
    A limit is the normal quantile mean ± 1.96 sd. √n (mean + z sd - true) / sd follows a
    non-central t law, which gives the limit's interval without approximation.

    Examples
    --------
    >>> found = limits_from_summary(85, -16.29, 19.61)
    >>> round(found.lower.value, 1), round(found.upper.value, 1)
    (-54.7, 22.1)
    """
    from scipy.special import stdtrit  # noqa: PLC0415  scipy is loaded late
    from scipy.stats import nct  # noqa: PLC0415

    if n < FEWEST_DIFFERENCES or not sd >= 0.0 or not 0.0 < confidence < 1.0:
        raise WrongInput(
            f"limits need n of {FEWEST_DIFFERENCES} or more, an sd of 0 or more and a confidence "
            f"between 0 and 1, got {n}, {sd}, {confidence}"
        )
    tail = 0.5 * (1.0 - confidence)
    half = float(stdtrit(n - 1, 1.0 - tail)) * sd / math.sqrt(n)
    near, far = (
        float(nct.ppf(p, n - 1, Z95 * math.sqrt(n))) * sd / math.sqrt(n) for p in (tail, 1.0 - tail)
    )
    return Limits(
        n,
        Interval(mean, mean - half, mean + half),
        sd,
        Interval(mean - Z95 * sd, mean - far, mean - near),
        Interval(mean + Z95 * sd, mean + near, mean + far),
    )


@dataclass(frozen=True, slots=True)
class Repeatability:
    """How far do two measurements of the same thing lie apart?

    Parameters
    ----------
    subjects, repeats : int
        How many subjects were measured twice or more, and how many measurements there are in all.
    within_sd : Interval
        Within-subject standard deviation Sw.
    limit : Interval
        1.96 √2 Sw: two measurements of one subject differ by less in 95 % of the pairs.
    tau : float
        Correlation (Kendall's tau) of a subject's sd with its mean: far from 0, one Sw for all
        does not hold.
    """

    subjects: int
    repeats: int
    within_sd: Interval
    limit: Interval
    tau: float


def repeatability(subjects: Sequence[Sequence[float]], confidence: float = 0.95) -> Repeatability:
    """How well does a measurement repeat itself?

    Parameters
    ----------
    subjects : sequence of sequences
        The repeated measurements of each subject; a subject with fewer than two tells nothing.

    Raises
    ------
    WrongInput
        No subject was measured twice.

    Notes
    -----
    Sw² is the residual mean square of a one-way analysis of variance, its interval the chi-square
    law's with Σ(mᵢ - 1) degrees of freedom.

    Examples
    --------
    >>> found = repeatability([(5.00, 5.02), (5.30, 5.30), (5.11, 5.09)])
    >>> round(found.within_sd.value, 4), round(found.limit.value, 3)
    (0.0115, 0.032)
    """
    rows = [np.asarray(row, dtype=np.float64) for row in subjects if len(row) >= 2]
    if not rows or not all(np.isfinite(row).all() for row in rows):
        raise WrongInput(
            "repeatability needs at least one subject measured twice, with finite numbers; give "
            "repeated pictures of the same eyes"
        )
    freedom = sum(len(row) - 1 for row in rows)
    square = sum(float(((row - row.mean()) ** 2).sum()) for row in rows) / freedom
    within = within_sd_interval(math.sqrt(square), freedom, confidence)
    times = Z95 * math.sqrt(2.0)
    limit = Interval(times * within.value, times * within.low, times * within.high)
    return Repeatability(len(rows), sum(map(len, rows)), within, limit, _tau(rows))


def within_sd_interval(within_sd: float, freedom: int, confidence: float = 0.95) -> Interval:
    """Between which values does the true within-subject sd lie?

    Examples
    --------
    >>> found = within_sd_interval(1.0, 170)
    >>> round(found.low, 3), round(found.high, 3)
    (0.904, 1.119)
    """
    from scipy.special import chdtri  # noqa: PLC0415  scipy is loaded late

    tail = 0.5 * (1.0 - confidence)
    # chdtri takes the upper tail.
    low = within_sd * math.sqrt(freedom / float(chdtri(freedom, tail)))
    high = within_sd * math.sqrt(freedom / float(chdtri(freedom, 1.0 - tail)))
    return Interval(within_sd, low, high)


def _tau(rows: list[FloatArray]) -> float:
    """Rank correlation of a subject's scatter with its mean; 0 for fewer than three subjects."""
    from scipy.stats import kendalltau  # noqa: PLC0415  scipy is loaded late

    if len(rows) < 3:
        return 0.0
    means, spreads = [row.mean() for row in rows], [row.std(ddof=1) for row in rows]
    if len(set(means)) < 2 or len(set(spreads)) < 2:
        return 0.0
    return float(kendalltau(means, spreads).statistic)


def repeated_limits(
    first: Sequence[Sequence[float]], second: Sequence[Sequence[float]], confidence: float = 0.95
) -> Limits:
    """Between which values do single measurements by two methods differ, each done repeatedly?

    Means of repeats differ less than single measurements do; what was averaged away is put back
    (Bland and Altman 1999, section 5): var = var(d̄) + Σ (1 - mean of 1/m) Sw² over both methods.

    Parameters
    ----------
    first, second : sequence of sequences
        Repeats of the same subjects, in the same order, by each method; one repeat is allowed.

    Notes
    -----
    The intervals take the corrected sd as that of as many differences as there are subjects.

    Examples
    --------
    >>> found = repeated_limits([(5.0, 5.1), (5.3, 5.2), (5.1, 5.1)], [(5.0,), (5.4,), (5.1,)])
    >>> round(found.mean.value, 3), round(found.sd, 3)
    (-0.033, 0.112)
    """
    if len(first) != len(second) or not all(map(len, first)) or not all(map(len, second)):
        raise WrongInput(
            f"two methods are compared on the same subjects, got {len(first)} and {len(second)}; "
            "leave out what only one of them measured"
        )
    differences = np.array([np.mean(a) - np.mean(b) for a, b in zip(first, second, strict=True)])
    plain = limits_of_agreement(differences, confidence)
    averaged = sum(_averaged_away(rows) for rows in (first, second))
    return limits_from_summary(
        plain.n, plain.mean.value, math.sqrt(plain.sd**2 + averaged), confidence
    )


def _averaged_away(rows: Sequence[Sequence[float]]) -> float:
    """Return the part of a method's within-subject variance that its means do not show."""
    share = 1.0 - float(np.mean([1.0 / len(row) for row in rows]))
    return 0.0 if share == 0.0 else share * repeatability(rows).within_sd.value ** 2


def subjects_needed(repeats: int, precision: float = 0.20) -> int:
    """How many subjects fix the within-subject sd to this share of itself, with 95 % confidence?

    Notes
    -----
    The relative 95 % half-width of Sw is 1.96 / √(2 n (m - 1)) for n subjects measured m times.

    Examples
    --------
    >>> subjects_needed(3), subjects_needed(2)
    (25, 49)
    """
    if repeats < 2 or not 0.0 < precision < 1.0:
        raise WrongInput(
            f"a study repeats at least twice and asks for a precision between 0 and 1, got "
            f"{repeats} and {precision}"
        )
    return math.ceil((Z95 / precision) ** 2 / (2.0 * (repeats - 1)))
