"""How much contrast does a grating keep? Modulation transfer and the best focus by it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimwise.optics.point_spread import (
    PointSpread,
    Pupil,
    alternating,
    defocus_um,
    padded_intensity,
)
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.units import deg_from_rad, rad_from_deg


@dataclass(frozen=True, slots=True)
class Transfer:
    """The complex transfer of gratings; its size is the modulation transfer function.

    Parameters
    ----------
    half : array of complex, shape (m, m // 2 + 1)
        1 at frequency 0, which is first; rows along the frequency in y, columns along that in x
        from 0 on. An image is real: the other half is the complex conjugate of this one.
    step_cpd : float
        Cycles per degree between samples.
    """

    half: NDArray[np.complex128]
    step_cpd: float

    @property
    def values(self) -> NDArray[np.complex128]:
        """The transfer on the whole grid, (m, m), both frequencies ascending, 0 at m // 2."""
        return np.asarray(_whole(self.half, np.positive, np.conjugate))

    @property
    def modulation(self) -> FloatArray:
        """Contrast kept, 0 to 1, on the same grid."""
        return np.asarray(_whole(self.half, np.abs, np.positive))

    def at(self, frequency_cpd: ArrayLike, direction_rad: ArrayLike = 0.0) -> FloatArray:
        """Return the modulation at frequencies along a direction (linear between samples)."""
        f, d = np.broadcast_arrays(
            np.asarray(frequency_cpd, dtype=np.float64), np.asarray(direction_rad, dtype=np.float64)
        )
        u, v = f * np.cos(d) / self.step_cpd, f * np.sin(d) / self.step_cpd
        return _bilinear(self.half, np.abs(u), np.where(u < 0.0, -v, v))

    def mean_at(self, frequency_cpd: ArrayLike, directions: int = 36) -> FloatArray:
        """Return the modulation averaged over directions."""
        f = np.asarray(frequency_cpd, dtype=np.float64)
        turn = np.arange(directions) * math.pi / directions
        return np.asarray(self.at(f[..., None], turn).mean(axis=-1))


def _whole(half: NDArray[Any], told: np.ufunc, across: np.ufunc) -> NDArray[Any]:
    """Return the whole grid, 0 at m // 2, of what is told of the half, and of that across 0."""
    m = half.shape[0]
    middle, last = m // 2, (m + 1) // 2
    whole = np.empty((m, m), dtype=told(half[:1, :1]).dtype)
    right, left = whole[:, middle:], whole[:, :middle]
    told(half[:last, :last], out=right[middle:])
    told(half[last:, :last], out=right[:middle])
    # Column -u, row v is column u, row -v.
    even = 1 - m % 2
    across(right[: 0 if even else None : -1, :0:-1], out=left[even:, even:])
    if even:
        # The first row is its own opposite; the first column is the last of the half.
        across(right[0, :0:-1], out=left[0, 1:])
        rows = np.fft.fftshift(np.arange(m))
        left[:, 0] = across(told(half[-rows % m, middle]))
    return whole


def _bilinear(half: NDArray[np.complex128], u: FloatArray, v: FloatArray) -> FloatArray:
    """Return sizes between samples; 0 beyond the grid. u along columns, 0 or more; v along rows."""
    m = half.shape[0]
    c0, r0 = np.floor(u).astype(np.int64), np.floor(v).astype(np.int64)
    inside = (c0 < m // 2) & (r0 >= -(m // 2)) & (r0 < m // 2)
    c, r = np.where(inside, c0, 0), np.where(inside, r0, 0)
    a, b = u - c0, v - r0
    low = np.abs(half[r % m, c]) * (1.0 - a) + np.abs(half[r % m, c + 1]) * a
    high = np.abs(half[(r + 1) % m, c]) * (1.0 - a) + np.abs(half[(r + 1) % m, c + 1]) * a
    return np.where(inside, low * (1.0 - b) + high * b, 0.0)


def transfer_of_pupil(pupil: Pupil) -> Transfer:
    """Which contrast does a pupil pass (autocorrelation by FFT)?

    Examples
    --------
    >>> from rimwise.optics.point_spread import sample_pupil
    >>> from rimwise.optics.zernike import Wavefront
    >>> perfect = transfer_of_pupil(sample_pupil(Wavefront(np.zeros(6), 1.5), 128))
    >>> round(float(perfect.at(30.0)), 3)
    0.602
    """
    from scipy import fft  # noqa: PLC0415 - a tenth of a second, only where needed

    side = 2 * pupil.error_um.shape[0]
    transfer = fft.rfft2(padded_intensity(pupil.field(), side))
    # Rim cells meet themselves only without a shift, where their share would count squared.
    transfer /= pupil.energy * side * side
    transfer[0, 0] = 1.0
    per_rad = pupil.step_mm / (pupil.wavelength_nm * 1e-6)
    return Transfer(transfer, per_rad * rad_from_deg(1.0))


def transfer_of_image(image: PointSpread) -> Transfer:
    """Which contrast does a point spread pass? The window must hold all of its light.

    Examples
    --------
    >>> from rimwise.optics.point_spread import point_spread_fft, sample_pupil
    >>> from rimwise.optics.zernike import Wavefront
    >>> pupil = sample_pupil(Wavefront(np.zeros(6), 1.5), 128)
    >>> round(float(transfer_of_image(point_spread_fft(pupil, 2)).at(30.0)), 2)
    0.61
    """
    from scipy import fft  # noqa: PLC0415 - a tenth of a second, only where needed

    m = image.intensity.shape[0]
    if m % 2:
        transfer = fft.rfft2(fft.ifftshift(image.intensity))
        transfer /= transfer[0, 0].real
    else:
        transfer = fft.rfft2(image.intensity)
        # The image's middle is half a side off: every second frequency changes sign.
        sign = alternating(m)[: m // 2 + 1] / transfer[0, 0].real
        transfer[::2] *= sign
        transfer[1::2] *= -sign
    return Transfer(transfer, rad_from_deg(1.0) / (m * image.step_rad))


def perfect_modulation(
    frequency_cpd: ArrayLike, pupil_mm: float, wavelength_nm: float
) -> FloatArray:
    """Which contrast does a perfect round pupil pass?

    Parameters
    ----------
    frequency_cpd : array_like
        Cycles per degree.
    pupil_mm : float
        Diameter.
    wavelength_nm : float

    Notes
    -----
    2 / π (arccos s - s √(1 - s²)), s = frequency / cut-off (H. H. Hopkins, "The frequency
    response of a defocused optical system", Proc. R. Soc. A 231, 91, 1955, cited from memory).

    Examples
    --------
    >>> round(float(perfect_modulation(30.0, 3.0, 555.0)), 5)
    0.60205
    """
    s = np.asarray(frequency_cpd, dtype=np.float64) / cutoff_cpd(pupil_mm, wavelength_nm)
    s = np.clip(s, 0.0, 1.0)
    return np.asarray(2.0 / math.pi * (np.arccos(s) - s * np.sqrt(1.0 - s * s)))


def cutoff_cpd(pupil_mm: float, wavelength_nm: float) -> float:
    """Return the finest grating a pupil passes at all, cycles per degree."""
    return pupil_mm / (wavelength_nm * 1e-6) / deg_from_rad(1.0)


@dataclass(frozen=True, slots=True)
class BestFocus:
    """The spherical lens that gives the best contrast; ``contrast`` is what it gives."""

    lens_dpt: float
    contrast: float


def best_focus(
    pupil: Pupil,
    frequency_cpd: float = 10.0,
    range_dpt: tuple[float, float] = (-3.0, 3.0),
    judge: Callable[[Pupil], float] | None = None,
) -> BestFocus:
    """Which spherical lens gives the best contrast, seen over all directions?

    Parameters
    ----------
    pupil : Pupil
    frequency_cpd : float
        Grating that is judged.
    range_dpt : tuple of 2 floats
        Where to look; scanned in eighths of a dioptre, then refined by golden section.
    judge : callable, optional
        Judges a pupil instead of the grating's mean contrast.

    Raises
    ------
    WrongInput
        If the best lens lies at an end of the range.

    Examples
    --------
    >>> from rimwise.optics.point_spread import sample_pupil
    >>> from rimwise.optics.zernike import Wavefront
    >>> myopia = Wavefront(np.array([0.0, 0.0, 0.0, 0.0, 0.5]), 2.0)
    >>> round(best_focus(sample_pupil(myopia, 64)).lens_dpt, 2)
    -0.87
    """
    base = defocus_um(pupil, 1.0)

    def contrast(lens_dpt: float) -> float:
        behind = pupil.with_added(-lens_dpt * base)
        if judge is not None:
            return judge(behind)
        return float(transfer_of_pupil(behind).mean_at(frequency_cpd))

    count = max(3, round((range_dpt[1] - range_dpt[0]) * 8) + 1)
    powers = np.linspace(*range_dpt, count)
    k = int(np.argmax([contrast(float(p)) for p in powers]))
    if k in (0, count - 1):
        raise WrongInput(
            f"the best focus lies at {powers[k]:.2f} dpt, the end of the range {range_dpt}; "
            "give a wider range_dpt"
        )
    lens = _golden(contrast, float(powers[k - 1]), float(powers[k + 1]))
    return BestFocus(lens, contrast(lens))


def _golden(judge: Callable[[float], float], low: float, high: float) -> float:
    """Return where a function with one top between low and high is largest, to 1e-4."""
    ratio = 0.5 * (math.sqrt(5.0) - 1.0)
    left, right = high - ratio * (high - low), low + ratio * (high - low)
    at_left, at_right = judge(left), judge(right)
    while high - low > 1e-4:
        if at_left >= at_right:
            high, right, at_right = right, left, at_left
            left = high - ratio * (high - low)
            at_left = judge(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + ratio * (high - low)
            at_right = judge(right)
    return 0.5 * (low + high)
