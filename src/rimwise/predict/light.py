"""Which light does an eye see by day, and how do its media bend each part of it?"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from rimwise.eye.model import EyeModel, Part
from rimwise.optics.media import Gradient
from rimwise.published.load import published_value
from rimwise.terms.errors import WrongInput

MIDDLE_NM = 555.0
_TABLE_NM = range(400, 701, 10)
_F_NM, _D_NM, _C_NM = 486.13, 587.56, 656.27
_MEDIA = {"cornea front": "cornea", "cornea back": "aqueous", "lens back": "vitreous"}


@dataclass(frozen=True, slots=True)
class Light:
    """Wavelengths and how much each counts; the weights add up to 1.

    Parameters
    ----------
    wavelengths_nm, weights : tuple of floats
    """

    wavelengths_nm: tuple[float, ...]
    weights: tuple[float, ...]


GREEN = Light((MIDDLE_NM,), (1.0,))


@lru_cache(maxsize=8)
def daylight(count: int = 6) -> Light:
    """Which few wavelengths stand best for light of equal energy, seen by a light-adapted eye?

    Parameters
    ----------
    count : int
        1 to 24 wavelengths.

    Returns
    -------
    Light
        Gauss's nodes for the photopic weighting: sums over them are exact for whatever changes
        with wavelength as a polynomial of degree 2 count - 1.

    Notes
    -----
    Nodes are the eigenvalues of the symmetric tridiagonal matrix of the weighting's orthogonal
    polynomials (G. H. Golub & J. H. Welsch, Math. Comp. 23, 221, 1969, cited from memory), found
    by Lanczos' process on the tabulated weighting.

    Examples
    --------
    >>> light = daylight(3)
    >>> [round(nm) for nm in light.wavelengths_nm], round(sum(light.weights), 12)
    ([486, 558, 631], 1.0)
    """
    if not 1 <= count <= 24:
        raise WrongInput(f"{count} wavelengths were asked for; 1 to 24 are allowed")
    nodes = np.array(_TABLE_NM, dtype=np.float64)
    share = np.array([published_value("light", f"photopic_{nm}").value for nm in _TABLE_NM])
    share = share / share.sum()
    # Scaled to about -1 ... 1 so that the process keeps its digits.
    middle, half = 0.5 * (nodes[0] + nodes[-1]), 0.5 * (nodes[-1] - nodes[0])
    values = (nodes - middle) / half
    basis = np.empty((count, len(nodes)))
    basis[0] = np.sqrt(share)
    matrix = np.zeros((count, count))
    for i in range(count):
        ahead = values * basis[i]
        matrix[i, i] = ahead @ basis[i]
        for _ in range(2):  # twice is enough to keep them orthogonal
            ahead = ahead - basis[: i + 1].T @ (basis[: i + 1] @ ahead)
        length = float(np.linalg.norm(ahead))
        if i + 1 < count:
            matrix[i, i + 1] = matrix[i + 1, i] = length
            basis[i + 1] = ahead / length
    found, vectors = np.linalg.eigh(matrix)
    wavelengths = middle + half * found
    return Light(tuple(wavelengths.tolist()), tuple((vectors[0] ** 2).tolist()))


def in_colour(model: EyeModel, wavelength_nm: float) -> EyeModel:
    """Which eye is this in light of another wavelength?

    Parameters
    ----------
    model : EyeModel
        Its indices hold at 555 nm (convention 16); no gradients.
    wavelength_nm : float
        400 to 900.

    Examples
    --------
    >>> from rimwise.eye.schematic import eye_optics, schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1999"))
    >>> blue, red = (eye_optics(in_colour(eye, nm)).refraction_dpt for nm in (450.0, 650.0))
    >>> bool(1.0 < red - blue < 2.0)
    True
    """
    if not 400.0 <= wavelength_nm <= 900.0:
        raise WrongInput(f"light of {wavelength_nm} nm came for an eye; 400 to 900 is allowed")
    if wavelength_nm == MIDDLE_NM:
        return model
    return replace(model, parts=tuple(_part_in(part, wavelength_nm) for part in model.parts))


def _part_in(part: Part, wavelength_nm: float) -> Part:
    if isinstance(part.behind, Gradient):
        raise WrongInput("an eye with a gradient lens came; its dispersion is not known here")
    medium = _MEDIA.get(part.role)
    step = _implant_step(part.behind, wavelength_nm)
    if medium is not None:
        step = _step(medium, wavelength_nm)
    return replace(part, behind=part.behind + step)


@lru_cache(maxsize=256)
def _step(medium: str, wavelength_nm: float) -> float:
    """Return how much the index of a medium exceeds its own at 555 nm."""
    q = (MIDDLE_NM / wavelength_nm) ** 2
    factors = [published_value("light", f"dispersion_{medium}_{k}").value for k in (1, 2, 3)]
    return sum(b * (q**k - 1.0) for k, b in enumerate(factors, 1))


def _implant_step(index: float, wavelength_nm: float) -> float:
    """Return the same of an implant, n = a + b / wavelength², by its Abbe number."""
    abbe = published_value("light", "implant_abbe").value

    def q(nm: float) -> float:
        return (MIDDLE_NM / nm) ** 2

    b = (index - 1.0) / (abbe * (q(_F_NM) - q(_C_NM)) - (q(_D_NM) - 1.0))
    return b * (q(wavelength_nm) - 1.0)
