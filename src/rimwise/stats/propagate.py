"""Carry a mean and a covariance through a function."""

from collections.abc import Callable

import numpy as np

from rimwise.stats.sampling import covariance_root
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

Function = Callable[[FloatArray], FloatArray]


def propagate(
    function: Function,
    values: FloatArray,
    covariance: FloatArray,
    jacobian: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray]:
    """What are the results and their covariance, if the inputs scatter like this?

    First order: exact for a linear function, right to the curvature within one sd for others.

    Parameters
    ----------
    function : callable
        From an array (k,) to an array (m,) (or a number).
    values : array, shape (k,)
    covariance : array, shape (k, k)
    jacobian : array, shape (m, k), optional
        Slopes at the values; by central differences over a tenth of each sd if left out.

    Returns
    -------
    results : array, shape (m,)
    covariance : array, shape (m, m)

    Examples
    --------
    >>> result, spread = propagate(lambda v: v[:1] + v[1:], np.array([1.0, 2.0]), np.eye(2))
    >>> result.tolist(), spread.round(9).tolist()
    ([3.0], [[2.0]])
    """
    values = np.asarray(values, dtype=np.float64)
    covariance = np.asarray(covariance, dtype=np.float64)
    if values.ndim != 1 or covariance.shape != (len(values), len(values)):
        raise WrongInput(f"values {values.shape} and covariance {covariance.shape} do not fit")
    results = np.atleast_1d(np.asarray(function(values), dtype=np.float64))
    slopes = _slopes(function, values, covariance) if jacobian is None else np.asarray(jacobian)
    if slopes.shape != (len(results), len(values)):
        raise WrongInput(f"the slopes must be ({len(results)}, {len(values)}), got {slopes.shape}")
    spread = slopes @ covariance @ slopes.T
    return results, np.asarray(0.5 * (spread + spread.T), dtype=np.float64)


def _slopes(function: Function, values: FloatArray, covariance: FloatArray) -> FloatArray:
    """Central differences; a value without scatter adds nothing and is not moved."""
    sd = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    columns = []
    for index, step in enumerate(0.1 * sd):
        shift = np.zeros_like(values)
        # At least what double precision can tell apart, however small the sd.
        shift[index] = max(float(step), 1e-6 * abs(float(values[index])) if step > 0.0 else 0.0)
        up = np.atleast_1d(function(values + shift))
        if shift[index] == 0.0:
            columns.append(np.zeros(len(up)))
            continue
        down = np.atleast_1d(function(values - shift))
        columns.append((up - down) / (2.0 * shift[index]))
    return np.asarray(np.stack(columns, axis=-1), dtype=np.float64)


def propagate_unscented(
    function: Function, values: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """What are mean and covariance of the results, curvature included?

    2k points at ±√k of the covariance's root, equally weighted: exact to second order in the mean
    (Julier & Uhlmann 1997, with no central point).

    Examples
    --------
    >>> mean, _ = propagate_unscented(lambda v: v**2, np.array([3.0]), np.array([[0.25]]))
    >>> mean.round(9).tolist()
    [9.25]
    """
    values = np.asarray(values, dtype=np.float64)
    root = covariance_root(covariance) * np.sqrt(len(values))
    points = np.concatenate([values + root.T, values - root.T])
    results = np.stack([np.atleast_1d(function(point)) for point in points])
    rest = results - results.mean(axis=0)
    return results.mean(axis=0), np.asarray(rest.T @ rest / len(points))
