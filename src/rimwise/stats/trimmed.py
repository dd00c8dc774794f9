"""Trimmed means and the tests on them: what most eyes do, whatever a few do."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """A difference of two means with its test and its 95 % interval."""

    difference: float
    t: float
    df: float
    p: float
    low: float
    high: float


def _sample(values: Sequence[float] | FloatArray) -> FloatArray:
    row = np.asarray(values, dtype=np.float64)
    if row.ndim != 1 or len(row) < 5 or not np.isfinite(row).all():
        raise WrongInput(f"a trimmed mean needs at least five finite numbers, got {row.shape}")
    return row


def trimmed_mean(values: Sequence[float] | FloatArray, trim: float = 0.2) -> float:
    """What is the mean without the lowest and highest share ``trim`` of the values?

    Examples
    --------
    >>> trimmed_mean([1.0, 2.0, 3.0, 4.0, 100.0])
    3.0
    """
    row = np.sort(_sample(values))
    cut = int(trim * len(row))
    return float(row[cut : len(row) - cut].mean())


def _winsorized(row: FloatArray, trim: float) -> tuple[FloatArray, int]:
    ordered = np.sort(row)
    cut = int(trim * len(row))
    return np.clip(row, ordered[cut], ordered[len(row) - cut - 1]), len(row) - 2 * cut


def yuen(
    first: Sequence[float] | FloatArray, second: Sequence[float] | FloatArray, trim: float = 0.2
) -> MeanDifference:
    """Do the trimmed means of two separate groups differ?

    Notes
    -----
    Yuen 1974, Biometrika 61:165: Welch's test on trimmed means with winsorized variances.

    Examples
    --------
    >>> apart = yuen([1.0, 2.0, 3.0, 4.0, 5.0], [2.0, 3.0, 4.0, 5.0, 60.0])
    >>> apart.difference
    -1.0
    """
    parts = []
    for row in (_sample(first), _sample(second)):
        held, kept = _winsorized(row, trim)
        parts.append((len(row) - 1) * float(held.var(ddof=1)) / (kept * (kept - 1)))
        parts.append(float(kept - 1))
    d1, f1, d2, f2 = parts
    difference = trimmed_mean(first, trim) - trimmed_mean(second, trim)
    if d1 + d2 <= 0.0:
        raise WrongInput("both groups are constant after trimming, so their means cannot be tested")
    return _tested(difference, math.sqrt(d1 + d2), (d1 + d2) ** 2 / (d1**2 / f1 + d2**2 / f2))


def yuen_paired(
    first: Sequence[float] | FloatArray, second: Sequence[float] | FloatArray, trim: float = 0.2
) -> MeanDifference:
    """Do the trimmed means of two paired rows differ?

    Notes
    -----
    Wilcox, Introduction to robust estimation and hypothesis testing: trimmed margins with the
    winsorized covariance of the pairs.

    Examples
    --------
    >>> before, after = [1.0, 2.0, 3.0, 4.0, 5.0, 7.0], [1.5, 2.2, 3.9, 4.1, 5.8, 7.2]
    >>> yuen_paired(before, after).df
    3
    """
    a, b = _sample(first), _sample(second)
    if len(a) != len(b):
        raise WrongInput(f"paired rows must be of one length, got {len(a)} and {len(b)}")
    (held_a, kept), (held_b, _) = _winsorized(a, trim), _winsorized(b, trim)
    spread = (len(a) - 1) * np.cov(held_a, held_b, ddof=1) / (kept * (kept - 1))
    variance = float(spread[0, 0] + spread[1, 1] - 2.0 * spread[0, 1])
    if not variance > 0.0:
        raise WrongInput("the pairs differ by one constant, so their means cannot be tested")
    return _tested(trimmed_mean(a, trim) - trimmed_mean(b, trim), math.sqrt(variance), kept - 1)


def _tested(difference: float, error: float, df: float) -> MeanDifference:
    from scipy.special import stdtr, stdtrit  # noqa: PLC0415  scipy is loaded late

    t = difference / error
    half = float(stdtrit(df, 0.975)) * error
    p = 2.0 * float(stdtr(df, -abs(t)))
    return MeanDifference(difference, t, df, p, difference - half, difference + half)
