"""How much contrast do gratings keep? The pupil against itself, shifted, by Gauss's nodes.

The transfer of a grating is the mean of exp(i phase difference) over the area that a pupil shares
with itself shifted by wavelength times frequency. The area is covered with Gauss's nodes; the
differences of the Zernike modes there depend on the pupil and the shift only, so that any number
of waves costs one matrix product and its sines. Own derivation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.optics.zernike import basis, mode_count, number_of, order_of
from rimwise.predict.light import Light, daylight
from rimwise.predict.sight import ORDER
from rimwise.published.load import published_value
from rimwise.terms.arrays import FloatArray
from rimwise.terms.units import deg_from_rad

ComplexArray = NDArray[np.complex64]
FREQUENCIES_CPD = tuple(float(f) for f in range(5, 61, 5))
HIGHEST_CPD = 60.0
_MODES = mode_count(ORDER)
# So many phases are worked on at once: they stay in the caches.
_AT_ONCE = 400_000
_EASY_UM, _MOST_STEPS = 0.3, 6


@dataclass(frozen=True, slots=True)
class Sampling:
    """How finely contrast is worked out.

    Parameters
    ----------
    along, across : int
        Gauss's nodes over half of the shared area, and across it; the latter even.
    directions : int
        Of gratings, over half a turn; even, so that the crossed meridian is among them.
    colours : int
    """

    along: int = 16
    across: int = 24
    directions: int = 12
    colours: int = 6

    def finer(self, factor: int = 2) -> "Sampling":
        """Return a sampling so many times as fine in everything."""
        return Sampling(
            factor * self.along,
            factor * self.across,
            factor * self.directions,
            min(24, factor * self.colours),
        )

    def for_pupil(self, pupil_mm: float) -> "Sampling":
        """Return a sampling with enough colours for this pupil.

        A colour's defocus grows with the square of the pupil, and what lies between two colours
        must not come round again: measured so that no contrast is off by more than 0.002.
        """
        return replace(self, colours=6 if pupil_mm <= 3.0 else 9 if pupil_mm <= 4.0 else 12)

    def for_waves(self, waves_um: FloatArray, highest_cpd: float = HIGHEST_CPD) -> "Sampling":
        """Return a sampling that is fine enough for these waves, shape (colours, modes, waves).

        A grating's phase difference grows with the wave and with the grating's frequency. Each
        0.5 µm of root mean square at 60 cycles per degree asks for 8 more nodes along; measured
        so that no contrast is off by more than 0.001.
        """
        rms = float(np.sqrt((waves_um[:, 3:] ** 2).sum(axis=1).max()))
        excess = max(0.0, rms * highest_cpd / HIGHEST_CPD - _EASY_UM)
        more = min(_MOST_STEPS, math.ceil(excess / 0.5))
        return replace(self, along=self.along + 8 * more, across=self.across + 12 * more)

    @property
    def light(self) -> Light:
        """The colours."""
        return daylight(self.colours)


USUAL = Sampling()
COARSE = Sampling(along=8, across=10, directions=6, colours=3)


@dataclass(frozen=True)
class Gratings:
    """Gratings seen through one pupil.

    Parameters
    ----------
    differences : array of float32, shape (colours, frequencies, nodes, modes)
        Differences of the modes between the two shifted pupils, for a grating along x.
    shares : array of float32, shape (colours, frequencies, nodes)
        Weights of the nodes, each row adding up to what a perfect pupil passes.
    light : Light
    """

    differences: NDArray[np.float32]
    shares: NDArray[np.float32]
    light: Light

    def transfer(self, waves_um: FloatArray, directions_rad: FloatArray) -> ComplexArray:
        """Which contrast and shift do gratings of these directions get?

        Parameters
        ----------
        waves_um : array, shape (colours, modes, waves)
            Zernike coefficients of each colour; any number of waves at once.
        directions_rad : array, shape (d,)
            Direction along which the grating varies.

        Returns
        -------
        array of complex, shape (frequencies, d, waves)
            Over all colours.
        """
        colours, frequencies, nodes, _ = self.differences.shape
        count, turns = waves_um.shape[2], _turns(tuple(directions_rad.tolist()))
        found = np.zeros((frequencies, len(directions_rad) * count), dtype=np.complex64)
        for c in range(colours):
            scale = 2e3 * math.pi / self.light.wavelengths_nm[c]
            turned = np.einsum("dij,jw->idw", turns, waves_um[c] * scale)
            flat = turned.reshape(_MODES, -1).astype(np.float32)
            step = max(1, _AT_ONCE // max(1, nodes))
            for first in range(0, flat.shape[1], step):
                part = slice(first, first + step)
                for f in range(frequencies):
                    phase = self.differences[c, f] @ flat[:, part]
                    share = self.shares[c, f] * np.float32(self.light.weights[c])
                    found[f, part] += share @ np.cos(phase) + 1j * (share @ np.sin(phase))
        return found.reshape(frequencies, len(directions_rad), count)


@lru_cache(maxsize=24)
def gratings(
    pupil_mm: float,
    frequencies_cpd: tuple[float, ...] = FREQUENCIES_CPD,
    sampling: Sampling = USUAL,
) -> Gratings:
    """Which gratings are these through a pupil of this diameter?

    Examples
    --------
    >>> green = gratings(3.0, (30.0,), Sampling(colours=1))
    >>> plain = np.zeros((1, _MODES, 1))
    >>> round(float(abs(green.transfer(plain, np.zeros(1))[0, 0, 0])), 3)
    0.599
    """
    light = sampling.light
    shape = (len(light.wavelengths_nm), len(frequencies_cpd))
    nodes = 2 * sampling.along * sampling.across
    differences = np.zeros((*shape, nodes, _MODES), dtype=np.float32)
    shares = np.zeros((*shape, nodes), dtype=np.float32)
    for c, nm in enumerate(light.wavelengths_nm):
        for f, cpd in enumerate(frequencies_cpd):
            # In pupil radii: cycles per radian times wavelength over radius.
            shift = 2.0 * deg_from_rad(cpd) * nm * 1e-6 / pupil_mm
            if shift < 2.0:
                x, y, weight = _shared_area(shift, sampling)
                ahead = basis(ORDER, x + 0.5 * shift, y)
                differences[c, f] = _mirrored(ahead - basis(ORDER, x - 0.5 * shift, y))
                shares[c, f] = np.tile(weight, 4)
    return Gratings(differences, shares, light)


def _shared_area(shift: float, sampling: Sampling) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return nodes over a quarter of the area that two unit discs share, and their weights.

    Weights are shares of a disc for one quarter; the area is symmetric in x and in y.
    """
    u, wu = np.polynomial.legendre.leggauss(sampling.along)
    v, wv = np.polynomial.legendre.leggauss(sampling.across)
    upper = v > 0.0
    q = 0.5 * (u + 1.0)
    reach = 1.0 - 0.5 * shift
    # The width falls as a square root towards the tip; in q it does so straight.
    t = reach * (1.0 - q * q)
    half = np.sqrt(np.maximum(0.0, 1.0 - (t + 0.5 * shift) ** 2))
    area = (wu * reach * q * half)[:, None] * wv[upper] / math.pi
    y = half[:, None] * v[upper]
    return np.broadcast_to(t[:, None], y.shape).ravel(), y.ravel(), area.ravel()


def _mirrored(differences: FloatArray) -> FloatArray:
    """Return differences over all four quarters from those over the first.

    Mirrored in x the two pupils change places, so that a mode's difference turns its sign but
    for the mode's own parity.
    """
    m = np.array([order_of(j)[1] for j in range(_MODES)])
    odd, sine = m % 2 == 1, m < 0
    in_x, in_y = np.where(odd ^ sine, 1.0, -1.0), np.where(sine, -1.0, 1.0)
    return np.concatenate(
        [differences, differences * in_x, differences * in_y, differences * (in_x * in_y)]
    )


@lru_cache(maxsize=16)
def _turns(directions_rad: tuple[float, ...]) -> FloatArray:
    """Return the matrices that turn coefficients so that each direction comes to lie along x."""
    found = np.zeros((len(directions_rad), _MODES, _MODES))
    for j in range(_MODES):
        n, m = order_of(j)
        for d, angle in enumerate(directions_rad):
            if m == 0:
                found[d, j, j] = 1.0
                continue
            other = number_of(n, -m)
            found[d, j, j] = math.cos(m * angle)
            found[d, j, other] = math.sin(abs(m) * angle) * (1.0 if m > 0 else -1.0)
    return found


def directions_from(first_rad: float, count: int) -> FloatArray:
    """Return directions over half a turn, the first one given; the crossed one is in the middle."""
    return np.asarray(first_rad + math.pi * np.arange(count) / count)


@lru_cache(maxsize=8)
def strehl_nodes(count: int = 14) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """At which frequencies is the weighted contrast taken, and with which weights?

    Returns
    -------
    tuple of floats, tuple of floats
        Gauss's nodes from 0 to 60 cycles per degree; weights are sensitivity times frequency.

    Examples
    --------
    >>> nodes, weights = strehl_nodes()
    >>> len(nodes), max(weights) > weights[-1]
    (14, True)
    """
    u, w = np.polynomial.legendre.leggauss(count)
    f = 0.5 * HIGHEST_CPD * (u + 1.0)
    return tuple(f.tolist()), tuple((w * f * contrast_sensitivity(f)).tolist())


def contrast_sensitivity(frequency_cpd: FloatArray | Sequence[float]) -> FloatArray:
    """How much does contrast of these frequencies count, in units of no meaning?

    Examples
    --------
    >>> at = contrast_sensitivity([1.0, 8.0, 30.0])
    >>> bool(at[1] > at[0] > at[2])
    True
    """
    f = np.asarray(frequency_cpd, dtype=np.float64)
    scale = published_value("light", "sensitivity_scale").value
    floor = published_value("light", "sensitivity_floor").value
    power = published_value("light", "sensitivity_power").value
    return np.asarray((floor + scale * f) * np.exp(-((scale * f) ** power)))
