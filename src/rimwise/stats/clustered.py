"""Means and models of eyes, two of which may belong to one person."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import WrongInput

Way = Literal["exchangeable", "independence"]


@dataclass(frozen=True, slots=True, eq=False)
class ClusteredFit:
    """Coefficients of a linear model with an error that allows for both eyes of a person.

    Parameters
    ----------
    coefficients, se : array, shape (k,)
    covariance : array, shape (k, k)
    correlation : float
        Between two eyes of one person after the model.
    way : str
        "exchangeable": one correlation was fitted. "independence": the fitted correlation was
        impossible or there were no pairs, so eyes were weighted alike; the error still allows
        for persons.
    note : str
        Why, in words; empty where the first way worked.
    eyes, persons : int
    """

    coefficients: FloatArray
    se: FloatArray
    covariance: FloatArray
    correlation: float
    way: Way
    note: str
    eyes: int
    persons: int

    def interval(self, index: int = 0, confidence: float = 0.95) -> tuple[float, float]:
        """Return the interval of a coefficient by Student's t with persons - k freedom."""
        from scipy.special import stdtrit  # noqa: PLC0415  scipy is loaded late

        free = max(self.persons - len(self.coefficients), 1)
        half = float(stdtrit(free, 0.5 + 0.5 * confidence)) * float(self.se[index])
        middle = float(self.coefficients[index])
        return middle - half, middle + half

    def p_value(self, index: int = 0) -> float:
        """Return the chance of so large a coefficient if the true one were 0."""
        from scipy.special import stdtr  # noqa: PLC0415  scipy is loaded late

        free = max(self.persons - len(self.coefficients), 1)
        return 2.0 * float(
            stdtr(free, -abs(float(self.coefficients[index]) / float(self.se[index])))
        )


def persons_of(codes: list[str]) -> IntArray:
    """Which number from 0 stands for each eye's person?

    Examples
    --------
    >>> persons_of(["P-2", "P-1", "P-2"]).tolist()
    [1, 0, 1]
    """
    _, numbers = np.unique(np.asarray(codes, dtype=np.str_), return_inverse=True)
    return np.asarray(numbers, dtype=np.int64)


def _sums(values: FloatArray, person: IntArray, persons: int) -> FloatArray:
    """Sums over each person: one row a column, so that each lies together in memory."""
    return np.stack([np.bincount(person, column, persons) for column in values.T])


def _checked(y: FloatArray, design: FloatArray, person: IntArray) -> None:
    if not (y.ndim == 1 and design.shape[:1] == y.shape == person.shape):
        raise WrongInput(f"rows must agree, got {y.shape}, {design.shape} and {person.shape}")
    persons = int(person.max()) + 1 if len(person) else 0
    if persons <= design.shape[1] + 1:
        raise WrongInput(
            f"{persons} persons are too few for {design.shape[1]} coefficients; at least "
            f"{design.shape[1] + 2} are needed"
        )
    if not (np.isfinite(y).all() and np.isfinite(design).all()):
        raise WrongInput("a model needs finite numbers; leave out rows that lack one")
    if not np.bincount(person).all():
        raise WrongInput("persons are numbered from 0 without gaps; see gapless")


def gapless(person: IntArray) -> IntArray:
    """Which numbers from 0 without gaps stand for these persons, in the same order?

    Examples
    --------
    >>> gapless(np.array([5, 2, 5])).tolist()
    [1, 0, 1]
    """
    there = np.bincount(person) > 0
    if there.all():
        return person
    return np.asarray((np.cumsum(there) - 1)[person], dtype=np.int64)


def count_persons(person: IntArray) -> int:
    """How many persons are these?

    Examples
    --------
    >>> count_persons(np.array([5, 2, 5]))
    2
    """
    return int(np.count_nonzero(np.bincount(person))) if len(person) else 0


def clustered_fit(
    y: FloatArray, design: FloatArray, person: IntArray, correct_bias: bool = True
) -> ClusteredFit:
    """What are the coefficients, and their error when eyes of one person are alike?

    Parameters
    ----------
    y : array, shape (n,)
    design : array, shape (n, k)
        One column a coefficient, a column of ones for the mean.
    person : array of int, shape (n,)
        From 0, without gaps.
    correct_bias : bool
        Multiply the robust covariance by m / (m - k), m persons: without it the error is too
        small in small series.

    Notes
    -----
    Generalized estimating equations of Liang and Zeger 1986, Gaussian, one exchangeable
    correlation by moments, robust ("sandwich") covariance. Where the correlation leaves
    (-1/(m-1), 1) the equations have no meaning; then independence is fitted with the same robust
    covariance, and said so. The factor m / (m - k) is common practice, no source.

    Examples
    --------
    >>> fit = clustered_fit(np.array([1.0, 1.2, 0.4, 0.8, 0.9, 0.7, 1.3]),
    ...     np.ones((7, 1)), np.array([0, 0, 1, 1, 2, 2, 3]))
    >>> fit.way, fit.eyes, fit.persons
    ('exchangeable', 7, 4)
    """
    y, design = np.asarray(y, dtype=np.float64), np.asarray(design, dtype=np.float64)
    _checked(y, design, person)
    sums = _Sums.of(y, design, person)
    rho, note = 0.0, ""
    coefficients = sums.weighted(rho)[0]
    pairs = float((sums.counts * (sums.counts - 1.0)).sum()) / 2.0 - design.shape[1]
    if pairs <= 0.0:
        note = "too few persons have two eyes in the series to tell how alike they are"
    for _ in range(60 if not note else 0):
        fitted = sums.correlation(coefficients, pairs)
        if not -1.0 / max(sums.counts.max() - 1.0, 1.0) < fitted < 1.0:
            note = f"the fitted correlation of {fitted:.3f} is impossible"
            break
        coefficients = sums.weighted(fitted)[0]
        done = abs(fitted - rho) < 1e-10
        rho = fitted
        if done:
            break
    if note:
        rho = 0.0
        note += ", so eyes were weighted alike; the error still allows for persons"
    coefficients, inverse = sums.weighted(rho)
    scores = _scores(y - design @ coefficients, design, person, sums, rho)
    persons, columns = len(sums.counts), design.shape[1]
    factor = persons / (persons - columns) if correct_bias else 1.0
    covariance = factor * inverse @ (scores @ scores.T) @ inverse
    return ClusteredFit(
        coefficients,
        np.sqrt(np.diag(covariance)),
        covariance,
        rho,
        "independence" if note else "exchangeable",
        note,
        len(y),
        persons,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Sums over each person and over all eyes: what every round of the fit needs, once."""

    counts: FloatArray
    xs: FloatArray
    ys: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: float
    eyes: int

    @classmethod
    def of(cls, y: FloatArray, design: FloatArray, person: IntArray) -> "_Sums":
        counts = np.bincount(person).astype(np.float64)
        xs, ys = _sums(design, person, len(counts)), np.bincount(person, y).astype(np.float64)
        return cls(counts, xs, ys, design.T @ design, design.T @ y, float(y @ y), len(y))

    def weighted(self, rho: float) -> tuple[FloatArray, FloatArray]:
        """Least squares with V⁻¹ ∝ I - shrink · 11' in each person; also (X'V⁻¹X)⁻¹."""
        shrink = rho / (1.0 + (self.counts - 1.0) * rho)
        light = self.xs * shrink
        try:
            inverse = np.linalg.inv(self.xx - light @ self.xs.T)
        except np.linalg.LinAlgError:
            raise WrongInput("two columns of the model say the same; leave one out") from None
        right = self.xy - light @ self.ys
        return np.asarray(inverse @ right), np.asarray(inverse, dtype=np.float64)

    def correlation(self, coefficients: FloatArray, pairs: float) -> float:
        """Moment estimate of the common correlation of residuals within a person."""
        squares = self.yy - 2.0 * float(coefficients @ self.xy)
        squares += float(coefficients @ self.xx @ coefficients)
        sums = self.ys - coefficients @ self.xs
        scale = squares / (self.eyes - len(coefficients))
        # Round-off of large numbers must not make a scatter of a constant column.
        if scale <= 1e-24 * max(self.yy, 1e-300):
            return math.nan
        return (float(sums @ sums) - squares) / 2.0 / pairs / scale


def _scores(
    residuals: FloatArray, design: FloatArray, person: IntArray, sums: _Sums, rho: float
) -> FloatArray:
    """X'V⁻¹(y - Xb) of each person."""
    shrink = rho / (1.0 + (sums.counts - 1.0) * rho)
    total = np.bincount(person, residuals, len(sums.counts))
    scores = _sums(design * residuals[:, None], person, len(sums.counts))
    return np.asarray(scores - sums.xs * (shrink * total))


@dataclass(frozen=True, slots=True, eq=False)
class MixedFit:
    """A linear model with a random level for each person, by restricted likelihood.

    Parameters
    ----------
    coefficients, se : array, shape (k,)
    person_variance, eye_variance : float
        Between persons, and between the eyes of one person.
    log_likelihood : float
        Restricted.
    """

    coefficients: FloatArray
    se: FloatArray
    person_variance: float
    eye_variance: float
    log_likelihood: float

    @property
    def correlation(self) -> float:
        """Return the correlation between two eyes of one person, 0 to 1."""
        total = self.person_variance + self.eye_variance
        return self.person_variance / total if total > 0.0 else 0.0


def mixed_fit(y: FloatArray, design: FloatArray, person: IntArray) -> MixedFit:
    """How much do persons differ, how much the eyes of one, and what are the coefficients?

    Parameters
    ----------
    y, design, person
        As in `clustered_fit`.

    Notes
    -----
    Laird and Ware 1982, random intercept, restricted maximum likelihood; the two variances are
    found by one search over their ratio (own derivation from the Woodbury identity).

    Examples
    --------
    >>> fit = mixed_fit(np.array([1.0, 1.2, 0.4, 0.5, 0.9, 1.3, 1.1, 1.2]), np.ones((8, 1)),
    ...     np.array([0, 0, 1, 1, 2, 2, 3, 3]))
    >>> 0.0 < fit.correlation < 1.0
    True
    """
    from scipy.optimize import minimize_scalar  # noqa: PLC0415  scipy is loaded late

    y, design = np.asarray(y, dtype=np.float64), np.asarray(design, dtype=np.float64)
    _checked(y, design, person)
    sums, free = _Sums.of(y, design, person), len(y) - design.shape[1]
    counts = sums.counts

    def at(ratio: float) -> tuple[float, FloatArray, FloatArray, float]:
        """Minus twice the restricted likelihood; ratio = person variance / eye variance."""
        shrink = ratio / (1.0 + counts * ratio)
        bread = sums.xx - (sums.xs * shrink) @ sums.xs.T
        right = sums.xy - (sums.xs * shrink) @ sums.ys
        coefficients = np.asarray(np.linalg.solve(bread, right), dtype=np.float64)
        explained = float(shrink @ sums.ys**2) + float(right @ coefficients)
        scale = (sums.yy - explained) / free
        logs = float(np.log1p(counts * ratio).sum()) + float(np.linalg.slogdet(bread)[1])
        minus2 = free * (math.log(max(scale, 1e-300)) + 1.0 + math.log(2.0 * math.pi)) + logs
        covariance = np.asarray(np.linalg.inv(bread) * scale, dtype=np.float64)
        return minus2, coefficients, covariance, scale

    # The search runs over the correlation, which has ends; at 0 persons do not differ.
    found = minimize_scalar(
        lambda rho: at(rho / (1.0 - rho))[0],
        bounds=(0.0, 0.999999),
        method="bounded",
        options={"xatol": 1e-9},
    )
    rho = float(found.x) if float(found.fun) < at(0.0)[0] else 0.0
    minus2, coefficients, covariance, scale = at(rho / (1.0 - rho))
    variance = scale * rho / (1.0 - rho)
    return MixedFit(coefficients, np.sqrt(np.diag(covariance)), variance, scale, -0.5 * minus2)


def effective_eyes(eyes: int, persons: int, correlation: float) -> float:
    """How many separate eyes are these worth, where two of a person are alike?

    Examples
    --------
    >>> round(effective_eyes(200, 100, 0.5), 1)
    133.3
    """
    if not 0 < persons <= eyes:
        raise WrongInput(f"eyes must be at least as many as persons, got {eyes} and {persons}")
    return eyes / (1.0 + (eyes / persons - 1.0) * correlation)


def bootstrap_by_person(
    person: IntArray, rng: np.random.Generator, draws: int = 1000
) -> FloatArray:
    """How often does each eye stand in each resampled series, persons being drawn whole?

    Returns
    -------
    array of counts, shape (draws, eyes)

    Examples
    --------
    >>> weights = bootstrap_by_person(np.array([0, 0, 1]), np.random.default_rng(1), 5)
    >>> weights.shape, bool((weights[:, 0] == weights[:, 1]).all())
    ((5, 3), True)
    """
    persons = int(person.max()) + 1
    drawn = rng.multinomial(persons, np.full(persons, 1.0 / persons), size=draws)
    return np.asarray(drawn[:, person], dtype=np.float64)
