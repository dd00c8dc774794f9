"""What will the least cover be in some months: this eye's visits with what is usual behind them."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.healing import Foretold
from rimwise.stats.quadrature import panel_nodes
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

_YEAR_DAYS = 365.0
_LEVEL_SD_MM = 10.0  # of the first level: told by the eye alone


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual: change from first week to a year, days to settle, wander and late change.

    Parameters
    ----------
    change_mm, change_sd_mm : float
    settle_day, settle_sd_day : float
        Log-normal law by its mean and sd.
    wander_sd_mm : float
    late_sd_mm : float
        Of what a year adds that no visit before it foretold.
    """

    change_mm: float
    change_sd_mm: float
    settle_day: float
    settle_sd_day: float
    wander_sd_mm: float
    late_sd_mm: float = 0.0


def usual_healing() -> tuple[Usual, tuple[Assumption, ...]]:
    """What is usual, with its passports?

    Examples
    --------
    >>> usual_healing()[0].change_sd_mm
    0.15
    """
    change, settle, wander, late = (
        published_value("healing", key)
        for key in ("cover_change", "days_to_settle", "wander", "late_change")
    )
    usual = Usual(
        change.value, change.sd or 0.0, settle.value, settle.sd or 0.0, wander.sd or 0.0,
        late.sd or 0.0,
    )  # fmt: skip
    return usual, (
        Assumption.of("change of the least cover in a year", change),
        Assumption.of("days in which two thirds of it happen", settle),
        Assumption.of("departure from a smooth course", wander),
        Assumption.of("change in a year that earlier visits do not foretell", late),
    )


def foretell(
    days: FloatArray, least_mm: FloatArray, sd_mm: FloatArray, ahead: tuple[int, ...], usual: Usual
) -> tuple[Foretold, ...]:
    """Which least cover is expected on these days, given the visits so far?

    Parameters
    ----------
    days, least_mm, sd_mm : array, shape (n,), n >= 1
        Day since surgery, least cover and its measured sd.
    ahead : tuple of int
        Days to foretell.
    usual : Usual
        What is usual in other eyes.

    Returns
    -------
    tuple of Foretold
        With the sd of the true least cover on that day.

    Notes
    -----
    level + change · (1 - exp(-day / settle)) + late(day), level unknown, change normal, settle
    log-normal (summed over), late a Brownian walk, so that an eye that has settled may contract
    after all; each visit off the course by the wander besides its measurement. Own derivation; its
    intervals are shown true on eyes drawn from the same law, which proves nothing about patients,
    and docs/follow.md tells how they hold under other laws.

    Examples
    --------
    >>> usual = usual_healing()[0]
    >>> day, cover, sd = np.array([1.0, 7.0]), np.array([0.20, 0.21]), np.array([0.02, 0.02])
    >>> [one.day for one in foretell(day, cover, sd, (90, 365), usual)]
    [90, 365]
    """
    spread = math.sqrt(math.log1p((usual.settle_sd_day / usual.settle_day) ** 2))
    middle = math.log(usual.settle_day) - 0.5 * spread**2
    x, w = panel_nodes(np.linspace(-4.0, 4.0, 5), 8)
    settles = np.exp(middle + spread * x)
    logs, means, variances = [], [], []
    for settle in settles:
        told = _given_settle(days, least_mm, sd_mm, np.array(ahead, float), (settle, usual))
        logs.append(told[0])
        means.append(told[1])
        variances.append(told[2])
    weight = np.array(logs) - 0.5 * x**2
    weight = np.exp(weight - weight.max()) * w
    weight /= weight.sum()
    mean = weight @ np.array(means)
    variance = weight @ (np.array(variances) + (np.array(means) - mean) ** 2)
    return tuple(
        Foretold(day, Estimate(float(m), math.sqrt(float(v)), "visits and what is usual"))
        for day, m, v in zip(ahead, mean, variance, strict=True)
    )


def _given_settle(
    days: FloatArray,
    least_mm: FloatArray,
    sd_mm: FloatArray,
    ahead: FloatArray,
    law: tuple[float, Usual],
) -> tuple[float, FloatArray, FloatArray]:
    """Log likelihood of the visits, and mean and variance ahead, for one speed of healing."""
    settle, usual = law
    design, later = (
        np.column_stack([np.ones(len(t)), -np.expm1(-np.maximum(t, 0.0) / settle)])
        for t in (days, ahead)
    )
    prior_mean = np.array([0.0, usual.change_mm])
    prior = np.diag([_LEVEL_SD_MM**2, usual.change_sd_mm**2])
    noise = np.diag(sd_mm**2 + usual.wander_sd_mm**2)
    cover = design @ prior @ design.T + _walk(days, days, usual) + noise
    shared = later @ prior @ design.T + _walk(ahead, days, usual)
    off = least_mm - design @ prior_mean
    gain = np.linalg.solve(cover, shared.T).T
    log = -0.5 * float(off @ np.linalg.solve(cover, off)) - 0.5 * np.linalg.slogdet(cover)[1]
    own = np.einsum("ij,jk,ik->i", later, prior, later) + np.diag(_walk(ahead, ahead, usual))
    spread = own - np.einsum("ij,ij->i", gain, shared) + usual.wander_sd_mm**2
    return float(log), later @ prior_mean + gain @ off, spread


def _walk(one: FloatArray, other: FloatArray, usual: Usual) -> FloatArray:
    """Return the covariance of late changes between days."""
    least = np.minimum(one[:, None], other[None, :])
    return np.asarray(usual.late_sd_mm**2 * np.maximum(least, 0.0) / _YEAR_DAYS)
