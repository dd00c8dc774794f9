"""What does the image of a point look like, by adding up the waves from all over the pupil?

A cross-check on the transforms that needs neither far field nor small angles: the field at an
image point is Σ w exp(2πi (path + n r) / λ) / r over points of a wavefront, r their distance
(Huygens). Whole waves are taken off the phase in double precision before sine and cosine:
17 mm are 41,000 waves.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rimwise.terms.arrays import FloatArray

ComplexArray = NDArray[np.complex128]
COMPILED_FROM = 20_000_000
CHUNK_TERMS = 1_000_000


@dataclass(frozen=True, slots=True)
class Emitters:
    """Points of a wave that send out light.

    Parameters
    ----------
    points_mm : array, shape (n, 3)
    path_mm : array, shape (n,)
        Optical path length up to there.
    weights : array, shape (n,)
        Amplitude times area.
    """

    points_mm: FloatArray
    path_mm: FloatArray
    weights: FloatArray


def direct_field(
    emitters: Emitters,
    image_mm: FloatArray,
    wavelength_nm: float,
    index: float = 1.0,
    engine: Literal["auto", "numpy", "compiled"] = "auto",
) -> ComplexArray:
    """What is the field at these points?

    Parameters
    ----------
    emitters : Emitters
    image_mm : array, shape (m, 3)
    wavelength_nm : float
        In vacuum.
    index : float
        Of the medium between.
    engine : "auto", "numpy" or "compiled"
        Both agree to some 1e-9 of the sum of the weights over distances.

    Returns
    -------
    array of complex, shape (m,)

    Examples
    --------
    >>> one = Emitters(np.zeros((1, 3)), np.zeros(1), np.ones(1))
    >>> abs(complex(direct_field(one, np.array([[0.0, 0.0, 2.0]]), 555.0)[0]))
    0.5
    """
    terms = len(image_mm) * len(emitters.path_mm)
    if engine == "compiled" or (engine == "auto" and terms >= COMPILED_FROM):
        try:
            from rimwise.optics import compiled_sum  # noqa: PLC0415 - half a second, where it pays
        except (ImportError, RuntimeError):  # not installed, or nowhere to keep its cache
            return _plain(emitters, image_mm, wavelength_nm, index)
        per_mm = 1e6 / wavelength_nm
        rows = (*emitters.points_mm.T, emitters.path_mm * per_mm, emitters.weights)
        field = compiled_sum.run(np.array(rows), image_mm, per_mm * index)
        return np.asarray(field[:, 0] + 1j * field[:, 1])
    return _plain(emitters, image_mm, wavelength_nm, index)


def _plain(
    emitters: Emitters, image_mm: FloatArray, wavelength_nm: float, index: float
) -> ComplexArray:
    per_mm = 1e6 / wavelength_nm
    field = np.empty(len(image_mm), dtype=np.complex128)
    share = max(1, CHUNK_TERMS // max(1, len(emitters.path_mm)))
    for first in range(0, len(image_mm), share):
        gap = image_mm[first : first + share, None, :] - emitters.points_mm[None]
        r = np.sqrt(np.einsum("ijk,ijk->ij", gap, gap))
        turns = (emitters.path_mm + index * r) * per_mm
        turns -= np.round(turns)
        waves = np.exp(2j * np.pi * turns) * (emitters.weights / r)
        field[first : first + share] = waves.sum(axis=1)
    return field
