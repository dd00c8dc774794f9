"""The circle through measured points with its covariance."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.robust import inliers, lone_points, robust_sd, tukey_weights
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

_ROUNDS = 30
_REWEIGHTINGS = 14  # half by absolute deviations, half by the biweight; stable to 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class CircleFit:
    """A circle through measured points.

    Parameters
    ----------
    cx, cy, radius : float
        In the unit of the points.
    covariance : array, shape (3, 3)
        Of (cx, cy, radius).
    rms : float
        Root mean square distance of the used points from the circle.
    used : array of bool, shape (n,)
        Which points were used.
    """

    cx: float
    cy: float
    radius: float
    covariance: FloatArray
    rms: float
    used: BoolArray


def fit_circle(
    points: FloatArray, weights: FloatArray | None = None, robust: bool = False
) -> CircleFit:
    """Which circle runs through these points, and how well is it known?

    Parameters
    ----------
    points : array, shape (n, 2), n >= 4
        Any plane unit; an arc is enough.
    weights : array, shape (n,), optional
        Relative information of each point, 1/sd²; 0 leaves a point out.
    robust : bool
        Leave out points that do not belong.

    Raises
    ------
    WrongInput
        Not an (n, 2) array of at least four finite points.
    MeasurementRefused
        The points lie on a line or in one place (code "no-circle").

    Notes
    -----
    Orthogonal distances by Gauss-Newton with analytic slopes, started from the algebraic circle
    (linear in x² + y²); the covariance comes from the scatter of the used points.

    Examples
    --------
    >>> t = np.linspace(0.0, 2.0, 20)
    >>> found = fit_circle(np.stack([1.0 + 3.0 * np.cos(t), 2.0 + 3.0 * np.sin(t)], axis=-1))
    >>> round(found.cx, 6), round(found.cy, 6), round(found.radius, 6)
    (1.0, 2.0, 3.0)
    """
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 4 or not np.isfinite(points).all():
        raise WrongInput(
            f"a circle is fitted to at least four finite points (n, 2), got shape {points.shape}"
        )
    weight = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=np.float64)
    if weight.shape != (len(points),) or not (weight >= 0.0).all() or (weight > 0.0).sum() < 4:
        raise WrongInput("weights are one number of 0 or more per point, four of them above 0")
    shift = points.mean(axis=0)
    local = points - shift
    circle = _algebraic(local, weight)
    used: BoolArray = weight > 0.0
    if robust:
        circle, used = _settle(local, weight, circle)
    circle = _descend(local[used], weight[used], circle)
    return _fit_of(local, weight, circle, used, shift)


def _algebraic(points: FloatArray, weight: FloatArray) -> FloatArray:
    root = np.sqrt(weight)[:, None]
    design = np.column_stack([2.0 * points, np.ones(len(points))])
    target = (points * points).sum(axis=1)
    solution, _, rank, _ = np.linalg.lstsq(design * root, target * root[:, 0], rcond=1e-12)
    if rank < 3:
        raise MeasurementRefused(
            "no-circle", "the points lie on a line or in one place; choose points along an arc"
        )
    return np.array([*solution[:2], math.sqrt(solution[2] + solution[0] ** 2 + solution[1] ** 2)])


def _residuals(points: FloatArray, circle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Signed distances (n,) and their slopes (n, 3) in (cx, cy, radius)."""
    reach = points - circle[:2]
    length = np.maximum(np.hypot(reach[:, 0], reach[:, 1]), 1e-300)
    slopes = -np.column_stack([reach / length[:, None], np.ones(len(points))])
    return length - circle[2], slopes


def _descend(points: FloatArray, weight: FloatArray, circle: FloatArray) -> FloatArray:
    damping = 0.0
    rest, slopes = _residuals(points, circle)
    least = float(weight @ (rest * rest))
    for _ in range(_ROUNDS):
        normal = slopes.T @ (weight[:, None] * slopes)
        normal[np.diag_indices(3)] += damping * np.trace(normal)
        step = -np.linalg.lstsq(normal, slopes.T @ (weight * rest), rcond=None)[0]
        moved, turned = _residuals(points, circle + step)
        cost = float(weight @ (moved * moved))
        if cost <= least:
            circle, rest, slopes, least = circle + step, moved, turned, cost
            damping *= 0.2
            if np.abs(step).max() < 1e-11 * abs(circle[2]):
                break
        else:
            damping = max(10.0 * damping, 1e-4)
    return circle


def _settle(
    points: FloatArray, weight: FloatArray, circle: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Least absolute deviations, then the biweight; which points are left?"""
    counted = weight > 0.0
    root = np.sqrt(weight)
    floor = 1e-11 * float(circle[2]) * float(root.max())
    for step in range(_REWEIGHTINGS):
        z = _residuals(points, circle)[0] * root
        scale = robust_sd(z[counted], floor)
        if step < _REWEIGHTINGS // 2:
            factor = scale / np.maximum(np.abs(z), 0.1 * scale)
        else:
            factor = tukey_weights(z, scale)
        rest, slopes = _residuals(points, circle)
        scaled = slopes * (factor * weight)[:, None]
        circle = circle - np.linalg.lstsq(scaled.T @ slopes, scaled.T @ rest, rcond=None)[0]
    z = _residuals(points, circle)[0] * root
    used = inliers(z, robust_sd(z[counted], floor)) & counted
    used &= ~lone_points(_residuals(points, circle)[1] * root[:, None], used)
    if int(used.sum()) < 4:
        raise MeasurementRefused(
            "no-circle", "too few points agree on one circle; choose points along one arc"
        )
    return circle, used


def _fit_of(
    points: FloatArray, weight: FloatArray, circle: FloatArray, used: BoolArray, shift: FloatArray
) -> CircleFit:
    rest, slopes = _residuals(points[used], circle)
    information = slopes.T @ (weight[used, None] * slopes)
    if not np.linalg.cond(information) < 1e14:
        raise MeasurementRefused(
            "no-circle", "the points do not determine a circle; a longer arc is needed"
        )
    noise = float(weight[used] @ (rest * rest)) / max(len(rest) - 3, 1)
    return CircleFit(
        float(circle[0] + shift[0]),
        float(circle[1] + shift[1]),
        float(circle[2]),
        np.asarray(noise * np.linalg.inv(information), dtype=np.float64),
        math.sqrt(float(np.mean(rest * rest))),
        used,
    )
