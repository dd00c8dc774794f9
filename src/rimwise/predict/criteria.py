"""How good is a wave, by the criteria that surgeons and patients know?

A view is all colours of one wave through one pupil. Lenses are added in the plane of the entrance
pupil; what is reported of them is moved to the spectacle plane, 12 mm before the cornea.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector, least_squares_refraction, paraxial_refraction
from rimwise.optics.zernike import Wavefront
from rimwise.predict.carry import carrying, chebyshev
from rimwise.predict.gratings import (
    FREQUENCIES_CPD,
    USUAL,
    Gratings,
    Sampling,
    directions_from,
    strehl_nodes,
    strehl_weights,
)
from rimwise.predict.light import MIDDLE_NM
from rimwise.predict.sight import line_of_sight, placed_waves
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

VERTEX_MM = 12.0
FOCUS_CPD = 10.0
_SCAN_DPT, _SCAN_STEPS = 2.0, 33
_TRACED = 7
# Told frequencies, and those between that the visual Strehl ratio needs.
KNOWN_CPD = (1.5, 3.0, 5.0, 7.5, *FREQUENCIES_CPD[1:])
TOLD = [KNOWN_CPD.index(f) for f in FREQUENCIES_CPD]
_MODES_2 = {"m": 4, "j0": 5, "j45": 3}


@dataclass(frozen=True, slots=True)
class View:
    """Every colour of the wave that leaves an eye through one pupil.

    Parameters
    ----------
    green : Wavefront
        Of 555 nm.
    colours_um : array, shape (colours, 45)
        Zernike coefficients of each colour of the sampling, the tilt of 555 nm taken off.
    pupil_depth_mm : float
        Entrance pupil behind the corneal vertex.
    sampling : Sampling
    """

    green: Wavefront
    colours_um: FloatArray
    pupil_depth_mm: float
    sampling: Sampling = USUAL

    @property
    def pupil_mm(self) -> float:
        """Diameter of the entrance pupil."""
        return 2.0 * self.green.pupil_radius_mm

    @property
    def vertex_mm(self) -> float:
        """From the entrance pupil to the spectacle plane."""
        return VERTEX_MM + self.pupil_depth_mm

    def behind(self, lens: PowerVector) -> FloatArray:
        """Return the colours behind a lens in the pupil's plane, (colours, 45, 1)."""
        return (self.colours_um + lens_wave_um(lens, self.pupil_mm))[:, :, None]


def view_of(model: EyeModel, fovea_mm: Vec3, pupil_mm: float, sampling: Sampling = USUAL) -> View:
    """What does this eye send out through this pupil, in all colours?

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1999"))
    >>> view = view_of(eye, (0.0, 0.0, -eye.retina_depth_mm), 3.0)
    >>> view.colours_um.shape
    (20, 45)
    """
    sight = line_of_sight(model, fovea_mm)
    traced, carry = _traced_colours(sampling.light.wavelengths_nm)
    green, *rest = placed_waves(model, fovea_mm, pupil_mm, (MIDDLE_NM, *traced), sight)
    colours = carry @ np.array([wave.coefficients_um for wave in rest])
    colours[:, 1:3] -= green.coefficients_um[1:3]
    return View(green, colours, sight.pupil_depth_mm, sampling)


@lru_cache(maxsize=16)
def _traced_colours(wavelengths_nm: tuple[float, ...]) -> tuple[tuple[float, ...], FloatArray]:
    """Return which few wavelengths to trace, and what carries their waves to the asked ones.

    Waves change smoothly with 1 / wavelength: seven are within 1e-5 µm of tracing every one.
    """
    if len(wavelengths_nm) <= _TRACED:
        return wavelengths_nm, np.eye(len(wavelengths_nm))
    asked = 1.0 / np.array(wavelengths_nm)
    middle, half = 0.5 * (asked.max() + asked.min()), 0.5 * (asked.max() - asked.min())
    nodes = middle + half * chebyshev(_TRACED)
    return tuple((1.0 / nodes).tolist()), carrying(1e3 * nodes, 1e3 * asked)


def lens_wave_um(lens: PowerVector, pupil_mm: float) -> FloatArray:
    """Which coefficients does a lens in the pupil's plane add, (45,)?

    Examples
    --------
    >>> round(float(lens_wave_um(PowerVector(1.0, 0.0, 0.0), 6.0)[4]), 4)
    1.299
    """
    a2, added = 0.25 * pupil_mm**2, np.zeros(45)
    added[_MODES_2["m"]] = lens.m_dpt * a2 / (4.0 * math.sqrt(3.0))
    added[_MODES_2["j0"]] = lens.j0_dpt * a2 / (2.0 * math.sqrt(6.0))
    added[_MODES_2["j45"]] = lens.j45_dpt * a2 / (2.0 * math.sqrt(6.0))
    return added


@dataclass(frozen=True, slots=True)
class Contrast:
    """Contrast of gratings for any number of waves.

    Parameters
    ----------
    tangential, sagittal, mean : array, shape (frequencies, waves)
    """

    tangential: FloatArray
    sagittal: FloatArray
    mean: FloatArray


def contrast(
    waves_um: FloatArray,
    pupil_mm: float,
    sampling: Sampling = USUAL,
    meridian_rad: float = 0.0,
    frequencies_cpd: tuple[float, ...] = FREQUENCIES_CPD,
) -> Contrast:
    """How much contrast do gratings keep, in light of all colours?

    Parameters
    ----------
    waves_um : array, shape (colours, 45, waves)
    pupil_mm : float
    sampling : Sampling
    meridian_rad : float
        Tangential gratings vary along it.
    frequencies_cpd : tuple of floats

    Examples
    --------
    >>> perfect = contrast(np.zeros((20, 45, 1)), 3.0, frequencies_cpd=(30.0,))
    >>> round(float(perfect.mean[0, 0]), 2)
    0.6
    """
    turns = directions_from(meridian_rad, sampling.directions)
    return contrast_of(Gratings(pupil_mm, frequencies_cpd, sampling).transfer(waves_um, turns))


def contrast_of(transfer: NDArray[np.complex64]) -> Contrast:
    """Return the contrast along the first direction, across it, and over all.

    ``transfer`` (frequencies, directions, waves); the crossed direction stands in the middle.
    """
    kept = np.abs(transfer)
    return Contrast(
        kept[:, 0].astype(np.float64),
        kept[:, kept.shape[1] // 2].astype(np.float64),
        kept.mean(axis=1, dtype=np.float64),
    )


def strehl_of(
    transfer: NDArray[np.complex64], frequencies_cpd: tuple[float, ...], perfect: FloatArray
) -> FloatArray:
    """Return the visual Strehl ratio, (waves,), of a transfer known at these frequencies.

    ``perfect`` (frequencies,) is the contrast of a perfect pupil in the same light.
    """
    at_0, *rest = strehl_weights(frequencies_cpd)
    kept = transfer.real.mean(axis=1, dtype=np.float64)
    share = np.array(rest)
    return np.asarray((at_0 + share @ kept) / (at_0 + share @ perfect))


def judged(
    waves_um: FloatArray,
    pupil_mm: float,
    sampling: Sampling = USUAL,
    meridian_rad: float = 0.0,
    frequencies_cpd: tuple[float, ...] = KNOWN_CPD,
) -> tuple[Contrast, FloatArray]:
    """How good are images of gratings, each and all together, from one and the same transfer?

    Parameters
    ----------
    waves_um, pupil_mm, sampling, meridian_rad
        As for :func:`contrast`.
    frequencies_cpd : tuple of floats
        All that are told and those that the visual Strehl needs between.

    Returns
    -------
    Contrast, array of shape (waves,)
        At all these frequencies; and the visual Strehl ratio, as :func:`visual_strehl` has it.

    Examples
    --------
    >>> contrasts, ratio = judged(np.zeros((20, 45, 1)), 3.0)
    >>> contrasts.mean.shape, ratio.round(6).tolist()
    ((15, 1), [1.0])
    """
    turns = directions_from(meridian_rad, sampling.directions)
    seen = Gratings(pupil_mm, frequencies_cpd, sampling)
    found = seen.transfer(waves_um, turns)
    return contrast_of(found), strehl_of(found, frequencies_cpd, seen.perfect())


def visual_strehl(
    waves_um: FloatArray, pupil_mm: float, sampling: Sampling = USUAL, frequencies: int = 14
) -> FloatArray:
    """How good are images of all gratings together, weighted with a contrast sensitivity?

    Returns
    -------
    array, shape (waves,)
        The real part of the transfer against that of a perfect pupil in the same light; 1 for a
        perfect eye (the weighted ratio is that of L. N. Thibos, X. Hong, A. Bradley & R. A.
        Applegate, J. Vis. 4, 329, 2004, cited from memory; the weighting is in light.toml).

    Examples
    --------
    >>> visual_strehl(np.zeros((20, 45, 1)), 3.0).round(6).tolist()
    [1.0]
    """
    nodes, weights = strehl_nodes(frequencies)
    turns = directions_from(0.0, sampling.directions)
    seen = Gratings(pupil_mm, nodes, sampling)
    kept = seen.transfer(waves_um, turns).real.mean(axis=1)
    share = np.array(weights)
    return np.asarray(share @ kept / (share @ seen.perfect()), dtype=np.float64)


def through_focus(
    view: View, lens: PowerVector, added_dpt: FloatArray, frequency_cpd: float
) -> FloatArray:
    """How much contrast does a grating keep behind further spherical lenses?

    Parameters
    ----------
    view : View
    lens : PowerVector
        Glasses worn, in the pupil's plane.
    added_dpt : array, shape (k,)
    frequency_cpd : float

    Returns
    -------
    array, shape (k,)
        Mean over all directions.
    """
    one = float(lens_wave_um(PowerVector(1.0, 0.0, 0.0), view.pupil_mm)[_MODES_2["m"]])
    turns = directions_from(0.0, view.sampling.directions)
    seen = Gratings(view.pupil_mm, (frequency_cpd,), view.sampling)
    kept = seen.through_focus(view.behind(lens)[:, :, 0], one * np.asarray(added_dpt), turns)
    return np.asarray(kept[0].mean(axis=0), dtype=np.float64)


def best_sphere_dpt(view: View, cylinder: PowerVector, frequency_cpd: float = FOCUS_CPD) -> float:
    """Which sphere, beside this cylinder, gives a grating the most contrast?

    Parameters
    ----------
    view : View
    cylinder : PowerVector
        Its J0 and J45 are worn.
    frequency_cpd : float

    Returns
    -------
    float
        Mean power in the pupil's plane.

    Raises
    ------
    WrongInput
        If the best lens lies more than 2 dpt from both the least-squares and the paraxial one.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = schematic_model(schematic_eye("navarro1999"))
    >>> view = view_of(eye, (0.0, 0.0, -eye.retina_depth_mm), 3.0, COARSE)
    >>> abs(best_sphere_dpt(view, PowerVector(0.0, 0.0, 0.0))) < 0.5
    True
    """
    worn = PowerVector(0.0, cylinder.j0_dpt, cylinder.j45_dpt)
    top, inside = best_of(
        lambda powers: through_focus(view, worn, powers, frequency_cpd),
        spheres_about(view, _SCAN_DPT),
    )
    if not inside:
        raise WrongInput(
            f"the best focus of this eye lies beyond {top:.2f} dpt; check its biometry"
        )
    return top


def spheres_about(view: View, reach_dpt: float) -> FloatArray:
    """Return spheres to scan, so far about the least-squares and the paraxial one."""
    middles = [least_squares_refraction(view.green).m_dpt, paraxial_refraction(view.green).m_dpt]
    return np.linspace(min(middles) - reach_dpt, max(middles) + reach_dpt, _SCAN_STEPS)


def best_of(
    kept_behind: Callable[[FloatArray], FloatArray], powers_dpt: FloatArray
) -> tuple[float, bool]:
    """Return the sphere of most contrast, and whether it lies within those first asked for."""
    powers, inside = powers_dpt, True
    for turn in range(3):
        kept = kept_behind(powers)
        k = int(np.argmax(kept))
        if turn == 0:
            inside = 0 < k < len(powers) - 1
        k = min(max(k, 1), len(powers) - 2)
        step = powers[1] - powers[0]
        a, b, c = kept[k - 1 : k + 2]
        bend = a - 2.0 * b + c
        top = powers[k] + (0.5 * step * (a - c) / bend if bend < 0.0 else 0.0)
        powers = np.linspace(top - step, top + step, 9)
    return float(top), inside


def three_refractions(view: View) -> tuple[PowerVector, PowerVector, PowerVector]:
    """Which lens suits this eye: near the axis, by least squares, by contrast?

    Returns
    -------
    tuple of 3 PowerVector
        In the pupil's plane. The third has the cylinder of least squares and the sphere that
        gives gratings of 10 cycles per degree the most contrast.
    """
    squares = least_squares_refraction(view.green)
    sphere = best_sphere_dpt(view, squares)
    best = PowerVector(sphere, squares.j0_dpt, squares.j45_dpt)
    return paraxial_refraction(view.green), squares, best
