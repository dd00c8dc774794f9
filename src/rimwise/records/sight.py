"""What an eye is expected to see with its implant where it really is: behind ``rimwise.sight/1``.

Places are those of the optic's middle from the corneal axis (which runs through the middle of the
limbus), examiner's frame, real mm; tilts are against the corneal axis, where the front end points.
"""

from dataclasses import dataclass
from typing import Any, Literal

from rimwise.records.assumption import Assumption
from rimwise.records.cover import Reason
from rimwise.records.sight_focus import SightFocus
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, nasal_superior

SightStatus = Literal["predicted", "refused"]
Against = Literal["ideal", "pupil", "visual-axis"]
Pair = Literal["optic-from-limbus", "optic-from-pupil", "optic-from-visual-axis"]
# Between which values 95 % of the placements lie that the ± allows.
Likely = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ImplantPlace:
    """Where an implant stands in its eye.

    Parameters
    ----------
    shift_mm : (Estimate, Estimate)
        Middle of the optic from the corneal axis, x and y.
    tilt_deg : (Estimate, Estimate)
        Where the front end of its axis points against the corneal axis, x and y, each the
        arctangent of a slope; the optic tilts about its middle.
    marks_deg : Estimate or None
        Where the marks of its weak meridian lie, (0, 180]; None without a cylinder.
    front_depth_mm : Estimate
        Corneal front to the front of the optic.
    pair : str
        Between which points the shift was told; told against the pupil it is added to the pupil's.
    """

    shift_mm: tuple[Estimate, Estimate]
    tilt_deg: tuple[Estimate, Estimate]
    marks_deg: Estimate | None
    front_depth_mm: Estimate
    pair: Pair = "optic-from-limbus"

    def document(self, side: Side) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "decentration": {"pair": "optic-from-limbus", "told_as": self.pair}
            | _vector(self.shift_mm, side, "mm"),
            "tilt": {"from": "corneal axis", "pivot": "middle of the optic"}
            | _vector(self.tilt_deg, side, "deg"),
            "marks_deg": estimate_entry(self.marks_deg, "deg"),
            "front_depth_mm": estimate_entry(self.front_depth_mm, "mm"),
        }


@dataclass(frozen=True, slots=True)
class Lens:
    """A refraction with its ±: power vector at the spectacle plane, 12 mm before the cornea.

    ``sphere_dpt``, ``cylinder_dpt`` and ``axis_deg`` say the same in minus cylinder.
    """

    m_dpt: Estimate
    j0_dpt: Estimate
    j45_dpt: Estimate
    sphere_dpt: float
    cylinder_dpt: float
    axis_deg: float | None

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "sphere_dpt": self.sphere_dpt,
            "cylinder_dpt": self.cylinder_dpt,
            "axis_deg": self.axis_deg,
            "m_dpt": estimate_entry(self.m_dpt, "dpt"),
            "j0_dpt": estimate_entry(self.j0_dpt, "dpt"),
            "j45_dpt": estimate_entry(self.j45_dpt, "dpt"),
        }


@dataclass(frozen=True, slots=True)
class ContrastCurve:
    """Contrast that gratings keep, in light of all wavelengths, behind one lens.

    Parameters
    ----------
    frequency_cpd : tuple of floats
    tangential, sagittal, mean : tuple of Estimate
        Gratings that vary along ``tangential_deg``, across it, and averaged over all directions.
    tangential_deg : float
        Meridian of the optic's shift (of its tilt where it is not shifted).
    visual_strehl : Estimate
        Contrast weighted with a contrast sensitivity, against a perfect eye with this pupil.
    tangential_95, sagittal_95, mean_95 : tuple of (low, high)
        One a frequency, of 95 % of the placements that the ± allows.
    visual_strehl_95 : (low, high)
    """

    frequency_cpd: tuple[float, ...]
    tangential: tuple[Estimate, ...]
    sagittal: tuple[Estimate, ...]
    mean: tuple[Estimate, ...]
    tangential_deg: float
    visual_strehl: Estimate
    tangential_95: tuple[Likely, ...]
    sagittal_95: tuple[Likely, ...]
    mean_95: tuple[Likely, ...]
    visual_strehl_95: Likely

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "frequency_cpd": list(self.frequency_cpd),
            "tangential_meridian_deg": self.tangential_deg,
            **{
                name: {
                    "value": [one.value for one in getattr(self, name)],
                    "sd": [one.sd for one in getattr(self, name)],
                    "low_95": [low for low, _ in getattr(self, f"{name}_95")],
                    "high_95": [high for _, high in getattr(self, f"{name}_95")],
                }
                for name in ("tangential", "sagittal", "mean")
            },
            "visual_strehl": _ranged(self.visual_strehl, self.visual_strehl_95),
        }


@dataclass(frozen=True, slots=True)
class Focusing:
    """Contrast of a grating behind spherical lenses of these powers, added to the glasses."""

    frequency_cpd: float
    lens_dpt: tuple[float, ...]
    contrast: tuple[float, ...]

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "frequency_cpd": self.frequency_cpd,
            "lens_dpt": list(self.lens_dpt),
            "contrast": list(self.contrast),
        }


@dataclass(frozen=True, slots=True)
class PupilSight:
    """What one placement gives through one pupil.

    Parameters
    ----------
    coefficients_um, coefficients_sd_um : tuple of 45 floats
        Zernike coefficients to the 8th order along the line of sight (ISO 24157), 555 nm.
    paraxial, least_squares, best_contrast : Lens
        The refraction by three criteria.
    with_glasses : ContrastCurve
        Behind the glasses, cylinder included, that suit the ideal placement.
    best_sphere : ContrastCurve
        Without a cylinder, behind the sphere that suits this placement in this pupil.
    through_focus : Focusing
    """

    pupil_mm: float
    coefficients_um: tuple[float, ...]
    coefficients_sd_um: tuple[float, ...]
    paraxial: Lens
    least_squares: Lens
    best_contrast: Lens
    with_glasses: ContrastCurve
    best_sphere: ContrastCurve
    through_focus: Focusing

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "wavefront": {
                "pupil_mm": self.pupil_mm,
                "plane": "entrance pupil, across the line of sight",
                "wavelength_nm": 555.0,
                "order": 8,
                "coefficients_um": list(self.coefficients_um),
                "sd_um": list(self.coefficients_sd_um),
            },
            "refraction": {
                "plane": "spectacles, 12 mm",
                "paraxial": self.paraxial.document(),
                "least_squares": self.least_squares.document(),
                "best_contrast": self.best_contrast.document(),
            },
            "contrast": {
                "with_glasses": self.with_glasses.document(),
                "best_sphere": self.best_sphere.document(),
            },
            "through_focus": self.through_focus.document(),
        }


@dataclass(frozen=True, slots=True)
class PupilComparison:
    """One pupil: as it is, as it would be in the ideal placement, and what lies between.

    Parameters
    ----------
    induced : Lens
        Least-squares refraction here less that of the ideal placement.
    contrast_lost : Estimate
        Of the judged grating, mean of all directions, behind the same glasses; 0.1 is a tenth.
    contrast_lost_95 : (low, high)
    reasons : tuple of Reason
        What this pupil's numbers leave out.
    """

    pupil_mm: float
    here: PupilSight
    ideal: PupilSight
    induced: Lens
    contrast_lost: Estimate
    contrast_lost_95: Likely
    reasons: tuple[Reason, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "pupil_mm": self.pupil_mm,
            "here": self.here.document(),
            "ideal": self.ideal.document(),
            "residual_astigmatism": {
                "plane": "spectacles, 12 mm",
                "j0_dpt": estimate_entry(self.here.least_squares.j0_dpt, "dpt"),
                "j45_dpt": estimate_entry(self.here.least_squares.j45_dpt, "dpt"),
            },
            "induced": self.induced.document(),
            "contrast_lost": _ranged(self.contrast_lost, self.contrast_lost_95),
            "reasons": [{"code": one.code, "sentence": one.sentence} for one in self.reasons],
        }


@dataclass(frozen=True, slots=True)
class SightMap:
    """A plane of placements: of the optic's shift, or of its tilt.

    Parameters
    ----------
    unit : "mm" or "deg"
    steps : tuple of floats
        Places along x, and along y, from the ideal placement; rows go along y.
    contrast, cylinder_dpt, coma_um : rows of floats
        Of the judged grating; induced cylinder by least squares; size of the third-order coma.
    here : (x, y)
        Where this implant stands.
    cost : tuple of (direction_deg, cost)
        Contrast that each 0.1 mm, or each degree, towards this direction takes, starting where
        the implant stands; negative where it would gain.
    """

    unit: Literal["mm", "deg"]
    steps: tuple[float, ...]
    contrast: tuple[tuple[float, ...], ...]
    cylinder_dpt: tuple[tuple[float, ...], ...]
    coma_um: tuple[tuple[float, ...], ...]
    here: tuple[float, float]
    cost: tuple[tuple[float, float], ...]

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "unit": self.unit,
            "steps": list(self.steps),
            "contrast": [list(row) for row in self.contrast],
            "cylinder_dpt": [list(row) for row in self.cylinder_dpt],
            "coma_um": [list(row) for row in self.coma_um],
            "here": list(self.here),
            "cost_per": 0.1 if self.unit == "mm" else 1.0,
            "cost_by_direction": [
                {"direction_deg": direction, "contrast": cost} for direction, cost in self.cost
            ],
        }


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far the optic may stand off the ideal placement before too much contrast is lost.

    Parameters
    ----------
    loss : float
        The chosen loss of contrast, a share of what the ideal placement gives.
    radius : float or None
        Largest circle within which no direction loses more; None where it reaches past the map.
    unit : "mm" or "deg"
    here : Estimate
        How far this implant stands off.
    within : bool or None
        None where ± does not let it be told, or no circle was found.
    """

    loss: float
    radius: float | None
    unit: Literal["mm", "deg"]
    here: Estimate
    within: bool | None

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "loss": self.loss,
            "radius": self.radius,
            "unit": self.unit,
            "here": estimate_entry(self.here, self.unit),
            "within": self.within,
        }


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What standing elsewhere would cost, at one pupil and one grating."""

    pupil_mm: float
    frequency_cpd: float
    maps: tuple[SightMap, ...]
    tolerances: tuple[Tolerance, ...]

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "pupil_mm": self.pupil_mm,
            "frequency_cpd": self.frequency_cpd,
            "maps": [one.document() for one in self.maps],
            "tolerance": [one.document() for one in self.tolerances],
        }


@dataclass(frozen=True, slots=True)
class Sight:
    """The whole answer for one eye; a refused one has no pupils."""

    code: str
    side: Side
    status: SightStatus
    reasons: tuple[Reason, ...]
    against: Against = "ideal"
    here: ImplantPlace | None = None
    ideal: ImplantPlace | None = None
    glasses: Lens | None = None
    judged_cpd: float = 15.0
    pupils: tuple[PupilComparison, ...] = ()
    sensitivity: Sensitivity | None = None
    assumptions: tuple[Assumption, ...] = ()
    foci: tuple[SightFocus, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the sight as ``rimwise.sight/1``, ready for JSON (docs/predict.md)."""
        placed = {
            name: None if one is None else one.document(self.side)
            for name, one in (("here", self.here), ("ideal", self.ideal))
        }
        return {
            "schema": "rimwise.sight/1",
            "code": self.code,
            "side": self.side,
            "status": self.status,
            "reasons": [{"code": one.code, "sentence": one.sentence} for one in self.reasons],
            "against": self.against,
            "placement": placed,
            "glasses": None if self.glasses is None else self.glasses.document(),
            "judged_cpd": self.judged_cpd,
            "foci": [one.document() for one in self.foci],
            "by_pupil": [one.document() for one in self.pupils],
            "sensitivity": None if self.sensitivity is None else self.sensitivity.document(),
            "assumptions": [one.document() for one in self.assumptions],
        }


def estimate_entry(estimate: Estimate | None, unit: str) -> dict[str, Any] | None:
    """Return an estimate as the document has it; None stays None."""
    if estimate is None:
        return None
    return {"value": estimate.value, "sd": estimate.sd, "unit": unit}


def _ranged(estimate: Estimate, likely: Likely) -> dict[str, Any]:
    low, high = likely
    told = {"value": estimate.value, "sd": estimate.sd, "unit": "1"}
    return told | {"low_95": low, "high_95": high}


def _vector(pair: tuple[Estimate, Estimate], side: Side, unit: str) -> dict[str, Any]:
    x, y = pair
    nasal, superior = nasal_superior(x.value, y.value, side)
    return {
        f"x_{unit}": estimate_entry(x, unit),
        f"y_{unit}": estimate_entry(y, unit),
        f"nasal_{unit}": {"value": nasal, "sd": x.sd, "unit": unit},
        f"superior_{unit}": {"value": superior, "sd": y.sd, "unit": unit},
    }
