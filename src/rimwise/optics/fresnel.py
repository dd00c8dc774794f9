"""How much light does a surface reflect and let through?

Fresnel's equations for two transparent media (M. Born, E. Wolf, Principles of Optics, 1.5.2,
cited from memory; the tests hold them against their own identities and a 40-digit evaluation).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimwise.terms.arrays import FloatArray

ComplexArray = NDArray[np.complex128]


class Amplitudes(NamedTuple):
    """Reflected and transmitted field over the incident one, across (s) and along (p)."""

    rs: ComplexArray
    rp: ComplexArray
    ts: ComplexArray
    tp: ComplexArray


class Shares(NamedTuple):
    """Reflected and transmitted energy over the incident one; each pair sums to 1."""

    reflected_s: FloatArray
    reflected_p: FloatArray
    transmitted_s: FloatArray
    transmitted_p: FloatArray

    @property
    def reflected(self) -> FloatArray:
        """Of unpolarised light."""
        return np.asarray(0.5 * (self.reflected_s + self.reflected_p))

    @property
    def transmitted(self) -> FloatArray:
        """Of unpolarised light."""
        return np.asarray(0.5 * (self.transmitted_s + self.transmitted_p))


def amplitudes(cosine: ArrayLike, before: ArrayLike, behind: ArrayLike) -> Amplitudes:
    """Which amplitudes are reflected and transmitted?

    Parameters
    ----------
    cosine : array_like
        |cos| of the angle of incidence, in [0, 1].
    before, behind : array_like
        Indices of the two media.

    Returns
    -------
    Amplitudes
        Complex where light is totally reflected (|r| = 1); rp is +rs · -1 at normal incidence
        (E along the plane of incidence keeps its sense seen along the ray).

    Examples
    --------
    >>> round(float(amplitudes(1.0, 1.0, 1.5).rs.real), 6)
    -0.2
    """
    ci = np.asarray(cosine, dtype=np.complex128)
    n, m = np.asarray(before, dtype=np.float64), np.asarray(behind, dtype=np.float64)
    ct = np.sqrt(1.0 - (n / m) ** 2 * (1.0 - ci * ci))
    # Behind a surface of total reflection the field must fade: the root in the upper half plane.
    ct = np.where(ct.imag < 0.0, -ct, ct)
    across, along = n * ci + m * ct, m * ci + n * ct
    return Amplitudes(
        (n * ci - m * ct) / across,
        (m * ci - n * ct) / along,
        2.0 * n * ci / across,
        2.0 * n * ci / along,
    )


def shares(cosine: ArrayLike, before: ArrayLike, behind: ArrayLike) -> Shares:
    """Which shares of the energy are reflected and transmitted?

    Examples
    --------
    >>> bare = shares(1.0, 1.0, 1.376)
    >>> round(float(bare.reflected), 6), round(float(bare.transmitted), 6)
    (0.025043, 0.974957)
    """
    a = amplitudes(cosine, before, behind)
    rs, rp = np.abs(a.rs) ** 2, np.abs(a.rp) ** 2
    return Shares(rs, rp, 1.0 - rs, 1.0 - rp)
