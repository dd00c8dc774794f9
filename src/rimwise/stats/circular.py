"""Means and scatters of directions and of axes, which have no beginning and no end."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import axis_deg, direction_deg


@dataclass(frozen=True, slots=True)
class CircularMean:
    """Where directions or axes point on average, and how closely they agree.

    Parameters
    ----------
    mean_deg : float or None
        Direction in [0, 360) or axis in (0, 180]; None where they cancel out.
    resultant : float
        Length of the mean of the unit vectors, 0 (no preference) to 1 (all alike).
    sd_deg : float or None
        Circular standard deviation √(-2 ln R), halved for axes; None where they cancel out.
    half_width_deg : float or None
        Of the 95 % interval of the mean; None where the scatter is too wide for one.
    n : int
    """

    mean_deg: float | None
    resultant: float
    sd_deg: float | None
    half_width_deg: float | None
    n: int


def _row(angles_deg: Sequence[float] | FloatArray) -> FloatArray:
    row = np.asarray(angles_deg, dtype=np.float64)
    if row.ndim != 1 or len(row) == 0 or not np.isfinite(row).all():
        raise WrongInput(f"angles must be a row of finite numbers, got shape {row.shape}")
    return row


def _mean(row_rad: FloatArray) -> tuple[float, float]:
    east, north = float(np.cos(row_rad).mean()), float(np.sin(row_rad).mean())
    return math.atan2(north, east), min(math.hypot(east, north), 1.0)


def _half_width_rad(row_rad: FloatArray, mean_rad: float, resultant: float) -> float | None:
    """Large-sample interval of a mean direction from the circular dispersion."""
    second = float(np.cos(2.0 * (row_rad - mean_rad)).mean())
    dispersion = (1.0 - second) / (2.0 * resultant**2)
    sine = 1.959963984540054 * math.sqrt(dispersion / len(row_rad))
    return math.asin(sine) if sine < 1.0 else None


def mean_direction(angles_deg: Sequence[float] | FloatArray) -> CircularMean:
    """Which way do directions point on average?

    Parameters
    ----------
    angles_deg : sequence of float
        At least one, any range.

    Notes
    -----
    Fisher, Statistical analysis of circular data, 1993: mean direction, circular sd and the
    large-sample interval from the sample circular dispersion (sections 2.3 and 4.4).

    Examples
    --------
    >>> round(mean_direction([51.0, 67.0, 40.0, 109.0, 31.0, 358.0]).mean_deg, 4)
    48.6272
    """
    return _summary(np.radians(_row(angles_deg)), 1.0)


def mean_axis(axes_deg: Sequence[float] | FloatArray) -> CircularMean:
    """Which way do axes lie on average, 180° being the same as 0°?

    By doubling the angles, averaging, and halving.

    Examples
    --------
    >>> axes = mean_axis([175, 178, 2, 5, 10, 170, 179, 1, 8, 172])
    >>> axes.mean_deg, round(axes.resultant, 4)
    (180.0, 0.9765)
    """
    return _summary(np.radians(_row(axes_deg)) * 2.0, 2.0)


def _summary(row_rad: FloatArray, folds: float) -> CircularMean:
    mean_rad, resultant = _mean(row_rad)
    if resultant < 1e-12:
        return CircularMean(None, 0.0, None, None, len(row_rad))
    # Round-off must not turn an axis of 180° into one of 1e-15°.
    told = round(math.degrees(mean_rad) / folds, 10)
    sd_rad = math.sqrt(max(-2.0 * math.log(resultant), 0.0))
    half = _half_width_rad(row_rad, mean_rad, resultant)
    return CircularMean(
        direction_deg(told) if folds == 1.0 else axis_deg(told),
        resultant,
        math.degrees(sd_rad) / folds,
        None if half is None else math.degrees(half) / folds,
        len(row_rad),
    )


def rayleigh(angles_deg: Sequence[float] | FloatArray) -> float:
    """How likely is so much agreement if directions were uniform round the circle?

    Give doubled angles for axes.

    Notes
    -----
    Rayleigh's test with the series of Wilkie (1983) as given by Zar and used by common libraries:
    p = exp(√(1 + 4n + 4(n² - R²)) - (1 + 2n)), R the length of the sum.

    Examples
    --------
    >>> round(rayleigh([130.0, 90.0, 0.0, 145.0]), 2)
    0.25
    """
    row = np.radians(_row(angles_deg))
    n = len(row)
    total = n * _mean(row)[1]
    return min(1.0, math.exp(math.sqrt(1.0 + 4.0 * n + 4.0 * (n * n - total**2)) - 1.0 - 2.0 * n))


def signed_turn_deg(from_deg: float, to_deg: float, period_deg: float = 360.0) -> float:
    """By how much does the shorter way lead from one direction (or axis) to another?

    Counter-clockwise is positive; in [-period/2, period/2).

    Examples
    --------
    >>> signed_turn_deg(178.0, 3.0, period_deg=180.0)
    5.0
    """
    return (to_deg - from_deg + 0.5 * period_deg) % period_deg - 0.5 * period_deg
