"""What of a strip around the rim is the rim's own: its lines, and their echo in colour."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.medians import median, median_deviation, row_medians
from rimwise.geometry.robust import tukey_weights
from rimwise.picture.strip import directions_rad
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class RimsOwnSettings:
    """How far the rim's own lines reach, in rim radii, with reasons.

    Parameters
    ----------
    rim_reach, rim_waves : float, int
        How far from the rim its own lines reach, and how many waves describe their slow change
        around it (lighting from one side, folds); they are taken out before the seam is sought.
    double_reach, double_line : float
        An optic's edge may be a double line. As far out, a dark line of so many noise levels that
        keeps its distance from the rim all round is the rim's too; a seam crosses such a row.
    """

    rim_reach: float = 0.030
    rim_waves: int = 1
    double_reach: float = 0.045
    double_line: float = 1.5


SETTINGS = RimsOwnSettings()


def echo(
    rows: FloatArray, brightness: tuple[FloatArray, FloatArray], usable: BoolArray
) -> FloatArray:
    """Which part of the rise only repeats the rim's brightness.

    A rim bends light of all colours alike; what its step and line leave in blue over red is a
    fixed share of them, slowly changing around it. The start of capsule is not such a share.
    """
    theta = directions_rad(rows.shape[1])
    slow = np.stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    terms = np.stack([part * wave for part in brightness for wave in slow], axis=-1)
    basis, target = terms[usable], rows[usable]
    if len(target) < 10 * basis.shape[1]:
        return np.zeros_like(rows)
    weights = np.ones(len(target))
    for _ in range(6):
        weighted = basis * weights[:, None]
        ridge = 1e-6 * np.trace(weighted.T @ basis) * np.eye(basis.shape[1])
        share = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ target)
        residual = target - basis @ share
        weights = tukey_weights(residual, 1.4826 * median(np.abs(residual)) + 1e-6)
    return np.asarray(terms @ share)


def slow_part(rows: FloatArray, usable: BoolArray) -> FloatArray:
    """What changes slowly along each row? The rim's own line, not a seam that crosses it."""
    theta = directions_rad(rows.shape[1])
    waves = [f(k * theta) for k in range(1, SETTINGS.rim_waves + 1) for f in (np.cos, np.sin)]
    basis = np.column_stack([np.ones_like(theta), *waves])
    weights = usable.astype(np.float64)
    fit = np.zeros_like(rows)
    ridge = 1e-3 * rows.shape[1] * np.eye(basis.shape[1])
    size = basis.shape[1]
    squares = (basis[:, :, None] * basis[:, None, :]).reshape(len(basis), -1)
    for _ in range(6):
        normal = (weights @ squares).reshape(-1, size, size) + ridge
        right = (rows * weights) @ basis
        fit = np.linalg.solve(normal, right[..., None])[..., 0] @ basis.T
        residual = np.where(usable, rows - fit, 0.0)
        scale = 1.4826 * row_medians(np.abs(residual))[:, None] + 1e-6
        ratio = np.clip(1.0 - (residual / (3.0 * scale)) ** 2, 0.0, None)
        weights = usable * ratio * ratio
    return np.asarray(fit)


def second_line(line: FloatArray, usable: BoolArray, away: FloatArray) -> BoolArray:
    """Which rows beyond the rim's reach does a second line of the rim keep to all round?"""
    rows = (away > SETTINGS.rim_reach) & (away <= SETTINGS.double_reach)
    rows &= usable.mean(axis=1) > 0.5
    if rows.any():
        noise = 1.4826 * median_deviation(line[usable]) + 1e-6
        course = np.where(usable[rows], slow_part(line[rows], usable[rows]) / noise, np.nan)
        rows[rows] = np.nanmedian(course, axis=1) > SETTINGS.double_line
    return np.asarray(rows)
