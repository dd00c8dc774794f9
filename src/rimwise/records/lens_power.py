"""What refraction a power is expected to leave: the entries of a plan's ``refraction``.

A power is expected, never chosen: the surgeon chooses.
"""

from dataclasses import dataclass
from typing import Any, Literal

from rimwise.records.cover import Reason
from rimwise.terms.estimate import Estimate

Calibration = Literal["named source", "own series", "uncalibrated"]
BandSource = Literal["lens-position", "keratometry", "axial-length", "refraction-itself"]


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
        Effective position of a thin implant behind the cornea in this formula; not a real depth.
    constants : LensConstants
    band : tuple of BandLine
        Behind the ±, largest first.
    repeat_first : str
        The measurement whose repetition would narrow the band most.
    limits : tuple of Reason
        Where this formula is at or beyond its limits in this eye.
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
            "constants": dict(self.constants.values),
            "constants_from": self.constants.origin,
            "calibration": self.constants.calibration,
            "band": [{"source": line.source, "sd_dpt": line.sd_dpt} for line in self.band],
            "repeat_first": self.repeat_first,
            "limits": [{"code": one.code, "sentence": one.sentence} for one in self.limits],
        }
