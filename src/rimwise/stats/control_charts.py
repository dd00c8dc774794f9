"""Charts that show early when a way of working drifts, and how seldom they cry wolf."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_EWMA_WIDTH = 2.962


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """A running sum against a target.

    Parameters
    ----------
    upper, lower : array, shape (n,)
        Sums of what lies above and below the target by more than the slack; both 0 or more.
    limit : float
    first_signal : int or None
        Index (from 0) of the first value at which a sum passes the limit.
    """

    upper: FloatArray
    lower: FloatArray
    limit: float
    first_signal: int | None


def cusum(values: Sequence[float] | FloatArray, target: float, slack: float, limit: float) -> Cusum:
    """Since when, if at all, have values drifted from the target?

    Parameters
    ----------
    values : sequence of float
        In order of time.
    target, slack, limit : float
        In the values' unit; slack is half the drift to be found, limit the decision level.

    Notes
    -----
    Page 1954; tabular form as in Montgomery, Introduction to statistical quality control.

    Examples
    --------
    >>> cusum([0.0, 1.0, 2.0, 2.0], 0.0, 0.5, 3.0).first_signal
    3
    """
    row = np.asarray(values, dtype=np.float64)
    if row.ndim != 1 or not np.isfinite(row).all():
        raise WrongInput(f"a chart needs a row of finite numbers, got shape {row.shape}")
    upper, lower = _held(row - target - slack), _held(target - slack - row)
    over = np.flatnonzero((upper > limit) | (lower > limit))
    return Cusum(upper, lower, limit, int(over[0]) if len(over) else None)


def _held(steps: FloatArray) -> FloatArray:
    """Sum that never falls below zero: the plain sum less its lowest point so far."""
    total = np.cumsum(steps)
    return np.asarray(total - np.minimum(np.minimum.accumulate(total), 0.0))


def self_starting(values: Sequence[float] | FloatArray, target: float | None = None) -> FloatArray:
    """How many standard deviations is each value off what came before it?

    Independent standard normal scores where the values are normal and in control, from the third
    value on (the second with a target), so that a chart needs no eyes set aside to learn from.

    Parameters
    ----------
    values : sequence of float
        In order of time.
    target : float, optional
        The mean in control; without one each value is compared with the mean of those before.

    Returns
    -------
    array, shape (n,)
        0 for the first values, of which nothing can be said.

    Notes
    -----
    Hawkins 1987, The Statistician 36:299: Student's t of each value against those before it,
    turned into a normal score.

    Examples
    --------
    >>> self_starting([1.0, 2.0, 3.0]).round(3).tolist()
    [0.0, 0.0, 0.967]
    """
    from scipy.special import ndtri, stdtr  # noqa: PLC0415  scipy is loaded late

    row = np.asarray(values, dtype=np.float64)
    before = np.arange(len(row), dtype=np.float64)
    shifted = row - (row[0] if len(row) else 0.0) if target is None else row - target
    sums = np.concatenate([[0.0], np.cumsum(shifted)[:-1]]) if len(row) else shifted
    squares = np.concatenate([[0.0], np.cumsum(shifted**2)[:-1]]) if len(row) else shifted
    free = before - 1.0 if target is None else before
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = sums / before if target is None else np.zeros_like(sums)
        variance = (squares - before * mean**2) / free
        wide = 1.0 + 1.0 / before if target is None else np.ones_like(before)
        t = (shifted - mean) / np.sqrt(variance * wide)
    told = (free >= 1.0) & (variance > 0.0)
    scores = np.zeros(len(row))
    scores[told] = -np.sign(t[told]) * ndtri(stdtr(free[told], -np.abs(t[told])))
    return scores


def run_length(slack_sd: float, limit_sd: float, shift_sd: float = 0.0) -> float:
    """After how many eyes, on average, does a one-sided chart of normal values signal?

    Parameters
    ----------
    slack_sd, limit_sd, shift_sd : float
        Slack, limit and true drift of the mean, in standard deviations.

    Notes
    -----
    Page's integral equation solved by Gauss-Legendre nodes (own derivation of the discretization;
    checked against computed run lengths in the tests).

    Examples
    --------
    >>> round(run_length(0.5, 4.0), 2), round(run_length(0.5, 5.0), 2)
    (335.37, 930.89)
    """
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded late

    nodes, weights = np.polynomial.legendre.leggauss(80)
    places = 0.5 * limit_sd * (nodes + 1.0)
    weights = 0.5 * limit_sd * weights

    def density(from_sd: FloatArray) -> FloatArray:
        step = places[None, :] - from_sd[:, None] + slack_sd - shift_sd
        return np.asarray(np.exp(-0.5 * step**2) / math.sqrt(2.0 * math.pi) * weights)

    def to_zero(from_sd: FloatArray) -> FloatArray:
        return np.asarray(ndtr(slack_sd - from_sd - shift_sd))

    # Unknowns: the run length from zero, and from every node.
    starts = np.concatenate([[0.0], places])
    move = np.column_stack([to_zero(starts), density(starts)])
    lengths = np.linalg.solve(np.eye(len(starts)) - move, np.ones(len(starts)))
    return float(lengths[0])


def two_sided_run_length(slack_sd: float, limit_sd: float) -> float:
    """After how many eyes in control does either side of the chart signal?

    Notes
    -----
    Kemp 1961: rates of the two sides add where both cannot be up at once (slack of half a
    standard deviation or less keeps this true).

    Examples
    --------
    >>> round(two_sided_run_length(0.5, 5.0), 1)
    465.4
    """
    return 0.5 * run_length(slack_sd, limit_sd)


def limit_for_run_length(slack_sd: float, length: float) -> float:
    """Which decision limit gives this mean run length in control, both sides together?

    Examples
    --------
    >>> round(limit_for_run_length(0.5, 465.44), 2)
    5.0
    """
    from scipy.optimize import brentq  # noqa: PLC0415  scipy is loaded late

    if not 4.0 <= length <= 1e7:
        raise WrongInput(f"a run length in control lies between 4 and 10 million, got {length}")
    return float(brentq(lambda h: two_sided_run_length(slack_sd, h) - length, 0.05, 18.0))


def risk_adjusted_weights(
    chance: Sequence[float] | FloatArray, failed: Sequence[bool], odds_ratio: float
) -> FloatArray:
    """What does each eye add to a chart that allows for how difficult it was?

    Parameters
    ----------
    chance : sequence of float
        Expected chance of failure of each eye.
    failed : sequence of bool
    odds_ratio : float
        The change of odds to be found: 2 doubled, 0.5 halved.

    Notes
    -----
    Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441, log-likelihood ratio weights.

    Examples
    --------
    >>> risk_adjusted_weights([0.0246], [True], 2.0).round(2).tolist()
    [0.67]
    """
    p = np.asarray(chance, dtype=np.float64)
    if not ((p >= 0.0) & (p <= 1.0)).all() or not odds_ratio > 0.0:
        raise WrongInput("chances lie between 0 and 1 and an odds ratio is above 0")
    base = -np.log1p(p * (odds_ratio - 1.0))
    return np.asarray(base + np.where(np.asarray(failed, dtype=bool), math.log(odds_ratio), 0.0))


def risk_adjusted_cusum(weights: FloatArray, limit: float) -> Cusum:
    """Since when, if at all, do risk-adjusted failures run above expectation?

    Examples
    --------
    >>> risk_adjusted_cusum(np.array([0.7, -0.1, 0.7]), 1.0).first_signal
    2
    """
    upper = _held(np.asarray(weights, dtype=np.float64))
    over = np.flatnonzero(upper > limit)
    return Cusum(upper, np.zeros_like(upper), limit, int(over[0]) if len(over) else None)


@dataclass(frozen=True, slots=True, eq=False)
class Ewma:
    """A moving mean that forgets, with its limits at each value."""

    mean: FloatArray
    low: FloatArray
    high: FloatArray
    first_signal: int | None


def ewma(
    values: Sequence[float] | FloatArray, target: float, sd: float, weight: float = 0.2
) -> Ewma:
    """Does a weighted running mean leave its limits about the target?

    Parameters
    ----------
    weight : float
        Of the newest value, above 0 and at most 1.

    Notes
    -----
    Roberts 1959, limits at ±2.962 sd of the running mean: with weight 0.2 about 500 values in
    control on average (Lucas and Saccucci 1990, from memory; checked by simulation in the tests).

    Examples
    --------
    >>> ewma([0.0, 0.0, 3.0, 3.0, 3.0], 0.0, 1.0).first_signal
    3
    """
    from scipy.signal import lfilter  # noqa: PLC0415  scipy is loaded late

    row = np.asarray(values, dtype=np.float64) - target
    mean = np.asarray(lfilter([weight], [1.0, weight - 1.0], row)) + target
    counts = np.arange(1, len(row) + 1)
    share = weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * counts))
    half = _EWMA_WIDTH * sd * np.sqrt(share)
    over = np.flatnonzero(np.abs(mean - target) > half)
    return Ewma(mean, target - half, target + half, int(over[0]) if len(over) else None)
