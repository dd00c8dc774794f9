"""What refraction a power is expected to leave: the entries of a plan's ``refraction``.

A power is expected, never chosen: the surgeon chooses.
"""

from dataclasses import asdict, dataclass
from typing import Any, Literal

from rimwise.records.cover import Reason
from rimwise.terms.estimate import Estimate

Calibration = Literal["named source", "own series", "uncalibrated"]
BandSource = Literal[
    "lens-position",
    "chamber-depth",
    "lens-thickness",
    "keratometry",
    "posterior-cornea",
    "corneal-thickness",
    "axial-length",
    "refraction-itself",
]


@dataclass(frozen=True, slots=True)
class LensConstants:
    """The constants that a formula was given.

    Parameters
    ----------
    values : tuple of (name, value)
        By their names in the case sheet.
    origin : str
        Where they came from, in words.
    calibration : str
        "uncalibrated" unless a source is named or enough own eyes stand behind them.
    """

    values: tuple[tuple[str, float], ...]
    origin: str
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class BandLine:
    """What one source of error adds to the scatter of the expected refraction, one sd."""

    source: BandSource
    sd_dpt: float


@dataclass(frozen=True, slots=True)
class DrawnBand:
    """The ± put to the test on drawn eyes: arithmetic only, nothing about patients.

    ``inside_95`` is the share of the drawn eyes within 1.96 of the claimed sd.
    """

    eyes: int
    sd_dpt: float
    inside_95: float


@dataclass(frozen=True, slots=True)
class ExpectedRefraction:
    """The refraction that one formula expects of one power.

    Parameters
    ----------
    formula : str
        Its name.
    status : str
        How its equations were seen.
    power_dpt : float
        Labelled power of the implant, in aqueous.
    refraction_dpt : Estimate
        Spherical equivalent at the spectacle plane, 12 mm from the cornea.
    lens_position_mm : float
        Effective position of a thin implant behind the cornea in a formula, which is not a real
        depth; of the trace the real depth of the implant's middle.
    constants : LensConstants
    band : tuple of BandLine
        Behind the ±, largest first.
    repeat_first : str
        The measurement whose repetition would narrow the band most.
    limits : tuple of Reason
        Where this formula is at or beyond its limits in this eye.
    lens_position_sd_mm : float or None
        Of the trace.
    drawn : DrawnBand or None
        Of the trace.
    """

    formula: str
    status: str
    power_dpt: float
    refraction_dpt: Estimate
    lens_position_mm: float
    constants: LensConstants
    band: tuple[BandLine, ...]
    repeat_first: BandSource
    limits: tuple[Reason, ...]
    lens_position_sd_mm: float | None = None
    drawn: DrawnBand | None = None

    def document(self) -> dict[str, Any]:
        """Return the entry of the plan's ``refraction`` (docs/results.md)."""
        expected = self.refraction_dpt
        return {
            "formula": self.formula,
            "status": self.status,
            "power_dpt": self.power_dpt,
            "refraction_dpt": {"value": expected.value, "sd": expected.sd, "unit": "dpt"},
            "plane": "spectacles, 12 mm",
            "lens_position_mm": self.lens_position_mm,
            "lens_position_sd_mm": self.lens_position_sd_mm,
            "constants": dict(self.constants.values),
            "constants_from": self.constants.origin,
            "calibration": self.constants.calibration,
            "band": [{"source": line.source, "sd_dpt": line.sd_dpt} for line in self.band],
            "drawn": None if self.drawn is None else asdict(self.drawn),
            "repeat_first": self.repeat_first,
            "limits": [{"code": one.code, "sentence": one.sentence} for one in self.limits],
        }


@dataclass(frozen=True, slots=True)
class SphereCylinder:
    """A refraction as it is written: sphere, minus cylinder, axis in (0, 180]."""

    sphere_dpt: float
    cylinder_dpt: float
    axis_deg: float


@dataclass(frozen=True, slots=True)
class VectorEllipse:
    """An ellipse in the plane of (J0, J45).

    Semi-axes in dpt of a component; ``angle_deg`` of the longer one from J0 towards J45, (0, 180].
    """

    major_dpt: float
    minor_dpt: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class ToricStep:
    """What one cylinder of the implant is expected to leave.

    Parameters
    ----------
    cylinder_dpt : float
        Of the implant, at its own plane.
    refraction : SphereCylinder
        At the spectacle plane, 12 mm from the cornea.
    residual_dpt : (M, J0, J45)
        Power vector at the corneal plane.
    ellipse_95 : VectorEllipse
        Holds (J0, J45) with 95 %.
    cost_dpt_per_deg : float
        Cylinder that one degree off the axis adds to what is left, crossed with it.
    """

    cylinder_dpt: float
    refraction: SphereCylinder
    residual_dpt: tuple[float, float, float]
    ellipse_95: VectorEllipse
    cost_dpt_per_deg: float


@dataclass(frozen=True, slots=True)
class ToricPlan:
    """What toric implants are expected to leave; a step is expected, never chosen.

    Parameters
    ----------
    formula : str
        The one that places the implant.
    corneal_cylinder_dpt, steep_deg : float
        Of front and back together, at the corneal plane.
    back : str
        "measured, steep meridian taken as vertical" or "prior".
    axis_deg : float
        Where the marks of the implant's weak meridian would lie.
    steps : tuple of ToricStep
    notes : tuple of Reason
    """

    formula: str
    corneal_cylinder_dpt: float
    steep_deg: float
    back: str
    axis_deg: float
    steps: tuple[ToricStep, ...]
    notes: tuple[Reason, ...]

    def document(self) -> dict[str, Any]:
        """Return the plan's ``toric`` (docs/results.md)."""
        return {
            "formula": self.formula,
            "corneal_cylinder_dpt": self.corneal_cylinder_dpt,
            "steep_deg": self.steep_deg,
            "back": self.back,
            "axis_deg": self.axis_deg,
            "steps": [_step(step) for step in self.steps],
            "notes": [{"code": one.code, "sentence": one.sentence} for one in self.notes],
        }


def _step(step: ToricStep) -> dict[str, Any]:
    residual = zip(("m_dpt", "j0_dpt", "j45_dpt"), step.residual_dpt, strict=True)
    return {
        "cylinder_dpt": step.cylinder_dpt,
        "refraction": asdict(step.refraction),
        "residual": dict(residual),
        "ellipse_95": asdict(step.ellipse_95),
        "cost_dpt_per_deg": step.cost_dpt_per_deg,
    }
