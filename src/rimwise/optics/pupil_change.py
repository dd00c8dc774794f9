"""What is the same wavefront over another pupil: smaller, shifted, turned?

Exact: a Zernike expansion up to order n is a polynomial in w = x + iy and its conjugate;
w → δ + κ w maps polynomials of order n onto themselves, and the map is a matrix product of
binomials. Own derivation; the tests hold the closed forms of a shifted Z(4, 0).
"""

import cmath
import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.optics.zernike import Wavefront, mode_count, order_of
from rimwise.terms.errors import WrongInput

ComplexArray = NDArray[np.complex128]


def change_pupil(
    wavefront: Wavefront,
    radius_mm: float,
    centre_mm: tuple[float, float] = (0.0, 0.0),
    turn_rad: float = 0.0,
) -> Wavefront:
    """What is the wavefront over another circle of the same plane?

    Parameters
    ----------
    wavefront : Wavefront
    radius_mm : float
        Of the new pupil. A pupil that reaches beyond the old one extrapolates and is refused.
    centre_mm : tuple of 2 floats
        Centre of the new pupil in the old one's coordinates.
    turn_rad : float
        Direction of the new x axis in the old coordinates, counter-clockwise.

    Returns
    -------
    Wavefront
        Coefficients of the same order; exact.

    Examples
    --------
    >>> ball = Wavefront(np.eye(15)[12] * 0.2, 3.0)
    >>> part = change_pupil(ball, 2.0, (0.5, 0.0))
    >>> round(part.coefficient_um(3, 1), 6), round(part.coefficient_um(4, 0), 6)
    (0.062465, 0.039506)
    """
    reach = math.hypot(*centre_mm) + radius_mm
    if radius_mm <= 0.0 or reach > wavefront.pupil_radius_mm * (1.0 + 1e-9):
        raise WrongInput(
            f"a new pupil of radius {radius_mm} mm at {centre_mm} mm came for a wavefront known "
            f"over {wavefront.pupil_radius_mm} mm; it must lie within"
        )
    return continue_pupil(wavefront, radius_mm, centre_mm, turn_rad)


def continue_pupil(
    wavefront: Wavefront,
    radius_mm: float,
    centre_mm: tuple[float, float] = (0.0, 0.0),
    turn_rad: float = 0.0,
) -> Wavefront:
    """Do the same without the refusal, where a polynomial beyond its pupil is really wanted."""
    order = wavefront.order
    full = np.zeros(mode_count(order))
    full[: len(wavefront.coefficients_um)] = wavefront.coefficients_um
    old = wavefront.pupil_radius_mm
    delta = complex(*centre_mm) / old
    kappa = radius_mm / old * cmath.exp(1j * turn_rad)
    to_powers = _power_matrix(order)
    powers = (to_powers @ full).reshape(order + 1, order + 1)
    step = _binomial(order, delta, kappa)
    moved = step.T @ powers @ step.conj()
    solved = np.linalg.lstsq(to_powers, moved.ravel(), rcond=None)[0]
    real = np.asarray(solved.real, dtype=np.float64)
    return replace(wavefront, coefficients_um=real, pupil_radius_mm=radius_mm)


def powers_of(wavefront: Wavefront) -> ComplexArray:
    """Return the factors of w^p · conj(w)^q, w = (x + iy) / radius, shape (order + 1, order + 1).

    The factor of w · conj(w) and of w² are what the paraxial refraction needs.
    """
    order = wavefront.order
    full = np.zeros(mode_count(order))
    full[: len(wavefront.coefficients_um)] = wavefront.coefficients_um
    to_powers = _power_matrix(order)
    return np.asarray((to_powers @ full).reshape(order + 1, order + 1))


@lru_cache(maxsize=32)
def _power_matrix(order: int) -> ComplexArray:
    """Return the matrix from Zernike coefficients to factors of w^p conj(w)^q."""
    size = order + 1
    matrix = np.zeros((size, size, mode_count(order)), dtype=np.complex128)
    for j in range(mode_count(order)):
        n, signed = order_of(j)
        m = abs(signed)
        norm = math.sqrt((1.0 if m == 0 else 2.0) * (n + 1.0))
        for s in range((n - m) // 2 + 1):
            p, q = (n - 2 * s + m) // 2, (n - 2 * s - m) // 2
            factor = norm * _radial_factor(n, m, s)
            # cos = (e + conj e) / 2, sin = (e - conj e) / 2i
            matrix[p, q, j] += factor * (0.5 if signed >= 0 else -0.5j)
            matrix[q, p, j] += factor * (0.5 if signed >= 0 else 0.5j)
    return matrix.reshape(size * size, -1)


def _radial_factor(n: int, m: int, s: int) -> float:
    """Return the factor of r^(n - 2s) in the radial polynomial (exact integers)."""
    below = math.factorial(s) * math.factorial((n + m) // 2 - s) * math.factorial((n - m) // 2 - s)
    return float((-1) ** s * (math.factorial(n - s) // below))


def _binomial(order: int, delta: complex, kappa: complex) -> ComplexArray:
    """Return B with (δ + κ w)^p = Σ B[p, r] w^r."""
    size = order + 1
    found = np.zeros((size, size), dtype=np.complex128)
    for p in range(size):
        for r in range(p + 1):
            found[p, r] = math.comb(p, r) * delta ** (p - r) * kappa**r
    return found
