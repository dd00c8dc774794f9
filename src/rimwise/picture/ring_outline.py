"""The smooth outline through a ring's edge, found direction by direction."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.fourier import fourier_terms
from rimwise.geometry.medians import median
from rimwise.geometry.robust import SETTINGS, tukey_weights
from rimwise.picture.strip import directions_rad
from rimwise.terms.arrays import BoolArray, FloatArray

COLUMNS = 180
"""Directions of a ring, counter-clockwise from picture right."""

_ALIKE_DEG = 12.0  # errors of an edge are alike within so many degrees (own measurement)


@dataclass(frozen=True, slots=True)
class BandSettings:
    """How a ring is looked for around a circle; lengths as shares of the radius.

    Parameters
    ----------
    reach : float
        How far inside and outside of the circle the edge may lie.
    window : float
        Width of the strips that are compared inside and outside of the edge.
    gap : float
        What lies nearer to the edge belongs to neither side.
    harmonics : int
        Waves of the smooth outline; 2 for an ellipse.
    stiff : float
        Weight of the belief that the outline is a circle.
    """

    reach: float
    window: float
    gap: float
    harmonics: int
    stiff: float


def outline_through(
    found: FloatArray, seen: BoolArray, band: BandSettings, compiled: bool = False
) -> tuple[FloatArray, float, float]:
    """Which smooth outline runs through the radii that were found; hidden ones are bridged.

    Parameters
    ----------
    found : array (COLUMNS,)
        Radius by direction.
    seen : array (COLUMNS,) of bool
    band : BandSettings
    compiled : bool

    Returns
    -------
    outline : array (COLUMNS,)
    residual : float
    centre_sd : float

    Examples
    --------
    >>> found, seen = np.full(COLUMNS, 50.0), np.arange(COLUMNS) < 120
    >>> outline, _, _ = outline_through(found, seen, BandSettings(0.05, 0.05, 0.03, 2, 0.6))
    >>> round(float(outline[150]), 2)
    50.0
    """
    basis = fourier_terms(directions_rad(COLUMNS), band.harmonics)
    stiff = np.repeat(np.arange(1.0, band.harmonics + 1.0) ** 2, 2)
    stiff[:2] = 0.0
    ridge = band.stiff * np.diag(np.r_[0.0, stiff])
    alike = max(1.0, _ALIKE_DEG * COLUMNS / 360.0)
    if compiled:
        from rimwise.picture.compiled_rings import outline  # noqa: PLC0415 - half a second

        fit, scale, inverse = outline(found, seen, basis, ridge, SETTINGS.tukey)
        covariance = inverse * scale**2 * alike
        return fit, scale, float(np.sqrt(0.5 * (covariance[1, 1] + covariance[2, 2])))
    weights = seen.astype(np.float64)
    fit, scale, normal = found, 1.0, np.eye(basis.shape[1])
    for _ in range(8):
        weighted = basis * weights[:, None]
        normal = weighted.T @ basis + ridge
        fit = basis @ np.linalg.solve(normal, weighted.T @ found)
        residual = found - fit
        scale = 1.4826 * median(np.abs(residual[seen])) + 0.15
        weights = seen * tukey_weights(residual, scale)
    covariance = np.linalg.inv(normal) * scale**2 * alike
    return fit, scale, float(np.sqrt(0.5 * (covariance[1, 1] + covariance[2, 2])))
