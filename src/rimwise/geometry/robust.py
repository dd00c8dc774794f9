"""Robust weights: how far may a point lie off before it stops counting?"""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.medians import median
from rimwise.terms.arrays import BoolArray, FloatArray

MAD_TO_SD = 1.482602218505602  # 1/Φ⁻¹(3/4): median absolute deviation to sd of a normal law


@dataclass(frozen=True, slots=True)
class RobustSettings:
    """Settings of the robust fits, with reasons.

    Parameters
    ----------
    tukey : float
        Cut of the biweight in sd; 4.685 keeps 95 % efficiency on normal errors
        (Holland & Welsch 1977; common in textbooks, from memory).
    inlier : float
        Points within this many sd are used in the final least squares; 3.5 drops one good point
        in two thousand.
    leverage : float
        Share of its own place on the curve that a point may decide alone. A lone wrong point on
        the unseen side bends the curve to itself and shows no residual; four agreeing points pass.
    """

    tukey: float = 4.685
    inlier: float = 3.5
    leverage: float = 0.25


SETTINGS = RobustSettings()


def robust_sd(residuals: FloatArray, floor: float = 0.0) -> float:
    """What is the standard deviation of the residuals, were there no outliers?

    Median absolute residual (about 0) scaled to a normal law, not below ``floor``.

    Examples
    --------
    >>> round(robust_sd(np.array([-1.0, 1.0, 1.0, 900.0])), 4)
    1.4826
    """
    return max(MAD_TO_SD * median(np.abs(residuals)), floor)


def tukey_weights(residuals: FloatArray, scale: float) -> FloatArray:
    """Which weight in [0, 1] has each residual under the biweight with this sd?

    Examples
    --------
    >>> tukey_weights(np.array([0.0, 100.0]), 1.0).tolist()
    [1.0, 0.0]
    """
    ratio = residuals / (SETTINGS.tukey * scale)
    return np.asarray(np.square(np.clip(1.0 - ratio * ratio, 0.0, None)))


def tukey_cost(residuals: FloatArray, scale: float) -> float:
    """What is the sum of the biweight losses, in squared sd, near 0 equal to Σ z²/2?

    Examples
    --------
    >>> round(tukey_cost(np.array([0.1, -0.1]), 1.0), 4)
    0.01
    """
    cut = SETTINGS.tukey
    ratio = residuals / (cut * scale)
    return float(cut * cut / 6.0 * (1.0 - np.clip(1.0 - ratio * ratio, 0.0, None) ** 3).sum())


def inliers(residuals: FloatArray, scale: float) -> BoolArray:
    """Which residuals are near enough to be used in the final least squares?

    Examples
    --------
    >>> inliers(np.array([1.0, -3.6]), 1.0).tolist()
    [True, False]
    """
    return np.asarray(np.abs(residuals) <= SETTINGS.inlier * scale)


def lone_points(slopes: FloatArray, used: BoolArray) -> BoolArray:
    """Which points would decide the curve near them alone, with no neighbour to bear them out?

    Parameters
    ----------
    slopes : array, shape (n, k)
        Slopes of each point's residual in the k parameters, over its sd.
    used : array of bool, shape (n,)
        The points that the curve rests on now.

    Returns
    -------
    array of bool, shape (n,)
        Leverage beyond the setting, or beyond 2k²/n: twice that of the end of an evenly seen arc.

    Examples
    --------
    >>> x = np.append(np.linspace(0.0, 1.0, 50), 100.0)
    >>> design = np.stack([np.ones(51), x], axis=-1)
    >>> lone_points(design, np.ones(51, dtype=bool)).nonzero()[0].tolist()
    [50]
    """
    size = slopes.shape[1]
    inverse = np.linalg.pinv(slopes[used].T @ slopes[used])
    weight = np.einsum("ni,ij,nj->n", slopes, inverse, slopes)
    # A point that is not used counts as if it were.
    share = np.where(used, weight, weight / (1.0 + weight))
    return np.asarray(share > max(SETTINGS.leverage, 2.0 * size**2 / max(int(used.sum()), 1)))
