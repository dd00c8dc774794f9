"""What does a profile do to the light of a place on the optic, averaged over a small cell?

The steps of a diffractive profile lie closer together towards the rim than the cells of a pupil.
A cell's light is therefore the mean of exp(2πi path / λ) over its width, the far focus levelled,
from a fine table along the radius: no step falls between two cells, and what a cell cannot hold
goes to wide angles.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.predict.profile import UM_PER_NM, far_order, path_um, period_mm2
from rimwise.records.implant_profile import ImplantProfile
from rimwise.terms.arrays import FloatArray

ComplexArray = NDArray[np.complex64]
# Fifty to a hundred places in the narrowest zone that an optic can have.
_STEP_MM = 5e-4
# No light of an eye's pupil passes farther off an optic's axis.
_REACH_MM = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Relief:
    """The light of every radius, as the mean over a cell.

    Parameters
    ----------
    light : array of complex64, shape (places,)
        From the optic's axis on, in steps of half a µm.
    """

    light: ComplexArray

    def at(self, radius_mm: FloatArray) -> ComplexArray:
        """Return what the profile makes of light at these radii."""
        k = (radius_mm * (1.0 / _STEP_MM) + 0.5).astype(np.int32)
        return np.asarray(self.light.take(k, mode="clip"))


@lru_cache(maxsize=64)
def relief_of(profile: ImplantProfile, wavelength_nm: float, kept: float, cell_mm: float) -> Relief:
    """What does the profile make of light of one colour?

    Parameters
    ----------
    profile : ImplantProfile
    wavelength_nm : float
    kept : float
        Share of the path that the relief keeps there (:func:`rimwise.predict.profile.relief_at`).
    cell_mm : float
        Width of a cell on the optic.

    Examples
    --------
    >>> plain = ImplantProfile("smooth", ((0.0, 0.0), (1.0, 0.0)))
    >>> relief_of(plain, 555.0, 1.0, 0.01).at(np.array([0.0, 2.5])).tolist()
    [(1+0j), (1+0j)]
    """
    if profile.kind == "smooth":
        cell_mm = _STEP_MM  # nothing steps
    half = 0.5 * cell_mm
    count = int((_REACH_MM + half) / _STEP_MM)
    # The middles of the steps between the table's places.
    middles = np.asarray((np.arange(count) + 0.5) * _STEP_MM, dtype=np.float64)
    light = np.exp(2j * np.pi * path_um(profile, middles, kept) / (wavelength_nm * UM_PER_NM))
    run = np.concatenate([[0.0], np.cumsum(light * _far(profile, middles)) * _STEP_MM])
    edge = np.arange(count + 1) * _STEP_MM
    place = np.asarray(edge[: int(_REACH_MM / _STEP_MM)], dtype=np.float64)
    low, high = place - half, place + half
    # A cell on the axis reaches over to the other side.
    at_low = np.where(low >= 0.0, 1.0, -1.0) * np.interp(np.abs(low), edge, run)
    mean = (np.interp(high, edge, run) - at_low) / cell_mm
    return Relief((mean * _far(profile, place).conj()).astype(np.complex64))


def _far(profile: ImplantProfile, radius_mm: FloatArray) -> NDArray[np.complex128]:
    """Return what levels the far focus, so that no mean over a cell takes light from it."""
    if profile.kind == "smooth":
        return np.ones(radius_mm.shape, dtype=np.complex128)
    waves = far_order(profile).number * math.copysign(1.0, profile.add_dpt or 1.0)
    return np.asarray(np.exp(2j * np.pi * waves * radius_mm**2 / period_mm2(profile)))
