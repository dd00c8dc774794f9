"""Vectors in a plane: their mean, their scatter, and ellipses that say which of the two."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

EllipseKind = Literal["confidence of the mean", "prediction of one more", "tolerance"]


@dataclass(frozen=True, slots=True)
class ScatterEllipse:
    """An ellipse about a mean vector, in the unit of the vectors.

    Parameters
    ----------
    kind : str
        What lies inside: the true mean, one more vector, or a stated share of all vectors.
    center : (float, float)
    semi_major, semi_minor : float
    angle_deg : float
        Of the major axis, counter-clockwise from +x, in (-90, 90].
    level : float
        Chance that the statement holds.
    """

    kind: EllipseKind
    center: tuple[float, float]
    semi_major: float
    semi_minor: float
    angle_deg: float
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class VectorMean:
    """Mean vector and covariance of vectors in a plane.

    Parameters
    ----------
    mean : array, shape (2,)
    covariance : array, shape (2, 2)
        Of single vectors, n - 1 in the denominator.
    n : int
    """

    mean: FloatArray
    covariance: FloatArray
    n: int


def vector_mean(vectors: FloatArray) -> VectorMean:
    """What are mean and scatter of these vectors?

    Parameters
    ----------
    vectors : array, shape (n, 2), n >= 3

    Examples
    --------
    >>> summary = vector_mean(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]))
    >>> summary.mean.tolist(), round(float(summary.covariance[0, 0]), 4)
    ([0.5, 0.5], 0.3333)
    """
    rows = np.asarray(vectors, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != 2 or len(rows) < 3 or not np.isfinite(rows).all():
        raise WrongInput(f"a mean vector needs at least three finite pairs, got {rows.shape}")
    return VectorMean(rows.mean(axis=0), np.cov(rows.T, ddof=1), len(rows))


def hotelling(summary: VectorMean) -> tuple[float, float]:
    """Is the mean vector away from zero: F with 2 and n - 2 degrees of freedom, and its p?

    Notes
    -----
    Hotelling 1931: T² = n m' S⁻¹ m, F = (n - 2) T² / (2 (n - 1)).

    Examples
    --------
    >>> f, p = hotelling(vector_mean(np.array([[1.0, 0.1], [1.2, -0.1], [0.9, 0.0], [1.1, 0.1]])))
    >>> p < 0.05
    True
    """
    from scipy.special import fdtrc  # noqa: PLC0415  scipy is loaded late

    n = summary.n
    try:
        t2 = n * float(summary.mean @ np.linalg.solve(summary.covariance, summary.mean))
    except np.linalg.LinAlgError:
        raise WrongInput(
            "the vectors lie on one line, so their mean cannot be tested against zero"
        ) from None
    f = (n - 2) * t2 / (2.0 * (n - 1))
    return f, float(fdtrc(2.0, float(n - 2), f))


def ellipse_of(
    summary: VectorMean, kind: EllipseKind, level: float = 0.95, share: float = 0.95
) -> ScatterEllipse:
    """Which ellipse holds the true mean, one more vector, or a share of all vectors?

    Parameters
    ----------
    summary : VectorMean
    kind : str
    level : float
        Chance that the statement holds, 0 to 1.
    share : float
        For "tolerance": the share of all vectors to be held.

    Notes
    -----
    Confidence k = 2 (n-1) F / (n (n-2)), prediction k (n+1); tolerance by the normal law with
    Hall and Sheldon's (1979) factor k = 2 (n-1) q(share) / χ²(1 - level; 2n - 4): approximate,
    own choice of degrees of freedom, checked by simulation in the tests.

    Examples
    --------
    >>> eyes = vector_mean(np.array([[0.1, 0.0], [-0.1, 0.1], [0.0, -0.2], [0.2, 0.1], [0.0, 0.1]]))
    >>> mean, one_more = (ellipse_of(eyes, k) for k in ("confidence of the mean",
    ...     "prediction of one more"))
    >>> round(one_more.semi_major / mean.semi_major, 6) == round(6.0 ** 0.5, 6)
    True
    """
    from scipy.special import chdtri, fdtri  # noqa: PLC0415  scipy is loaded late

    n = summary.n
    factor = 2.0 * (n - 1) / (n * (n - 2)) * float(fdtri(2.0, float(n - 2), level))
    if kind == "prediction of one more":
        factor *= n + 1
    elif kind == "tolerance":
        free = 2.0 * n - 4.0
        # chdtri takes the upper tail: the low quantile of the scatter's own law.
        factor = float(chdtri(2.0, 1.0 - share)) * free / float(chdtri(free, level))
        factor *= 1.0 + 1.0 / n
    lengths, axes = np.linalg.eigh(summary.covariance)
    angle = math.degrees(math.atan2(float(axes[1, 1]), float(axes[0, 1])))
    return ScatterEllipse(
        kind,
        (float(summary.mean[0]), float(summary.mean[1])),
        math.sqrt(max(float(lengths[1]), 0.0) * factor),
        math.sqrt(max(float(lengths[0]), 0.0) * factor),
        angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle,
        level,
    )
