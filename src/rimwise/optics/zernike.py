"""Wavefronts as Zernike coefficients in the order, norm and signs of ISO 24157 / ANSI Z80.28.

j = (n (n + 2) + m) / 2, norm √((2 - δ_m0) (n + 1)), cosine for m ≥ 0 and sine for m < 0
(convention 15; the standards' pages were not seen, the table of values in the tests was computed
and two libraries agree). The radial part is r^|m| times the Jacobi polynomial
P_k^(0,|m|)(2 r² - 1), k = (n - |m|) / 2, by its three-term recurrence; r^|m| cos mθ is the real
part of (x + iy)^|m|, so that no angle is needed.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

HIGHEST_ORDER = 30


@dataclass(frozen=True, slots=True)
class Wavefront:
    """A wavefront error over a circular pupil; positive where the wave is ahead.

    Parameters
    ----------
    coefficients_um : array, shape (j + 1,)
        Zernike coefficients from j = 0 on, µm.
    pupil_radius_mm : float
    plane : str
        Where the pupil lies ("entrance pupil", "exit pupil" ...).
    wavelength_nm : float
    """

    coefficients_um: FloatArray
    pupil_radius_mm: float
    plane: str = "entrance pupil"
    wavelength_nm: float = 555.0

    def __post_init__(self) -> None:
        if not self.pupil_radius_mm > 0.0:
            raise WrongInput(
                f"a wavefront with pupil_radius_mm = {self.pupil_radius_mm} came; "
                "a radius above 0 is needed"
            )

    @property
    def order(self) -> int:
        """Highest radial order n that the coefficients reach into."""
        return order_of(len(self.coefficients_um) - 1)[0]

    def coefficient_um(self, n: int, m: int) -> float:
        """Return the coefficient of one mode, µm; 0 for one beyond the last."""
        j = number_of(n, m)
        return float(self.coefficients_um[j]) if j < len(self.coefficients_um) else 0.0

    def at_um(self, x_mm: ArrayLike, y_mm: ArrayLike) -> FloatArray:
        """Return the error at places of the pupil, µm."""
        x = np.asarray(x_mm, dtype=np.float64) / self.pupil_radius_mm
        y = np.asarray(y_mm, dtype=np.float64) / self.pupil_radius_mm
        values: FloatArray = basis(self.order, x, y)[..., : len(self.coefficients_um)]
        return np.asarray(values @ self.coefficients_um)

    def rms_um(self, from_order: int = 2, to_order: int = HIGHEST_ORDER) -> float:
        """Return the root mean square of the modes of these radial orders, µm.

        Examples
        --------
        >>> Wavefront(np.array([9.0, 9.0, 9.0, 0.3, 0.0, 0.4]), 3.0).rms_um()
        0.5
        """
        orders = np.array([order_of(j)[0] for j in range(len(self.coefficients_um))])
        taken = self.coefficients_um[(orders >= from_order) & (orders <= to_order)]
        return float(math.sqrt(np.sum(taken * taken)))

    def without(self, *modes: tuple[int, int]) -> "Wavefront":
        """Return the wavefront with these modes (n, m) set to 0."""
        kept = self.coefficients_um.copy()
        for n, m in modes:
            if number_of(n, m) < len(kept):
                kept[number_of(n, m)] = 0.0
        return replace(self, coefficients_um=kept)


def number_of(n: int, m: int) -> int:
    """Which single index j has the mode (n, m)?

    Examples
    --------
    >>> number_of(2, -2), number_of(4, 0)
    (3, 12)
    """
    if n < 0 or abs(m) > n or (n - m) % 2:
        raise WrongInput(f"there is no Zernike mode n = {n}, m = {m}; |m| ≤ n and n - m even")
    return (n * (n + 2) + m) // 2


def order_of(j: int) -> tuple[int, int]:
    """Which (n, m) has the single index j?

    Examples
    --------
    >>> order_of(3), order_of(12)
    ((2, -2), (4, 0))
    """
    if j < 0:
        raise WrongInput(f"the Zernike index {j} came; 0 or more is allowed")
    n = (math.isqrt(8 * j + 1) - 1) // 2
    return n, 2 * j - n * (n + 2)


def mode_count(order: int) -> int:
    """How many modes are there up to and with this radial order?

    Examples
    --------
    >>> mode_count(8)
    45
    """
    return (order + 1) * (order + 2) // 2


def basis(order: int, x: ArrayLike, y: ArrayLike) -> FloatArray:
    """What are the values of all modes up to a radial order?

    Parameters
    ----------
    order : int
        0 to 30.
    x, y : array_like
        Places in units of the pupil radius.

    Returns
    -------
    array, shape (..., modes)
        Not cut off outside the unit circle.

    Examples
    --------
    >>> np.round(basis(2, 0.0, 0.5), 6).tolist()
    [1.0, 1.0, 0.0, 0.0, -0.866025, -0.612372]
    """
    if not 0 <= order <= HIGHEST_ORDER:
        raise WrongInput(f"the Zernike order {order} came; 0 to {HIGHEST_ORDER} is allowed")
    px, py = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    values = np.empty((*px.shape, mode_count(order)))
    spin, u = np.ones(px.shape, dtype=np.complex128), 2.0 * (px * px + py * py) - 1.0
    for m in range(order + 1):
        radial = _jacobi(m, (order - m) // 2, u)
        for k, part in enumerate(radial):
            n = m + 2 * k
            norm = math.sqrt((1.0 if m == 0 else 2.0) * (n + 1.0))
            values[..., number_of(n, m)] = norm * part * spin.real
            if m:
                values[..., number_of(n, -m)] = norm * part * spin.imag
        spin = spin * (px + 1j * py)
    return values


def _jacobi(beta: int, degree: int, u: FloatArray) -> list[FloatArray]:
    """Return P_k^(0, beta)(u) for k = 0 ... degree (three-term recurrence)."""
    found = [np.ones_like(u)]
    if degree:
        found.append(0.5 * ((2.0 + beta) * u - beta))
    for k in range(2, degree + 1):
        s = 2.0 * k + beta
        a = 2.0 * k * (k + beta) * (s - 2.0)
        b = (s - 1.0) * (s * (s - 2.0) * u - beta * beta)
        c = 2.0 * (k - 1.0) * (k + beta - 1.0) * s
        found.append((b * found[-1] - c * found[-2]) / a)
    return found


@dataclass(frozen=True, slots=True)
class ZernikeFit:
    """A fitted wavefront with what the fit left over.

    ``covariance_um2`` is that of the coefficients for independent errors of equal size;
    ``residual_rms_um`` is the root mean square of what was not described.
    """

    wavefront: Wavefront
    covariance_um2: FloatArray
    residual_rms_um: float


def fit_wavefront(
    places_mm: FloatArray,
    error_um: FloatArray,
    order: int,
    pupil_radius_mm: float,
    plane: str = "entrance pupil",
    wavelength_nm: float = 555.0,
) -> ZernikeFit:
    """Which Zernike coefficients describe these samples of a wavefront best (least squares)?

    Parameters
    ----------
    places_mm : array, shape (n, 2)
        In the pupil, from its centre.
    error_um : array, shape (n,)
        NaN samples are left out.
    order : int
        Highest radial order.
    pupil_radius_mm : float
        Samples outside are left out.

    Raises
    ------
    WrongInput
        If fewer samples than modes remain or they do not tell the modes apart.
    """
    inside = np.hypot(places_mm[:, 0], places_mm[:, 1]) <= pupil_radius_mm * (1.0 + 1e-9)
    use = inside & np.isfinite(error_um)
    design = basis(order, *(places_mm[use] / pupil_radius_mm).T)
    count, modes = design.shape
    found, _, rank, _ = np.linalg.lstsq(design, error_um[use], rcond=1e-10)
    if rank < modes:
        raise WrongInput(
            f"{count} samples of the wavefront came for {modes} Zernike modes and do not tell "
            "them apart; give more samples, spread over the pupil, or a lower order"
        )
    left = error_um[use] - design @ found
    freedom = max(count - modes, 1)
    covariance = np.linalg.inv(design.T @ design) * float(left @ left) / freedom
    best: FloatArray = np.asarray(found, dtype=np.float64)
    wavefront = Wavefront(best, pupil_radius_mm, plane, wavelength_nm)
    return ZernikeFit(wavefront, covariance, float(np.sqrt(np.mean(left * left))))
