"""One eye described: what its optics do, where its axes run, where its reflexes will appear."""

import math
from dataclasses import dataclass
from typing import Any

from rimwise.records.eye import EyeRecord, Reflex
from rimwise.terms.frames import nasal_superior

EYE_SCHEMA = "rimwise.eye/1"

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class CardinalDepths:
    """Powers, and places on the axis as depths behind the corneal front; negative in front of it.

    Parameters
    ----------
    power_dpt, corneal_power_dpt, lens_power_dpt : float
        Equivalent power of the eye and of its parts; None without a lens.
    refraction_dpt : float
        Spherical equivalent at the corneal vertex of the point that is sharp on the retina.
    front_focus_mm to exit_pupil_mm : float
    entrance_pupil_size, exit_pupil_size : float
        Over the real pupil's size.
    """

    power_dpt: float
    corneal_power_dpt: float
    lens_power_dpt: float | None
    refraction_dpt: float | None
    front_focus_mm: float
    back_focus_mm: float
    front_principal_mm: float
    back_principal_mm: float
    front_nodal_mm: float
    back_nodal_mm: float
    entrance_pupil_mm: float
    exit_pupil_mm: float
    entrance_pupil_size: float
    exit_pupil_size: float


@dataclass(frozen=True, slots=True)
class AxisAngles:
    """Directions in front of the eye from the corneal axis, angles between axes, chords."""

    visual_deg: Pair
    line_of_sight_deg: Pair
    pupillary_deg: Pair
    optical_deg: Pair
    alpha_deg: Pair
    kappa_deg: Pair
    lambda_deg: Pair
    chord_mu_mm: Pair
    chord_mu_real_mm: Pair
    chord_alpha_mm: Pair


@dataclass(frozen=True, slots=True)
class EyeDescription:
    """What is printed of an eye.

    Parameters
    ----------
    code : str
    record : EyeRecord
        The eye's numbers, assumptions and warnings.
    cardinal : CardinalDepths
        Cylinder taken as its mean.
    axes : AxisAngles
    reflexes : tuple of Reflex
        Of one lamp on the camera's axis while the eye fixates it.
    working_distance_mm : float
        Of that camera.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> describe_eye("E-1", eye_record(Known("right"))).document()["schema"]
    'rimwise.eye/1'
    """

    code: str
    record: EyeRecord
    cardinal: CardinalDepths
    axes: AxisAngles
    reflexes: tuple[Reflex, ...]
    working_distance_mm: float

    def from_p1_mm(self, reflex: Reflex) -> Pair | None:
        """Where does a reflex appear, counted from P1, in the plane in focus? None where lost."""
        first = next(one for one in self.reflexes if one.name == "P1")
        x, y = (a - b for a, b in zip(reflex.plane_mm, first.plane_mm, strict=True))
        return None if math.isnan(x) or math.isnan(y) else (x, y)

    def document(self) -> dict[str, Any]:
        """Return the entry of the results, ``rimwise.eye/1``."""
        record = self.record
        return {
            "schema": EYE_SCHEMA,
            "code": self.code,
            "side": record.side,
            "lens": record.lens,
            "numbers": {
                name: {"value": one.value, "sd": one.sd, "from": one.origin}
                for name, one in record.numbers.items()
            },
            "steep_axis_deg": record.steep_axis_deg,
            "cardinal": {name: getattr(self.cardinal, name) for name in CardinalDepths.__slots__},
            "axes": {name: self._pair(getattr(self.axes, name)) for name in AxisAngles.__slots__},
            "reflexes": [self._reflex(one) for one in self.reflexes],
            "working_distance_mm": self.working_distance_mm,
            "assumptions": [one.document() for one in record.assumptions],
            "warnings": [{"code": one.code, "sentence": one.sentence} for one in record.warnings],
        }

    def _pair(self, pair: Pair) -> dict[str, float]:
        nasal, superior = nasal_superior(*pair, self.record.side)
        return {"x": pair[0], "y": pair[1], "nasal": nasal, "superior": superior}

    def _reflex(self, one: Reflex) -> dict[str, Any]:
        place = self.from_p1_mm(one)
        found = place is not None
        return {
            "name": one.name,
            "status": one.status,
            "from_P1_mm": None if place is None else self._pair(place),
            "depth_mm": -one.image_mm[2] if found else None,
            "magnification": one.magnification if found else None,
            "upright": one.upright if found else None,
            "light": one.light if found else None,
            "defocus_dpt": one.defocus_dpt if found else None,
        }
