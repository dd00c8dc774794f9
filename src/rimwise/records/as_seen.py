"""Pictures as an eye's optics pass them on, and what they leave out."""

from dataclasses import dataclass
from typing import Any, Literal

from rimwise.terms.arrays import FloatArray

Scene = Literal["chart", "lamps"]
Arcs = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class EdgeInPupil:
    """Where the optic's edge lies within the light of one pupil.

    Parameters
    ----------
    pupil_mm : float
        Entrance pupil, as seen through the cornea.
    optic_mm : float
        Diameter of the optic.
    beam_mm : float
        Largest distance of this pupil's light from the optic's axis, real mm at its front.
    arcs_deg : arcs
        Directions of the examiner about the optic's middle, counter-clockwise, in which light
        passes beside the optic.
    bare_arcs_deg : arcs or None
        The same where no capsule covers the edge; None where the cover is not known.
    from_pupil_mm : float or None
        Smallest pupil whose light meets the edge; None where up to 9 mm none does.
    """

    pupil_mm: float
    optic_mm: float
    beam_mm: float
    arcs_deg: Arcs
    bare_arcs_deg: Arcs | None
    from_pupil_mm: float | None

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        bare = self.bare_arcs_deg
        return {
            "pupil_mm": self.pupil_mm,
            "optic_diameter_mm": self.optic_mm,
            "beam_radius_mm": self.beam_mm,
            "light_beside_optic": bool(self.arcs_deg),
            "edge_arcs_deg": [list(arc) for arc in self.arcs_deg],
            "bare_arcs_deg": None if bare is None else [list(arc) for arc in bare],
            "from_pupil_mm": self.from_pupil_mm,
        }


@dataclass(frozen=True, slots=True)
class SeenPicture:
    """One scene through one pupil: itself, with the implant here, and where it should be.

    Parameters
    ----------
    scene : "chart" or "lamps"
    light : str
        "photopic" or "mesopic".
    pupil_mm : float
    scene_light, here, ideal : array, shape (rows, columns)
        1 is the chart's paper, or the middle of a lamp; up first, the patient's right on the
        right.
    step_arcmin : float
        Angle from one place to the next.
    share_here, share_ideal : float
        Share of a point's light that falls within the picture's window about it.
    edge : EdgeInPupil
    """

    scene: Scene
    light: str
    pupil_mm: float
    scene_light: FloatArray
    here: FloatArray
    ideal: FloatArray
    step_arcmin: float
    share_here: float
    share_ideal: float
    edge: EdgeInPupil
