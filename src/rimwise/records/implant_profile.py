"""What an implant's front adds to the path of light beyond its smooth surfaces: its profile.

A lens is what its numbers say: a profile is given by samples, never by a model's name.
"""

from dataclasses import dataclass
from typing import Literal

ProfileKind = Literal["smooth", "diffractive"]
Samples = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class ImplantProfile:
    """A round profile on the front of an optic, about the optic's own axis.

    Parameters
    ----------
    kind : "smooth" or "diffractive"
    path_um : tuple of (radius_mm, path_um)
        Smooth: optical path added at these radii, from 0 on; positive delays light.
    period_waves : tuple of (share, waves)
        Diffractive: path of one period in waves of the design wavelength; the share of the period
        (equal in r²) runs from 0 to 1, straight between samples; a share written twice is a step.
    add_dpt : float or None
        Diffractive: power of the first order less that of the zeroth, in aqueous.
    design_nm : float
        Wavelength that these numbers hold for.
    diameter_mm : float or None
        Beyond it there is no profile; None: all over the optic.
    apodised_mm : (from, to) or None
        Radii between which the height falls, straight, from full to nothing.
    """

    kind: ProfileKind
    path_um: Samples = ()
    period_waves: Samples = ()
    add_dpt: float | None = None
    design_nm: float = 555.0
    diameter_mm: float | None = None
    apodised_mm: tuple[float, float] | None = None
