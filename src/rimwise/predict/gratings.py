"""How much contrast do gratings keep? The pupil against itself, shifted, by Gauss's nodes.

The transfer of a grating is the mean of exp(i phase difference) over the area that a pupil shares
with itself shifted by wavelength times frequency. The area is covered with Gauss's nodes; the
differences of the Zernike modes there depend on the pupil and the shift only, so that any number
of waves costs one matrix product and its sines. Own derivation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.optics.contrast import perfect_modulation
from rimwise.optics.zernike import number_of, order_of
from rimwise.predict.light import Light, daylight
from rimwise.predict.shared_area import (
    MODES,
    SAME,
    TURNS_SIGN,
    Float32Array,
    SharedArea,
    shared_area,
)
from rimwise.published.load import published_value
from rimwise.terms.arrays import FloatArray
from rimwise.terms.units import deg_from_rad

ComplexArray = NDArray[np.complex64]
FREQUENCIES_CPD = tuple(float(f) for f in range(5, 61, 5))
HIGHEST_CPD = 60.0
_FINE_NODES = 60
_DEFOCUS = np.eye(MODES)[4]
# So many phases are worked on at once: they stay in the caches.
_AT_ONCE = 100_000
_EASY_UM, _MOST_STEPS = 0.1, 12
# Colours of this share of the light get all their steps, those so many decades below it none.
_BRIGHT, _DECADES = 0.03, 2.5


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
        What lies between two of them must not come round again, in focus or sideways: measured
        so that no contrast is off by more than 0.001 with 20, up to 6 mm and 1.3 mm off.
    step_um : float
        Root mean square of a wave that asks for 8 more nodes along: see :meth:`steps`.
    """

    along: int = 16
    across: int = 24
    directions: int = 12
    colours: int = 20
    step_um: float = 0.25

    def finer(self, factor: int = 2) -> "Sampling":
        """Return a sampling so many times as fine in everything."""
        return Sampling(
            factor * self.along,
            factor * self.across,
            factor * self.directions,
            min(24, factor * self.colours),
            self.step_um,
        )

    def steps(
        self, rms_um: FloatArray, frequency_cpd: float, weight: float = 1.0
    ) -> NDArray[np.int64]:
        """Return how many steps of more nodes waves of these root mean squares need.

        A grating's phase difference grows with the wave and with the grating's frequency. Each
        ``step_um`` at 60 cycles per degree asks for 8 more nodes along and 12 across. Ends of the
        spectrum are furthest out of focus and hold least light, a thousandth and less of it: what
        is missed there counts by that ``weight``, so that they need fewer. Measured at twelve
        implants up to 0.9 mm and 8° off, pupils of 4 and 6 mm: no contrast is off by more than
        0.0005 where the third and higher orders stay below 0.6 µm, nor by more than 0.0013 up to
        0.75 µm.
        """
        share = min(1.0, max(0.0, 1.0 + math.log10(weight / _BRIGHT) / _DECADES))
        excess = np.maximum(0.0, rms_um * frequency_cpd / HIGHEST_CPD - _EASY_UM)
        return np.minimum(_MOST_STEPS, np.ceil(share * excess / self.step_um)).astype(np.int64)

    def area(self, shift: float, steps: int) -> SharedArea | None:
        """Return the nodes that cover a pupil and itself, shifted by so many radii."""
        return shared_area(shift, self.along + 8 * steps, self.across + 12 * steps)

    @property
    def light(self) -> Light:
        """The colours."""
        return daylight(self.colours)


USUAL = Sampling()
COARSE = Sampling(along=8, across=10, directions=6, colours=3)


@dataclass(frozen=True, slots=True)
class Gratings:
    """Gratings seen through one pupil.

    Parameters
    ----------
    pupil_mm : float
    frequencies_cpd : tuple of floats
    sampling : Sampling
    """

    pupil_mm: float
    frequencies_cpd: tuple[float, ...] = FREQUENCIES_CPD
    sampling: Sampling = USUAL

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

        Examples
        --------
        >>> green = Gratings(3.0, (30.0,), Sampling(colours=1))
        >>> plain = np.zeros((1, 45, 1))
        >>> round(float(abs(green.transfer(plain, np.zeros(1))[0, 0, 0])), 3)
        0.599
        """
        light, count = self.sampling.light, waves_um.shape[2]
        shape = (len(self.frequencies_cpd), len(directions_rad) * count)
        found = np.zeros(shape, dtype=np.complex64)
        for c, nm in enumerate(light.wavelengths_nm):
            same, turned = _phases(waves_um[c], nm, directions_rad)
            rms_um = _rms_um(waves_um[c])
            for f, cpd in enumerate(self.frequencies_cpd):
                shift = _shift(cpd, nm, self.pupil_mm)
                steps = self.sampling.steps(rms_um, cpd, light.weights[c])
                # Few waves are rough: each is covered as finely as it needs, not as the worst.
                for more in np.unique(steps).tolist():
                    half = self.sampling.area(shift, more)
                    if half is not None:
                        part = np.tile(steps == more, len(directions_rad))
                        wave = _mean_wave(half, same[:, part], turned[:, part])
                        found[f, part] += light.weights[c] * wave
        return found.reshape(shape[0], len(directions_rad), count)

    def perfect(self) -> FloatArray:
        """Return the contrast that a perfect wave keeps in this light, (frequencies,)."""
        light, found = self.sampling.light, np.zeros(len(self.frequencies_cpd))
        for nm, weight in zip(light.wavelengths_nm, light.weights, strict=True):
            found += weight * perfect_modulation(self.frequencies_cpd, self.pupil_mm, nm)
        return found

    def through_focus(
        self, waves_um: FloatArray, added_um: FloatArray, directions_rad: FloatArray
    ) -> FloatArray:
        """Which contrast do gratings get behind each of these spheres?

        Parameters
        ----------
        waves_um : array, shape (colours, modes)
            Of one wave.
        added_um : array, shape (k,)
            What each sphere adds to the coefficient of defocus.
        directions_rad : array, shape (d,)

        Returns
        -------
        array, shape (frequencies, d, k)

        Notes
        -----
        A sphere adds a phase that is the same along each line across the grating: lines are
        summed once, and all spheres cost one small product.
        """
        light = self.sampling.light
        shape = (len(self.frequencies_cpd), len(directions_rad), len(added_um))
        found = np.zeros(shape, dtype=np.complex128)
        for c, nm in enumerate(light.wavelengths_nm):
            same, turned = _phases(waves_um[c, :, None], nm, directions_rad)
            rms_um = _rms_um(waves_um[c, :, None] + _DEFOCUS[:, None] * added_um)
            for f, cpd in enumerate(self.frequencies_cpd):
                shift = _shift(cpd, nm, self.pupil_mm)
                steps = self.sampling.steps(rms_um, cpd, light.weights[c])
                half = self.sampling.area(shift, int(steps.max()))
                if half is None:
                    continue
                right, left = _lines(half, same, turned)
                slope = 4.0 * math.sqrt(3.0) * shift * half.x
                turn = np.exp(1j * np.outer(slope * 2e3 * math.pi / nm, added_um))
                found[f] += light.weights[c] * (right.T @ turn + left.T @ turn.conj())
        return np.abs(found)


def _shift(cpd: float, nm: float, pupil_mm: float) -> float:
    """Return by how many radii a grating shifts a pupil: cycles per radian times wavelength."""
    return 2.0 * deg_from_rad(cpd) * nm * 1e-6 / pupil_mm


def _rms_um(waves_um: FloatArray) -> FloatArray:
    """Return the root mean squares beyond tilt of waves of shape (modes, waves)."""
    return np.asarray(np.sqrt((waves_um[3:] ** 2).sum(axis=0)))


def _phases(
    waves_um: FloatArray, nm: float, directions_rad: FloatArray
) -> tuple[Float32Array, Float32Array]:
    """Return radians of the modes of both parities, each direction's grating turned to x."""
    turns = turning(tuple(directions_rad.tolist()))
    turned = turns @ (waves_um * (2e3 * math.pi / nm))
    flat = np.moveaxis(turned, 0, 1).reshape(MODES, -1).astype(np.float32)
    return flat[SAME], flat[TURNS_SIGN]


def _mean_wave(half: SharedArea, same: Float32Array, turned: Float32Array) -> ComplexArray:
    """Return the sum of exp(i phase) over both halves: 2 exp(i same) cos(turned) on the right."""
    found = np.empty(same.shape[1], dtype=np.complex64)
    step = max(1, _AT_ONCE // len(half.share))
    for first in range(0, len(found), step):
        part = slice(first, first + step)
        kept = np.cos(half.turned @ turned[:, part])
        phase = half.same @ same[:, part]
        found[part].real = 2.0 * (half.share @ (np.cos(phase) * kept))
        found[part].imag = 2.0 * (half.share @ (np.sin(phase) * kept))
    return found


def _lines(
    half: SharedArea, same: Float32Array, turned: Float32Array
) -> tuple[ComplexArray, ComplexArray]:
    """Return the sums of exp(i phase) over each line, (along, waves), right and left."""
    even, odd = half.same @ same, half.turned @ turned
    found = []
    for phase in (even + odd, even - odd):
        wave = half.share[:, None] * (np.cos(phase) + 1j * np.sin(phase))
        found.append(wave.reshape(len(half.x), -1, phase.shape[1]).sum(axis=1))
    return found[0], found[1]


@lru_cache(maxsize=16)
def turning(directions_rad: tuple[float, ...]) -> FloatArray:
    """Return the matrices that turn coefficients so that each direction comes to lie along x.

    Examples
    --------
    >>> turning((0.0,))[0, 5, 5].item()
    1.0
    """
    found = np.zeros((len(directions_rad), MODES, MODES))
    for j in range(MODES):
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


@lru_cache(maxsize=8)
def strehl_weights(frequencies_cpd: tuple[float, ...]) -> FloatArray:
    """How much does the transfer at 0 and at each of these frequencies count in the visual Strehl?

    Returns
    -------
    array, shape (1 + frequencies,)
        Between the frequencies stands a cubic spline. Through the twelve that are told and 1.5, 3
        and 7.5 cycles per degree it is within 0.003 of itself of the integral.

    Examples
    --------
    >>> weights = strehl_weights((5.0, 10.0, 20.0, 30.0, 45.0, 60.0))
    >>> len(weights), weights.argmax().item()
    (7, 3)
    """
    from scipy.interpolate import CubicSpline  # noqa: PLC0415  scipy is loaded late

    nodes, weights = strehl_nodes(_FINE_NODES)
    known = np.array([0.0, *frequencies_cpd])
    between = CubicSpline(known, np.eye(len(known)))(np.array(nodes))
    return np.asarray(np.array(weights) @ between)


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
