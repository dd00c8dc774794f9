"""What a toric implant leaves by an exact trace: cylinders of corneal front, back and implant."""

import math
from dataclasses import dataclass, replace

from rimwise.eye.build import eye_model
from rimwise.eye.implant import implant_shape
from rimwise.eye.model import EyeModel, Part
from rimwise.eye.refraction import narrow_refraction
from rimwise.optics.refraction import PowerVector
from rimwise.optics.surface import biconic
from rimwise.plan.toric import steep_meridian
from rimwise.plan.traced import implant_terms, placed_record
from rimwise.plan.traced_eye import TracedEye, mean_radius_mm
from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet

_MM = 1000.0


@dataclass(frozen=True, slots=True)
class TracedToric:
    """A traced eye whose cylinders may lie along any meridians.

    Parameters
    ----------
    case : CaseSheet
    eye : TracedEye
    front, back : PowerVector
        Astigmatism of the two corneal surfaces, the incision's in the front; their mean powers
        are those of the traced eye.
    power_dpt : float
        Of the implant, the mean of its meridians.
    """

    case: CaseSheet
    eye: TracedEye
    front: PowerVector
    back: PowerVector
    power_dpt: float

    def refraction(self, cylinder_dpt: float, axis_deg: float) -> PowerVector:
        """Which refraction at the cornea does this cylinder, its marks there, leave?

        Parameters
        ----------
        cylinder_dpt : float
            Of the implant in aqueous, 0 or more.
        axis_deg : float
            Where the marks of its weak meridian lie.
        """
        placed = placed_record(self.eye, self.case, self.power_dpt)
        terms = implant_terms(self.case, self.power_dpt)
        shape = implant_shape(replace(terms, cylinder_dpt=cylinder_dpt, axis_deg=axis_deg))
        model = self._with_corneas(eye_model(replace(placed, implant=shape)))
        found = narrow_refraction(model, (0.0, 0.0))
        return PowerVector.of(found.sphere_dpt, found.cylinder_dpt, found.axis_deg or 180.0)

    def _with_corneas(self, model: EyeModel) -> EyeModel:
        cornea, aqueous = (
            published_value("cornea", f"index_{one}").value for one in ("cornea", "aqueous")
        )
        front, back, *rest = model.parts
        made = (
            self._bent(front, "front", cornea - 1.0, self.front),
            self._bent(back, "back", aqueous - cornea, self.back),
        )
        return replace(model, parts=(*made, *rest))

    def _bent(self, part: Part, which: str, step: float, astigmatism: PowerVector) -> Part:
        """Return the surface with this astigmatism, its mean power kept."""
        power = _MM * step / mean_radius_mm(self.eye.record, which)
        size, strong_deg = steep_meridian(astigmatism)
        along, across = (_MM * step / (power + half * size) for half in (0.5, -0.5))
        conic = self.eye.record.value(f"{which}_conic")
        surface = biconic(
            (-along, -across),
            (conic, conic),
            math.radians(strong_deg),
            part.surface.pose,
            name=part.surface.name,
        )
        return replace(part, surface=surface)
