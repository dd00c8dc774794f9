"""Reflexes of known lamps in a photograph, and how they say that the implant stands."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.terms.estimate import Estimate

MirrorName = Literal["P1", "P4"]
PlacePx = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MirrorPlace:
    """One mirror's reflexes of all lamps, stored pixels.

    Parameters
    ----------
    points_px : tuple of (u, v) or None
        In the sheet's lamp order; None where not told.
    sd_px : float
        Of each place.
    axial_px : (float, float)
        Where the reflex would be of the lamp that is fixated, or of one on the camera's axis.
    axial_sd_px : float
        Of each coordinate of it, the reflexes' own places and the lamps' included, gaze not.
    moves_px_per_rad : float
        How far a turn of the eye moves it against the implant's middle.
    """

    points_px: tuple[PlacePx | None, ...]
    sd_px: float
    axial_px: PlacePx
    axial_sd_px: float
    moves_px_per_rad: float


@dataclass(frozen=True, slots=True)
class ImplantReflexes:
    """What the reflexes of known lamps say.

    Parameters
    ----------
    mirrors : dict
        P1 (cornea front) and P4 (implant's back); None where not found.
    lens_tilt_deg : pair of Estimate or None
        The implant's axis from the corneal axis, examiner's x and y.
    eye_rotation_deg : pair of Estimate or None
        The corneal axis from the camera's.
    """

    mirrors: dict[MirrorName, MirrorPlace | None] = field(default_factory=dict)
    lens_tilt_deg: tuple[Estimate, Estimate] | None = None
    eye_rotation_deg: tuple[Estimate, Estimate] | None = None
