"""Operation and visit sheets: what was done in an eye, and how it did since (docs/sheets.md)."""

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from rimwise.exchange.sheet_keys import (
    Anaesthesia,
    AxisDeg,
    Code,
    Day,
    Keys,
    OpticTiltKeys,
    Side,
    Word,
)
from rimwise.exchange.sheet_layers import checked_layer, read_toml
from rimwise.terms.errors import WrongInput


class OperationKeys(Keys):
    """[operation]: what was really done."""

    day: Annotated[int, Field(ge=-40000, le=400000)] | None = None
    surgeon: Code | None = None
    technique: Word | None = None
    anaesthesia: Anaesthesia | None = None
    implant_power_dpt: Annotated[float, Field(ge=-20.0, le=50.0)] | None = None
    implant_axis_deg: AxisDeg | None = None
    haptic_axis_deg: AxisDeg | None = None
    opening: Literal["intact", "torn"] | None = None
    capsular_ring: bool | None = None
    complications: tuple[Word, ...] | None = None


class RefractionKeys(Keys):
    """refraction of a visit: minus cylinder."""

    sphere_dpt: Annotated[float, Field(ge=-30.0, le=30.0)]
    cylinder_dpt: Annotated[float, Field(ge=-15.0, le=0.0)] = 0.0
    axis_deg: AxisDeg | None = None
    distance_m: Annotated[float, Field(gt=0.0, le=20.0)] | None = None
    vertex_mm: Annotated[float, Field(ge=0.0, le=20.0)] | None = None

    @model_validator(mode="after")
    def _axis_of_cylinder(self) -> Self:
        if self.cylinder_dpt != 0.0 and self.axis_deg is None:
            raise ValueError("has a cylinder without axis_deg; give the axis of the minus cylinder")
        return self


class VisitKeys(Keys):
    """[visit]: how the eye does."""

    day: Day | None = None
    acuity_logmar: (
        Annotated[float, Field(ge=-0.4, le=2.0)]
        | Literal["counting-fingers", "hand-motion", "light", "no-light"]
        | None
    ) = None
    refraction: RefractionKeys | None = None
    optic_tilt: OpticTiltKeys | None = None
    pupil_dilated_mm: Annotated[float, Field(ge=0.5, le=12.0)] | None = None
    opacification_score: Annotated[float, Field(ge=0.0, le=4.0)] | None = None
    laser: Literal["none", "anterior", "posterior"] | None = None
    laser_day: Day | None = None
    intervention: Word | None = None


class CourseKeys(Keys):
    """An operation or visit sheet: the eye, and one of the two tables or both."""

    code: Code | None = None
    side: Side | None = None
    operation: OperationKeys | None = None
    visit: VisitKeys | None = None


def read_course_sheet(path: Path) -> dict[str, Any]:
    """What does an operation or visit sheet say, checked?

    Raises
    ------
    WrongInput
        It cannot be read, holds an unknown key or a value outside its range, or neither table.
    """
    values = checked_layer(read_toml(path), CourseKeys, str(path)).values
    if "operation" not in values and "visit" not in values:
        raise WrongInput(f"{path} holds neither [operation] nor [visit]; give one of them")
    return dict(values)
