"""Medians and other quantiles with intervals that need no law and no resampling."""

import math
from collections.abc import Sequence

import numpy as np

from rimwise.stats.intervals import Interval
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


def quantile_interval(
    values: Sequence[float] | FloatArray,
    quantile: float = 0.5,
    confidence: float = 0.95,
    effective: float | None = None,
) -> Interval:
    """Between which values does the true quantile lie?

    Parameters
    ----------
    values : sequence of float, at least one
    quantile : float
        0.5 is the median.
    effective : float, optional
        How many separate eyes the values are worth, where two eyes of a person are alike; the
        default is all of them.

    Notes
    -----
    Order statistics (David and Nagaraja, Order statistics, 2003): the ends are values whose ranks
    are binomial quantiles. Where the series is too short for the confidence the interval runs
    from the lowest to the highest value. With ``effective`` the ranks' binomial law is widened
    by √(n / effective) (own choice, checked by simulation in the tests).

    Examples
    --------
    >>> quantile_interval([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    Interval(value=5.0, low=2.0, high=8.0)
    """
    row = np.asarray(values, dtype=np.float64)
    if row.ndim != 1 or len(row) == 0 or not np.isfinite(row).all():
        raise WrongInput(f"a quantile needs a row of finite numbers, got shape {row.shape}")
    n = len(row)
    low, high = _ranks(n, quantile, confidence, effective)
    wanted = sorted({low, high, (n - 1) // 2, n // 2})
    parts = np.partition(row, wanted)
    value = (
        0.5 * float(parts[(n - 1) // 2] + parts[n // 2])
        if quantile == 0.5
        else float(np.quantile(row, quantile))
    )
    return Interval(value, float(parts[low]), float(parts[high]))


def _ranks(n: int, quantile: float, confidence: float, effective: float | None) -> tuple[int, int]:
    """Zero-based ranks whose values hold the quantile with at least the confidence."""
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded late
    from scipy.stats import binom  # noqa: PLC0415

    tail = 0.5 * (1.0 - confidence)
    if effective is None or effective >= n:
        low = int(binom.ppf(tail, n, quantile)) - 1
        high = int(binom.ppf(1.0 - tail, n, quantile))
    else:
        wide = math.sqrt(n / effective * n * quantile * (1.0 - quantile))
        half = float(ndtri(1.0 - tail)) * wide
        low, high = math.floor(n * quantile - half) - 1, math.ceil(n * quantile + half)
    return max(low, 0), min(high, n - 1)
