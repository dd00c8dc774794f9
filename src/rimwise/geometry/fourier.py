"""A radius by direction as a short Fourier series, with its covariance."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.robust import inliers, robust_sd, tukey_weights
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

_ROUNDS = 12  # of reweighting; the weights are stable to 1e-3 after six to eight


def fourier_terms(angles_rad: FloatArray, order: int) -> FloatArray:
    """Which rows (1, cos θ, sin θ, cos 2θ, ...) belong to these angles?

    Returns
    -------
    array, shape (n, 2 order + 1)

    Examples
    --------
    >>> fourier_terms(np.array([0.0]), 2).tolist()
    [[1.0, 1.0, 0.0, 1.0, 0.0]]
    """
    unit = np.exp(1j * np.asarray(angles_rad, dtype=np.float64))[..., None]
    # Powers of one number take a fifth of the time of a sine and a cosine for each.
    waves = np.multiply.accumulate(np.broadcast_to(unit, (*unit.shape[:-1], order)), axis=-1)
    terms = np.ones((*unit.shape[:-1], 2 * order + 1))
    terms[..., 1::2], terms[..., 2::2] = waves.real, waves.imag
    return terms


@dataclass(frozen=True, slots=True, eq=False)
class FourierRadius:
    """r(θ) = c0 + Σ (a_k cos kθ + b_k sin kθ) about a chosen centre; any length unit.

    Parameters
    ----------
    coefficients : array, shape (2 order + 1,)
        (c0, a1, b1, a2, b2, ...).
    covariance : array, shape (2 order + 1, 2 order + 1)
    rms : float
        Root mean square residual of the used points.
    used : array of bool, shape (n,)
        Which of the fitted points were used.

    Examples
    --------
    >>> ring = FourierRadius(np.array([2.5, 0.1, 0.0]), np.diag([1e-4, 0.0, 0.0]), 0.0,
    ...                      np.ones(0, dtype=bool))
    >>> ring.radius(np.array([0.0, np.pi])).tolist(), ring.sd(np.array([0.0])).tolist()
    ([2.6, 2.4], [0.01])
    """

    coefficients: FloatArray
    covariance: FloatArray
    rms: float
    used: BoolArray

    @property
    def order(self) -> int:
        """Highest harmonic of the series."""
        return (len(self.coefficients) - 1) // 2

    def radius(self, angles_rad: FloatArray) -> FloatArray:
        """Which radius has the curve in these directions?"""
        return np.asarray(fourier_terms(angles_rad, self.order) @ self.coefficients)

    def slope(self, angles_rad: FloatArray) -> FloatArray:
        """How fast does the radius change with direction, per radian?"""
        harmonic = np.arange(1, self.order + 1)
        turned = np.zeros_like(self.coefficients)
        turned[1::2] = harmonic * self.coefficients[2::2]
        turned[2::2] = -harmonic * self.coefficients[1::2]
        return np.asarray(fourier_terms(angles_rad, self.order) @ turned)

    def sd(self, angles_rad: FloatArray) -> FloatArray:
        """What is the standard deviation of the radius in these directions?"""
        terms = fourier_terms(angles_rad, self.order)
        return np.asarray(np.sqrt(np.einsum("ni,ij,nj->n", terms, self.covariance, terms)))

    def covariance_between(self, angles_rad: FloatArray) -> FloatArray:
        """What is the covariance (n, n) of the radii in these directions?"""
        terms = fourier_terms(angles_rad, self.order)
        return np.asarray(terms @ self.covariance @ terms.T)

    @property
    def area(self) -> float:
        """Enclosed area ½∮r²dθ, exact for the series."""
        waves = self.coefficients[1:]
        return float(math.pi * (self.coefficients[0] ** 2 + 0.5 * waves @ waves))

    def points(
        self, angles_rad: FloatArray, centre: tuple[float, float] = (0.0, 0.0)
    ) -> FloatArray:
        """Which points (n, 2) has the curve about a centre in these directions?"""
        radius = self.radius(angles_rad)
        return np.stack(
            [centre[0] + radius * np.cos(angles_rad), centre[1] + radius * np.sin(angles_rad)],
            axis=-1,
        )


@dataclass(frozen=True, slots=True)
class FourierSettings:
    """How a Fourier radius is fitted.

    Parameters
    ----------
    robust : bool
        Leave out points that do not belong.
    prior_sd : tuple of float, optional
        One sd per harmonic 1..order (mean 0), in the unit of the radius: what is known of the
        waviness beforehand. It keeps the curve and its ± finite across a gap.
    sd : float, optional
        Known sd of a point of weight 1. Without it the scatter of the used points stands in.
    correlated_points : float
        Length, in points, over which errors of neighbours go together; the covariance grows by it.
    """

    robust: bool = True
    prior_sd: tuple[float, ...] | None = None
    sd: float | None = None
    correlated_points: float = 1.0


def fourier_radius(
    angles_rad: FloatArray,
    radii: FloatArray,
    order: int,
    weights: FloatArray | None = None,
    settings: FourierSettings | None = None,
) -> FourierRadius:
    """Which smooth closed curve r(θ) runs through these radii, and how well is it known?

    Parameters
    ----------
    angles_rad : array, shape (n,)
        Directions about the chosen centre; any turn, they need not be sorted or complete.
    radii : array, shape (n,)
        Radii, any length unit; NaN where nothing was seen (left out).
    order : int
        Highest harmonic, 0 or more.
    weights : array, shape (n,), optional
        Relative information of each point, 1/sd²; 0 leaves a point out.
    settings : FourierSettings, optional

    Raises
    ------
    WrongInput
        Shapes or values that cannot be used.
    MeasurementRefused
        Fewer points than the series needs, or a gap that leaves it undetermined without a prior
        (code "curve-undetermined").

    Notes
    -----
    Linear least squares reweighted with Tukey's biweight, then plain least squares on the points
    within 3.5 sd; with a prior the covariance is that of the normal posterior.

    Examples
    --------
    >>> theta = np.linspace(0.0, 6.0, 60)
    >>> found = fourier_radius(theta, 2.5 + 0.1 * np.cos(theta), 2)
    >>> (found.coefficients.round(9) + 0.0).tolist()
    [2.5, 0.1, 0.0, 0.0, 0.0]
    """
    rules = settings or FourierSettings()
    angles = np.asarray(angles_rad, dtype=np.float64)
    values = np.asarray(radii, dtype=np.float64)
    weight = np.ones_like(values) if weights is None else np.asarray(weights, dtype=np.float64)
    _check(angles, values, weight, order, rules)
    seen = np.isfinite(values) & np.isfinite(angles) & (weight > 0.0)
    if int(seen.sum()) < 2 * order + 2 and (rules.prior_sd is None or int(seen.sum()) < 3):
        raise MeasurementRefused(
            "curve-undetermined",
            f"a curve of order {order} needs at least {2 * order + 2} points, got {seen.sum()}",
        )
    root = np.sqrt(weight[seen])
    design = fourier_terms(angles[seen], order) * root[:, None]
    target = values[seen] * root
    chosen: BoolArray = np.ones(len(root), dtype=np.bool_)
    if rules.robust:
        chosen = _choose(design, target, rules)
    coefficients, covariance = _solve(design[chosen], target[chosen], rules)
    used = np.zeros(len(values), dtype=np.bool_)
    used[np.flatnonzero(seen)[chosen]] = True
    rest = values[used] - fourier_terms(angles[used], order) @ coefficients
    return FourierRadius(coefficients, covariance, float(np.sqrt(np.mean(rest**2))), used)


def _check(
    angles: FloatArray, values: FloatArray, weight: FloatArray, order: int, rules: FourierSettings
) -> None:
    if angles.ndim != 1 or angles.shape != values.shape or weight.shape != values.shape:
        raise WrongInput(
            f"angles, radii and weights must be rows of one length, got {angles.shape}, "
            f"{values.shape} and {weight.shape}"
        )
    if order < 0 or (rules.prior_sd is not None and len(rules.prior_sd) != order):
        raise WrongInput(f"order {order} must be 0 or more, with one prior sd per harmonic")


def _prior_information(size: int, rules: FourierSettings) -> FloatArray:
    information = np.zeros(size)
    if rules.prior_sd is not None:
        information[1:] = np.repeat(1.0 / np.square(np.asarray(rules.prior_sd)), 2)
    return np.diag(information)


def _solve(
    design: FloatArray, target: FloatArray, rules: FourierSettings
) -> tuple[FloatArray, FloatArray]:
    """Coefficients and their covariance from rows of equal noise."""
    size = design.shape[1]
    prior = _prior_information(size, rules)
    gram, pull = design.T @ design, design.T @ target
    if rules.prior_sd is None and not np.linalg.cond(gram) < 1e12:
        raise MeasurementRefused(
            "curve-undetermined",
            "the points leave a gap too wide for the curve; lower its order or give a prior",
        )
    length = max(rules.correlated_points, 1.0)
    least = 1e-22 * float(target @ target) / len(target)
    noise = max(float(np.var(target)), least) if rules.sd is None else rules.sd**2
    # With a prior the noise and the curve depend on each other; fixed-point rounds settle both.
    for _ in range(_ROUNDS if rules.sd is None else 0):
        covariance = np.linalg.inv(gram / noise + prior)
        rest = target - design @ (covariance @ (pull / noise))
        free = len(target) - float(np.trace(covariance @ gram)) / noise
        noise = max(float(rest @ rest) / max(free, 1.0), least)
    noise *= length
    covariance = np.linalg.inv(gram / noise + prior)
    return covariance @ (pull / noise), np.asarray(covariance, dtype=np.float64)


def _choose(design: FloatArray, target: FloatArray, rules: FourierSettings) -> BoolArray:
    """Which points belong to the curve: least absolute deviations, then the biweight."""
    prior = _prior_information(design.shape[1], rules)
    floor = 1e-11 * float(np.abs(target).max())
    weight, scale = np.ones(len(target)), max(float(np.std(target)), floor)
    for step in range(_ROUNDS):
        scaled = design * weight[:, None]
        # The pseudo-inverse lets a round pass in which the weights leave too few points.
        normal = scaled.T @ design / scale**2 + prior
        rest = target - design @ (np.linalg.pinv(normal) @ (scaled.T @ target) / scale**2)
        scale = robust_sd(rest, floor)
        if step < _ROUNDS // 2:
            weight = scale / np.maximum(np.abs(rest), 0.1 * scale)
        else:
            weight = tukey_weights(rest, scale)
    return inliers(rest, scale)
