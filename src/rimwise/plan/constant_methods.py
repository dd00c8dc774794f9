"""The methods by which a constant answers a series, whatever formula it belongs to."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.plan.lens_series import CALIBRATED_EYES
from rimwise.terms.arrays import FloatArray

Method = Literal["mean-zero", "least-squares", "least-scatter", "mean-of-eyes", "median-of-eyes"]
METHODS: dict[Method, str] = {
    "mean-zero": "the mean prediction error becomes zero",
    "least-squares": "the sum of squared prediction errors is smallest",
    "least-scatter": "the standard deviation is smallest; the mean stays as a separate offset",
    "mean-of-eyes": "mean of the constants that would each fit one eye",
    "median-of-eyes": "median of the constants that would each fit one eye",
}


@dataclass(frozen=True, slots=True)
class ConstantFit:
    """A constant with what it leaves of the series.

    Parameters
    ----------
    method : str
        One of ``METHODS``.
    value : float
    offset_dpt : float
        Mean prediction error (achieved - predicted) with this constant; to be added to every
        prediction where the method leaves one.
    sd_dpt, mean_absolute_dpt, median_absolute_dpt : float
        Of the prediction errors with this constant, before any offset.
    eyes : int
    """

    method: Method
    value: float
    offset_dpt: float
    sd_dpt: float
    mean_absolute_dpt: float
    median_absolute_dpt: float
    eyes: int

    @property
    def calibrated(self) -> bool:
        """Return whether enough eyes stand behind it."""
        return self.eyes >= CALIBRATED_EYES


def zero_at(
    errors: FloatArray, slopes: FloatArray, method: Method, weight: FloatArray
) -> FloatArray:
    """What is zero, and rising, at the constant that this method wants?

    Parameters
    ----------
    errors, slopes : array (..., eyes)
        Prediction errors and their change with the constant.
    method : str
        One of the first three.
    weight : array (eyes,)
        Adds up to 1.

    Examples
    --------
    >>> both = np.array([0.5, -0.5]), np.array([-1.0, -1.0])
    >>> float(zero_at(*both, "mean-zero", np.full(2, 0.5)))
    -0.0
    """
    if method == "mean-zero":
        return np.asarray(-(errors @ weight))
    both = (errors * slopes) @ weight
    if method == "least-squares":
        return np.asarray(both)
    return np.asarray(both - (errors @ weight) * (slopes @ weight))


def rising(condition: FloatArray, errors: FloatArray, weight: FloatArray) -> int | None:
    """Which is the last node before the zero that is a minimum; of several that of least scatter?

    Examples
    --------
    >>> rising(np.array([-1.0, -0.2, 0.5]), np.zeros((3, 2)), np.full(2, 0.5))
    1
    """
    found = np.flatnonzero((condition[:-1] <= 0.0) & (condition[1:] > 0.0))
    if found.size == 0:
        return None
    near = errors[found]
    scatter = (near * near) @ weight - (near @ weight) ** 2
    return int(found[np.argmin(scatter)])


def crossing(
    nodes: FloatArray, table: tuple[FloatArray, FloatArray], count: FloatArray, method: Method
) -> float:
    """Which constant does one drawn series want, to a ten-thousandth by linear steps?

    Examples
    --------
    >>> nodes = np.array([0.0, 1.0, 2.0])
    >>> table = np.array([[1.0], [0.0], [-1.0]]), np.full((3, 1), -1.0)
    >>> crossing(nodes, table, np.ones(1), "mean-zero")
    1.0
    """
    errors, slopes = table
    weight = count / count.sum()
    condition = zero_at(errors, slopes, method, weight)
    at = rising(condition, errors, weight)
    if at is None:
        return float(nodes[0] if condition[0] > 0.0 else nodes[-1])
    part = condition[at] / (condition[at] - condition[at + 1])
    return float(nodes[at] + part * (nodes[at + 1] - nodes[at]))


_DRAWS = 2000


def draws(persons: tuple[str, ...], generator: np.random.Generator) -> FloatArray:
    """How often is each eye in each drawn series, (draws, eyes)? Persons come with both eyes.

    Examples
    --------
    >>> counts = draws(("a", "a", "b"), np.random.default_rng(1))
    >>> counts.shape, bool((counts[:, 0] == counts[:, 1]).all())
    ((2000, 3), True)
    """
    _, group = np.unique(np.array(persons), return_inverse=True)
    people = int(group.max()) + 1
    drawn = generator.multinomial(people, np.full(people, 1.0 / people), size=_DRAWS)
    return np.asarray(drawn[:, group], dtype=np.float64)


def of_eyes(own: FloatArray, counts: FloatArray, method: Method) -> FloatArray:
    """Which mean or median have the constants of single eyes in each drawn series?

    Examples
    --------
    >>> of_eyes(np.array([1.0, 3.0]), np.array([[1.0, 1.0], [2.0, 0.0]]), "mean-of-eyes").tolist()
    [2.0, 1.0]
    """
    if method == "mean-of-eyes":
        return np.asarray(counts @ own / counts.sum(axis=1))
    return np.array([float(np.median(np.repeat(own, count.astype(int)))) for count in counts])
