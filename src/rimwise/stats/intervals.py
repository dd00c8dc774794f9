"""Intervals for proportions, means and standard deviations."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with the ends of its interval."""

    value: float
    low: float
    high: float


def _checked(successes: int, trials: int, confidence: float) -> None:
    if not (trials > 0 and 0 <= successes <= trials):
        raise WrongInput(f"a share needs 0 <= k <= n with n > 0, got {successes} of {trials}")
    _checked_confidence(confidence)


def _checked_confidence(confidence: float) -> None:
    if not 0.0 < confidence < 1.0:
        raise WrongInput(f"a confidence lies between 0 and 1, got {confidence}")


def wilson(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Between which shares does the true one lie, by Wilson's score interval?

    Notes
    -----
    Wilson 1927, without continuity correction.

    Examples
    --------
    >>> share = wilson(8, 10)
    >>> round(share.low, 4), round(share.high, 4)
    (0.4902, 0.9433)
    """
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded late

    _checked(successes, trials, confidence)
    z2 = float(ndtri(0.5 + 0.5 * confidence)) ** 2
    share = successes / trials
    middle = (share + z2 / (2.0 * trials)) / (1.0 + z2 / trials)
    root = math.sqrt(z2 * (share * (1.0 - share) / trials + z2 / (4.0 * trials**2)))
    half = root / (1.0 + z2 / trials)
    # At the ends the exact limit is 0 or 1; rounding must not step over it.
    low = 0.0 if successes == 0 else middle - half
    high = 1.0 if successes == trials else middle + half
    return Interval(share, low, high)


def clopper_pearson(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Between which shares does the true one lie, with never less than the stated confidence?

    Notes
    -----
    Clopper & Pearson 1934, ends by the beta quantiles.

    Examples
    --------
    >>> share = clopper_pearson(0, 30)
    >>> share.low, round(share.high, 4)
    (0.0, 0.1157)
    """
    from scipy.special import betaincinv  # noqa: PLC0415  scipy is loaded late

    _checked(successes, trials, confidence)
    tail, missed = 0.5 * (1.0 - confidence), trials - successes
    low = 0.0 if successes == 0 else float(betaincinv(successes, missed + 1, tail))
    high = 1.0 if missed == 0 else float(betaincinv(successes + 1, missed, 1.0 - tail))
    return Interval(successes / trials, low, high)


def _sample(values: Sequence[float] | FloatArray) -> FloatArray:
    row = np.asarray(values, dtype=np.float64)
    if row.ndim != 1 or len(row) < 2 or not np.isfinite(row).all():
        raise WrongInput(f"an interval needs at least two finite numbers, got shape {row.shape}")
    return row


def mean_interval(
    values: Sequence[float] | FloatArray, confidence: float = 0.95, sd: float | None = None
) -> Interval:
    """Between which values does the true mean lie?

    Student's t with the sample's own sd, or the normal law where the true sd is given.

    Examples
    --------
    >>> mean = mean_interval([1.0, 2.0, 3.0])
    >>> mean.value, round(mean.high, 4)
    (2.0, 4.4841)
    """
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415  scipy is loaded late

    row = _sample(values)
    _checked_confidence(confidence)
    quantile = 0.5 + 0.5 * confidence
    if sd is None:
        half = float(stdtrit(len(row) - 1, quantile)) * float(np.std(row, ddof=1))
    elif sd >= 0.0:
        half = float(ndtri(quantile)) * sd
    else:
        raise WrongInput(f"a standard deviation must be 0 or more, got {sd}")
    mean, half = float(np.mean(row)), half / math.sqrt(len(row))
    return Interval(mean, mean - half, mean + half)


def sd_interval(values: Sequence[float] | FloatArray, confidence: float = 0.95) -> Interval:
    """Between which values does the true standard deviation of a normal law lie?

    By the chi-square law of (n - 1) s² / σ².

    Examples
    --------
    >>> spread = sd_interval([1.0, 2.0, 3.0])
    >>> spread.value, round(spread.low, 4), round(spread.high, 4)
    (1.0, 0.5207, 6.2847)
    """
    from scipy.special import chdtri  # noqa: PLC0415  scipy is loaded late

    row = _sample(values)
    _checked_confidence(confidence)
    free, tail = len(row) - 1, 0.5 * (1.0 - confidence)
    sd = float(np.std(row, ddof=1))
    # chdtri takes the upper tail.
    low, high = (sd * math.sqrt(free / float(chdtri(free, p))) for p in (tail, 1.0 - tail))
    return Interval(sd, low, high)


def correlation_length(residuals: FloatArray) -> float:
    """Over how many neighbours, in the order given, do errors go together?

    1 for independent errors; the variance of a mean of n of them is larger by this factor.

    Parameters
    ----------
    residuals : array, shape (n,), n >= 8
        Round a closed curve, in order.

    Notes
    -----
    1 + 2 Σ ρ_k up to the first lag at which the correlation falls below 2/√n (two sd of the
    correlation of independent errors; common practice, no source).

    Examples
    --------
    >>> correlation_length(np.array([1.0, -1.0] * 20))
    1.0
    """
    row = _sample(residuals)
    if len(row) < 8:
        raise WrongInput(f"a correlation length needs at least 8 residuals, got {len(row)}")
    row = row - row.mean()
    power = np.abs(np.fft.rfft(row)) ** 2
    correlation = np.fft.irfft(power, len(row))
    if not correlation[0] > 0.0:
        return 1.0
    half = correlation[1 : len(row) // 2] / correlation[0]
    below = np.flatnonzero(half < 2.0 / math.sqrt(len(row)))
    end = int(below[0]) if len(below) else len(half)
    return float(1.0 + 2.0 * half[:end].sum())
