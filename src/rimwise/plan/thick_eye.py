"""The eye of four surfaces on one axis: what the exact trace becomes in a narrow pupil."""

from dataclasses import dataclass

import numpy as np

from rimwise.plan.vergence import VERTEX_MM, Numbers, at_spectacles_dpt
from rimwise.published.load import published_value
from rimwise.records.eye import ImplantShape
from rimwise.terms.arrays import FloatArray

_MM = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class ThickEye:
    """Cornea and implant, two surfaces each; numbers or arrays that broadcast, mm.

    Parameters
    ----------
    front_mm, back_mm : number or array
        Corneal radii.
    thickness_mm : number or array
        Of the cornea.
    implant : ImplantShape
        Its mean back curvature is taken.
    implant_depth_mm : number or array
        From the corneal front to the middle of the implant.
    retina_mm : number or array
        From the corneal front to the retina.
    """

    front_mm: Numbers
    back_mm: Numbers
    thickness_mm: Numbers
    implant: ImplantShape
    implant_depth_mm: Numbers
    retina_mm: Numbers

    def at_cornea_dpt(self) -> FloatArray:
        """Which refraction at the corneal vertex?

        The light is followed back from the retina, surface by surface, by vergences; own
        derivation from the paraxial law of refraction.

        Examples
        --------
        >>> shape = ImplantShape(6.0, 0.2, 0.8, 1.47, 18.0, 18.0, 18.0, 0.0, 0.0, 14.86)
        >>> eye = ThickEye(7.7, 6.8, 0.5, shape, 5.1, 23.5)
        >>> round(float(eye.at_cornea_dpt()), 6)
        4.335963
        """
        cornea, aqueous, vitreous = (
            published_value("cornea", "index_cornea").value,
            published_value("cornea", "index_aqueous").value,
            published_value("eye_priors", "index_vitreous").value,
        )
        lens, half = self.implant, 0.5 * self.implant.thickness_mm
        weak, steep = lens.back_radius_weak_mm, lens.back_radius_steep_mm
        back = _MM * (lens.index - vitreous) * 0.5 * (1.0 / weak + 1.0 / steep)
        wanted = _MM * vitreous / (np.subtract(self.retina_mm, self.implant_depth_mm) - half)
        wanted = _before(wanted - back, lens.thickness_mm, lens.index)
        wanted = wanted - _MM * (lens.index - aqueous) / lens.front_radius_mm
        chamber_mm = np.subtract(self.implant_depth_mm, self.thickness_mm) - half
        wanted = _before(wanted, chamber_mm, aqueous)
        wanted = wanted - _MM * (aqueous - cornea) / np.asarray(self.back_mm)
        wanted = _before(wanted, self.thickness_mm, cornea)
        return np.asarray(wanted - _MM * (cornea - 1.0) / np.asarray(self.front_mm))

    def refraction_dpt(self) -> FloatArray:
        """Which refraction at the spectacle plane, 12 mm before the cornea?"""
        return at_spectacles_dpt(self.at_cornea_dpt(), VERTEX_MM)


def _before(vergence_dpt: FloatArray, gap_mm: Numbers, index: float) -> FloatArray:
    """Return the vergence one gap nearer to the light."""
    return np.asarray(vergence_dpt / (1.0 + np.asarray(gap_mm) / _MM / index * vergence_dpt))
