"""What does the image of a point look like? From a pupil, by Fourier transforms.

The field in the direction θ (the way light travels, as a slope in the medium of the pupil) is
U(θ) = Σ A exp(-2πi W / λ) exp(-2πi θ·x / λ): a wave that is ahead (W > 0) towards +x heads
towards -x. FFT ties the sampling to the padding; the matrix transform (R. Soummer et al., Opt.
Express 15, 15935, 2007, cited from memory) is free. The intensity is normalised so that a perfect
wave has 1 in the middle: the value there is the Strehl ratio.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rimwise.optics.zernike import Wavefront
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

ComplexArray = NDArray[np.complex128]
EDGE_SAMPLES = 16
_ROWS, _COLUMNS = 32, 32


@dataclass(frozen=True, slots=True)
class Pupil:
    """A sampled pupil on a square grid.

    Parameters
    ----------
    error_um : array, shape (n, n)
        Wavefront error, rows along y (ascending), columns along x; 0 where nothing passes.
    coverage : array, shape (n, n)
        Share of each cell that lies inside the pupil, 0 to 1.
    step_mm : float
        Width of a cell.
    wavelength_nm : float
        In vacuum; the pupil is taken in a medium of index 1.
    transmission : float or array, shape (n, n)
        Amplitude that passes, 0 to 1.

    Examples
    --------
    >>> Pupil(np.zeros((2, 2)), np.ones((2, 2)), 1.0, 555.0).energy
    4.0
    """

    error_um: FloatArray
    coverage: FloatArray
    step_mm: float
    wavelength_nm: float
    transmission: FloatArray | float = 1.0

    @property
    def amplitude(self) -> FloatArray:
        """Amplitude of each cell: what passes times the share that lies inside."""
        return np.asarray(self.coverage * self.transmission)

    @property
    def amplitudes(self) -> float:
        """Amplitude of all cells together: what a perfect wave brings to the image's middle."""
        passes = np.broadcast_to(self.transmission, self.coverage.shape)
        return float(np.einsum("ij,ij->", self.coverage, passes))

    @property
    def energy(self) -> float:
        """Energy that passes, in cells; at the rim a cell counts by its share, not squared."""
        return float(np.sum(self.coverage * self.transmission**2))

    @property
    def places_mm(self) -> FloatArray:
        """Centres of the cells along one side, mm."""
        n = self.error_um.shape[0]
        return np.asarray((np.arange(n) - 0.5 * (n - 1)) * self.step_mm)

    def field(self) -> ComplexArray:
        """Return the complex field over the pupil."""
        # Half the phase's tangent gives cosine and sine: one function in place of two slower ones,
        # as exact as they (1e-16 of 1). A few rows at a time stay in the cache.
        passes = np.broadcast_to(self.transmission, self.error_um.shape)
        field = np.empty(self.error_um.shape, dtype=np.complex128)
        for first in range(0, len(field), _ROWS):
            part = slice(first, first + _ROWS)
            half = np.tan(self.error_um[part] * (-1e3 * np.pi / self.wavelength_nm))
            square = half * half
            share = self.coverage[part] * passes[part] / (1.0 + square)
            np.multiply(share, 1.0 - square, out=field.real[part])
            np.multiply(share, 2.0 * half, out=field.imag[part])
        return field

    def with_added(self, error_um: FloatArray) -> "Pupil":
        """Return the pupil with more wavefront error."""
        return replace(self, error_um=self.error_um + error_um)


@dataclass(frozen=True, slots=True)
class PointSpread:
    """The image of a point.

    Parameters
    ----------
    intensity : array, shape (m, m)
        1 in the middle of a perfect image; rows along y (ascending), columns along x.
    step_rad : float
        Angle between samples.
    """

    intensity: FloatArray
    step_rad: float

    @property
    def angles_rad(self) -> FloatArray:
        """Angles of the samples along one side; 0 is at index m // 2."""
        m = self.intensity.shape[0]
        return np.asarray((np.arange(m) - m // 2) * self.step_rad)


def sample_pupil(wavefront: Wavefront, samples: int = 256, radius_mm: float | None = None) -> Pupil:
    """What is this wavefront on a grid over its pupil?

    Parameters
    ----------
    wavefront : Wavefront
    samples : int
        Cells across the pupil.
    radius_mm : float, optional
        A smaller pupil in the same place.

    Examples
    --------
    >>> perfect = sample_pupil(Wavefront(np.zeros(6), 1.5), 64)
    >>> round(float(perfect.coverage.sum()) * perfect.step_mm**2, 3)
    7.069
    """
    radius = wavefront.pupil_radius_mm if radius_mm is None else radius_mm
    if samples < 8 or not 0.0 < radius <= wavefront.pupil_radius_mm * (1.0 + 1e-9):
        raise WrongInput(
            f"a grid of {samples} cells over a radius of {radius} mm came for a pupil of "
            f"{wavefront.pupil_radius_mm} mm; at least 8 cells and a radius within it are needed"
        )
    step = 2.0 * radius / samples
    coverage = disc(samples)
    side = (np.arange(samples) - 0.5 * (samples - 1)) * step
    x, y = np.meshgrid(side, side)
    error = np.where(coverage > 0.0, wavefront.at_um(x, y), 0.0)
    return Pupil(error, coverage, step, wavefront.wavelength_nm)


def disc(samples: int) -> FloatArray:
    """Which share of each cell of a square grid lies inside the inscribed circle?

    Examples
    --------
    >>> round(float(disc(64).sum()) / 64**2, 4)
    0.7854
    """
    side = np.arange(samples) - 0.5 * (samples - 1)
    x, y = np.meshgrid(side, side)
    reach = np.hypot(x, y)
    share = (reach < 0.5 * samples).astype(np.float64)
    rim = np.abs(reach - 0.5 * samples) < 0.75
    fine = (np.arange(EDGE_SAMPLES) + 0.5) / EDGE_SAMPLES - 0.5
    fx, fy = np.meshgrid(fine, fine)
    inside = np.hypot(x[rim][:, None] + fx.ravel(), y[rim][:, None] + fy.ravel()) < 0.5 * samples
    share[rim] = inside.mean(axis=1)
    return np.asarray(share)


def point_spread_fft(pupil: Pupil, padding: int = 4) -> PointSpread:
    """What does the image look like, with the sampling that the padding gives?

    Parameters
    ----------
    pupil : Pupil
    padding : int
        Side of the transform over that of the pupil; 2 or more to sample the image fully.

    Returns
    -------
    PointSpread
        Steps of λ / (padding · width).
    """
    n = pupil.error_um.shape[0]
    side = n * padding
    field, scale = pupil.field(), 1.0 / pupil.amplitudes
    # A shift of the pupil is a phase in the image and leaves the intensity alone; signs in turn
    # on the pupil shift the image, which saves moving the large array.
    sign = alternating(n) if side % 2 == 0 else np.ones(n)
    field *= sign
    field *= scale * sign[:, None]
    intensity = padded_intensity(field, side)
    if side % 2:
        intensity = np.fft.fftshift(intensity)
    step = pupil.wavelength_nm * 1e-6 / (side * pupil.step_mm)
    return PointSpread(intensity, step)


def padded_intensity(field: NDArray[Any], side: int) -> NDArray[Any]:
    """What is the squared size of a field's transform, the field padded to this side?

    Parameters
    ----------
    field : array of complex, shape (n, n)
    side : int
        n or more.

    Returns
    -------
    array, shape (side, side)
        Frequency 0 first; in single precision where the field is.

    Examples
    --------
    >>> padded_intensity(np.ones((2, 2), dtype=complex), 4)[0].round(9).tolist()
    [16.0, 8.0, 0.0, 8.0]
    """
    from scipy import fft  # noqa: PLC0415 - a tenth of a second, only where needed

    rows = fft.fft(field, side, axis=1)
    size = np.empty((side, side), dtype=rows.real.dtype)
    # A few columns at a time stay in the cache, and the padded field is never held as a whole.
    for first in range(0, side, _COLUMNS):
        part = slice(first, first + _COLUMNS)
        image = fft.fft(rows[:, part], side, axis=0, overwrite_x=True)
        np.square(np.abs(image), out=size[:, part])
    return size


def alternating(n: int) -> FloatArray:
    """Return +1, -1, +1 ... (n,): before a transform of even length it shifts the result."""
    return np.asarray(1.0 - 2.0 * (np.arange(n) % 2))


def point_spread_window(pupil: Pupil, samples: int, step_rad: float) -> PointSpread:
    """What does a window of the image look like, at any sampling (matrix transform)?

    Examples
    --------
    >>> perfect = sample_pupil(Wavefront(np.zeros(6), 1.5), 64)
    >>> round(float(point_spread_window(perfect, 33, 1e-5).intensity[16, 16]), 12)
    1.0
    """
    angles = (np.arange(samples) - samples // 2) * step_rad
    turns = np.outer(angles, pupil.places_mm) / (pupil.wavelength_nm * 1e-6)
    kernel = np.exp(-2j * np.pi * turns)
    image = kernel @ pupil.field() @ kernel.T
    intensity = (image.real**2 + image.imag**2) / pupil.amplitudes**2
    return PointSpread(intensity, step_rad)


def polychromatic(
    pupils: Sequence[Pupil], weights: Sequence[float], samples: int, step_rad: float
) -> PointSpread:
    """What does a window of the image look like in light of several wavelengths?

    Parameters
    ----------
    pupils : sequence of Pupil
        One a wavelength, each with its own wavefront (dispersion included).
    weights : sequence of floats
        Energy of each wavelength as it counts for the eye; any scale, none negative.
    samples, step_rad : int, float
        The window.

    Returns
    -------
    PointSpread
        1 in the middle where all waves are perfect. A perfect wave's peak goes with 1 / λ² at
        equal energy, which the weights are multiplied with.
    """
    shares = np.asarray(weights, dtype=np.float64)
    if len(shares) != len(pupils) or not len(shares) or np.any(shares < 0.0) or shares.sum() <= 0:
        raise WrongInput(
            f"{len(shares)} weights came for {len(pupils)} wavelengths; one each, none negative "
            "and not all 0, are needed"
        )
    shares = shares / np.array([p.wavelength_nm for p in pupils]) ** 2
    shares = shares / shares.sum()
    total = np.zeros((samples, samples))
    for pupil, share in zip(pupils, shares, strict=True):
        total += share * point_spread_window(pupil, samples, step_rad).intensity
    return PointSpread(total, step_rad)


def strehl(pupil: Pupil) -> float:
    """How high is the image's middle against that of a perfect wave (0 to 1)?

    Examples
    --------
    >>> round(strehl(sample_pupil(Wavefront(np.eye(15)[12] * 0.02, 2.0), 128)), 4)
    0.9497
    """
    middle = abs(complex(pupil.field().sum())) / pupil.amplitudes
    return middle * middle


def defocus_um(pupil: Pupil, dpt: float) -> FloatArray:
    """Return the wavefront error of an eye that a lens of this power would correct.

    Examples
    --------
    >>> plain = Pupil(np.zeros((2, 2)), np.ones((2, 2)), 1.0, 555.0)
    >>> defocus_um(plain, 2.0).tolist()
    [[-0.5, -0.5], [-0.5, -0.5]]
    """
    side2 = pupil.places_mm**2
    return np.asarray(-0.5 * dpt * (side2[:, None] + side2[None, :]))


def through_focus(
    pupil: Pupil, lens_dpt: Sequence[float], judge: Callable[[Pupil], float]
) -> FloatArray:
    """How good is the image behind each of these spherical lenses, by a given judge?

    Parameters
    ----------
    pupil : Pupil
    lens_dpt : sequence of floats
        Power at the plane of the pupil.
    judge : callable
        Takes a pupil, returns a number (:func:`strehl`, or a contrast).
    """
    base = defocus_um(pupil, 1.0)
    return np.array([judge(pupil.with_added(-power * base)) for power in lens_dpt])
