"""The keys of every sheet, their kinds and allowed ranges (docs/sheets.md), as strict models.

One fact has one name in every sheet. The ranges say what an eye, an implant or a camera can be;
a value outside is a slip of the pen and is refused. pydantic is imported here: import this late.
"""

import datetime
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Word = Annotated[str, Field(min_length=1, max_length=200)]
Code = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\w][\w .\-]*$")]
Side = Literal["right", "left"]
OpticDiameter = Annotated[float, Field(ge=4.5, le=7.5)]
Radius = Annotated[float, Field(ge=0.0, le=3.75)]
Waves = Annotated[float, Field(ge=-20.0, le=20.0)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
OpticSd = Annotated[float, Field(ge=0.0, le=0.5)]
CorneaRadius = Annotated[float, Field(ge=5.0, le=12.0)]
BackRadius = Annotated[float, Field(ge=4.0, le=10.0)]
Thickness = Annotated[float, Field(ge=250.0, le=1000.0)]
WhiteToWhite = Annotated[float, Field(ge=8.0, le=15.0)]
LensFrontDepth = Annotated[float, Field(ge=1.0, le=8.0)]
LensThickness = Annotated[float, Field(ge=2.0, le=7.0)]
AxisDeg = Annotated[float, Field(ge=0.0, le=180.0)]
Bag = Annotated[float, Field(ge=7.0, le=13.0)]
Pupil = Annotated[float, Field(ge=0.5, le=12.0)]
Place = Annotated[float, Field(ge=-500.0, le=500.0)]
Centre = Annotated[float, Field(ge=-3.0, le=3.0)]
Sd = Annotated[float, Field(ge=0.0, le=2.0)]
Power = Annotated[float, Field(ge=-30.0, le=60.0)]
Cylinder = Annotated[float, Field(ge=-15.0, le=15.0)]
OpeningDiameter = Annotated[float, Field(ge=2.0, le=9.0)]
Day = Annotated[int, Field(ge=0, le=40000)]
Anaesthesia = Literal["topical", "block", "general"]
Consent = Literal["care", "teaching", "research", "publication"]
Risk = Literal[
    "pseudoexfoliation",
    "weak-zonule",
    "uveitis",
    "vitrectomy",
    "dense-lens",
    "alpha-blocker",
    "small-pupil",
    "high-myopia",
]


class Keys(BaseModel):
    """A table of a sheet: exact kinds, no unknown key, no NaN or infinity."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


class CorneaKeys(Keys):
    """[cornea] of picture and case sheet."""

    radius_mm: CorneaRadius | None = None
    radius_flat_mm: CorneaRadius | None = None
    radius_steep_mm: CorneaRadius | None = None
    steep_axis_deg: AxisDeg | None = None
    thickness_um: Thickness | None = None
    posterior_flat_mm: BackRadius | None = None
    posterior_steep_mm: BackRadius | None = None
    asphericity_q: Annotated[float, Field(ge=-3.0, le=3.0)] | None = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        flat, steep = self.radius_flat_mm, self.radius_steep_mm
        if self.radius_mm is not None and (flat is not None or steep is not None):
            raise ValueError("has radius_mm and radius_flat_mm or radius_steep_mm; give one way")
        _check_pair(flat, steep, "radius")
        _check_pair(self.posterior_flat_mm, self.posterior_steep_mm, "posterior")
        return self


def _check_pair(flat_mm: float | None, steep_mm: float | None, stem: str) -> None:
    flat, steep = f"{stem}_flat_mm", f"{stem}_steep_mm"
    if (flat_mm is None) != (steep_mm is None):
        raise ValueError(f"has only one of {flat} and {steep}; give both or leave both out")
    if flat_mm is not None and steep_mm is not None and flat_mm < steep_mm:
        raise ValueError(
            f"has {flat} = {flat_mm:g} below {steep} = {steep_mm:g}, and the flat radius is the "
            "longer one; exchange them"
        )


class PictureLengthKeys(Keys):
    """[lengths] of a picture sheet: the eye as it is in the picture."""

    white_to_white_mm: WhiteToWhite | None = None
    lens_front_depth_mm: LensFrontDepth | None = None
    lens_thickness_mm: LensThickness | None = None


class CaseLengthKeys(Keys):
    """[lengths] of a case sheet: the natural eye before surgery."""

    axial_mm: Annotated[float, Field(ge=14.0, le=40.0)] | None = None
    chamber_depth_mm: Annotated[float, Field(ge=1.0, le=6.0)] | None = None
    lens_thickness_mm: LensThickness | None = None
    white_to_white_mm: WhiteToWhite | None = None
    pupil_photopic_mm: Pupil | None = None
    pupil_dilated_mm: Pupil | None = None
    bag_diameter_mm: Bag | None = None


class ClinicLengthKeys(PictureLengthKeys, CaseLengthKeys):
    """[lengths] of clinic.toml."""


class RulerKeys(Keys):
    """A caliper or ring of known size in the picture."""

    px: Annotated[float, Field(ge=1.0, le=20000.0)]
    mm: Annotated[float, Field(ge=0.1, le=100.0)]
    plane: Literal["limbus", "optic"]


class LampKeys(Keys):
    """[lamps] of a picture sheet."""

    plane_mm: Place | None = None
    places_mm: (
        Annotated[tuple[tuple[Place, Place], ...], Field(min_length=1, max_length=64)] | None
    ) = None
    fixated: Annotated[int, Field(ge=0, le=63)] | None = None


class RefractionKeys(Keys):
    """refraction of a visit: minus cylinder."""

    sphere_dpt: Annotated[float, Field(ge=-40.0, le=40.0)]
    cylinder_dpt: Annotated[float, Field(ge=-15.0, le=0.0)] = 0.0
    axis_deg: AxisDeg | None = None
    distance_m: Annotated[float, Field(ge=0.1, le=20.0)] | None = None
    vertex_mm: Annotated[float, Field(ge=0.0, le=25.0)] | None = None

    @model_validator(mode="after")
    def _axis_of_cylinder(self) -> Self:
        if self.cylinder_dpt != 0.0 and self.axis_deg is None:
            raise ValueError("has a cylinder without axis_deg; give the axis of the minus cylinder")
        return self


class OpticTiltKeys(Keys):
    """optic_tilt of a visit, measured elsewhere: a photograph does not tell it."""

    nasal_deg: Annotated[float, Field(ge=-45.0, le=45.0)]
    superior_deg: Annotated[float, Field(ge=-45.0, le=45.0)]
    sd_deg: Annotated[float, Field(gt=0.0, le=10.0)]


class OperationKeys(Keys):
    """[operation]: what was done."""

    day: Day | None = None
    surgeon: Code | None = None
    technique: Word | None = None
    anaesthesia: Anaesthesia | None = None
    implant_power_dpt: Power | None = None
    implant_axis_deg: AxisDeg | None = None
    haptic_axis_deg: AxisDeg | None = None
    opening: Literal["intact", "torn"] | None = None
    capsular_ring: bool | None = None
    complications: tuple[Word, ...] | None = None


class VisitKeys(Keys):
    """[visit]: what was found on a later day."""

    day: Day | None = None
    acuity_logmar: (
        Annotated[float, Field(ge=-0.4, le=2.0)]
        | Literal["counting-fingers", "hand-motion", "light", "no-light"]
        | None
    ) = None
    refraction: RefractionKeys | None = None
    optic_tilt: OpticTiltKeys | None = None
    pupil_dilated_mm: Pupil | None = None
    opacification_score: Annotated[float, Field(ge=0.0, le=4.0)] | None = None
    laser: Literal["none", "anterior", "posterior"] | None = None
    laser_day: Day | None = None
    intervention: Word | None = None


class CommonKeys(Keys):
    """What picture and case sheets share."""

    code: Code | None = None
    side: Side | None = None
    reference: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    cornea: CorneaKeys | None = None
    operation: OperationKeys | None = None
    visit: VisitKeys | None = None


class PictureOwnKeys(CommonKeys):
    """What only a picture sheet has; every key may be left out of one layer."""

    kind: Literal["photograph", "frame", "clip"] | None = None
    state: (
        Literal["natural", "gel-natural", "empty-bag", "gel-implant", "implant", "visit"] | None
    ) = None
    superior_deg: Annotated[float, Field(ge=-360.0, le=360.0)] | None = None
    superior_sd_deg: Annotated[float, Field(ge=0.0, le=45.0)] | None = None
    mirrored: bool | None = None
    taken: datetime.date | None = None
    visit_day: Day | None = None
    optic_diameter_mm: OpticDiameter | None = None
    optic_diameter_sd_mm: OpticSd | None = None
    toric_marks_per_end: Annotated[int, Field(ge=0, le=10)] | None = None
    working_distance_mm: Annotated[float, Field(ge=20.0, le=2000.0)] | None = None
    px_per_mm: Annotated[float, Field(ge=2.0, le=2000.0)] | None = None
    ruler: RulerKeys | None = None
    fixation: Literal["confirmed", "claimed", "none"] | None = None
    anaesthesia: Anaesthesia | None = None
    consent: tuple[Consent, ...] | None = None
    lamps: LampKeys | None = None


class PictureKeys(PictureOwnKeys):
    """A picture sheet."""

    lengths: PictureLengthKeys | None = None


class ProfileKeys(Keys):
    """[implant.profile]: what the optic's front adds to the path of light."""

    kind: Literal["smooth", "diffractive"]
    path_um: (
        Annotated[tuple[tuple[Radius, Waves], ...], Field(min_length=4, max_length=1000)] | None
    ) = None
    period_waves: (
        Annotated[tuple[tuple[Share, Waves], ...], Field(min_length=2, max_length=1000)] | None
    ) = None
    add_dpt: Annotated[float, Field(ge=-8.0, le=8.0)] | None = None
    design_nm: Annotated[float, Field(ge=400.0, le=900.0)] | None = None
    diameter_mm: Annotated[float, Field(gt=0.0, le=7.5)] | None = None
    apodised_mm: tuple[Radius, Radius] | None = None

    @model_validator(mode="after")
    def _of_its_kind(self) -> Self:
        wanted: tuple[str, ...] = ("path_um",)
        other: tuple[str, ...] = ("period_waves", "add_dpt", "apodised_mm")
        if self.kind == "diffractive":
            wanted, other = ("period_waves", "add_dpt"), ("path_um",)
        if any(getattr(self, key) is None for key in wanted):
            raise ValueError(f"is {self.kind} and lacks {' or '.join(wanted)}; give them")
        told = [key for key in other if getattr(self, key) is not None]
        if told:
            raise ValueError(f"is {self.kind} and has {told[0]} of the other kind; leave it out")
        return self

    @model_validator(mode="after")
    def _ascending(self) -> Self:
        radii = [r for r, _ in self.path_um or ()]
        if radii and (radii[0] != 0.0 or any(b <= a for a, b in pairwise(radii))):
            raise ValueError("has path_um whose radii do not ascend from 0; sort them")
        shares = [u for u, _ in self.period_waves or ()]
        if shares and (
            shares[0] != 0.0 or shares[-1] != 1.0 or any(b < a for a, b in pairwise(shares))
        ):
            raise ValueError("has period_waves whose shares do not run from 0 to 1; sort them")
        if self.apodised_mm is not None and not self.apodised_mm[0] < self.apodised_mm[1]:
            raise ValueError("has apodised_mm with the larger first; give [from, to]")
        if self.add_dpt == 0.0:
            raise ValueError("has an add_dpt of 0, which makes no second focus; correct it")
        return self


class ImplantKeys(Keys):
    """[implant]: the planned implant in general terms, with published lens constants."""

    optic_diameter_mm: OpticDiameter | None = None
    power_dpt: Power | None = None
    cylinder_dpt: Annotated[float, Field(ge=0.0, le=15.0)] | None = None
    axis_deg: AxisDeg | None = None
    index: Annotated[float, Field(ge=1.336, le=1.80)] | None = None
    spherical_aberration_um: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    aberration_aperture_mm: Annotated[float, Field(ge=3.0, le=6.0)] | None = None
    profile: ProfileKeys | None = None
    a_constant: Annotated[float, Field(ge=105.0, le=125.0)] | None = None
    sf: Annotated[float, Field(ge=-5.0, le=8.0)] | None = None
    pacd: Annotated[float, Field(ge=0.0, le=10.0)] | None = None
    a0: Annotated[float, Field(ge=-10.0, le=10.0)] | None = None
    a1: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    a2: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    position_share: Annotated[float, Field(ge=-0.5, le=1.5)] | None = None
    constants_source: Word | None = None


class GoalKeys(Keys):
    """[goal]: what the surgeon wants."""

    refraction_dpt: Annotated[float, Field(ge=-10.0, le=10.0)] | None = None
    least_cover_mm: Annotated[float, Field(ge=0.0, le=1.5)] | None = None
    p_complete: Annotated[float, Field(gt=0.0, lt=1.0)] | None = None
    diameter_limits_mm: tuple[OpeningDiameter, OpeningDiameter] | None = None

    @model_validator(mode="after")
    def _ascending(self) -> Self:
        limits = self.diameter_limits_mm
        if limits is not None and limits[0] > limits[1]:
            raise ValueError("has diameter_limits_mm with the larger first; give [least, largest]")
        return self


class OpeningKeys(Keys):
    """[opening]: the opening to judge."""

    diameter_mm: OpeningDiameter | None = None
    centre: Literal["visual_axis", "lens", "pupil", "limbus"] | None = None
    cut_mm: OpeningDiameter | None = None
    stretch_ratio: Annotated[float, Field(ge=0.5, le=2.0)] | None = None
    stretch_ratio_sd: Annotated[float, Field(ge=0.0, le=0.5)] | None = None
    technique: Literal["manual", "guided"] | None = None


class CentresKeys(Keys):
    """[centres]: candidate centres from the limbus centre."""

    lens_mm: tuple[Centre, Centre] | None = None
    visual_axis_mm: tuple[Centre, Centre] | None = None
    pupil_mm: tuple[Centre, Centre] | None = None
    sd_mm: Annotated[float, Field(ge=0.0, le=1.0)] | None = None


class SpreadKeys(Keys):
    """[spread]: a surgeon's own mean and scatter."""

    opening_from_target_bias_mm: tuple[Centre, Centre] | None = None
    opening_from_target_sd_mm: tuple[Sd, Sd] | None = None
    diameter_bias_mm: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    diameter_sd_mm: Sd | None = None
    optic_from_rest_sd_mm: tuple[Sd, Sd] | None = None
    optic_rest: Literal["lens", "opening"] | None = None


class IncisionKeys(Keys):
    """[incision]: what this surgeon's incision adds to this cornea; all four or none."""

    centroid_dpt: Annotated[float, Field(ge=0.0, le=5.0)]
    steep_deg: AxisDeg
    component_sd_dpt: Annotated[float, Field(ge=0.0, le=3.0)]
    eyes: Annotated[int, Field(ge=3, le=1000000)]


class CaseOwnKeys(CommonKeys):
    """What only a case sheet has; every key may be left out of one layer."""

    person: Code | None = None
    age_years: Annotated[float, Field(ge=0.0, le=120.0)] | None = None
    sex: Literal["female", "male"] | None = None
    corneal_surgery: (
        Literal["none", "myopic", "hyperopic", "radial", "graft", "keratoconus", "unknown"] | None
    ) = None
    risks: tuple[Risk, ...] | None = None
    implant: ImplantKeys | None = None
    goal: GoalKeys | None = None
    opening: OpeningKeys | None = None
    centres: CentresKeys | None = None
    spread: SpreadKeys | None = None
    incision: IncisionKeys | None = None


class CaseKeys(CaseOwnKeys):
    """A case sheet."""

    lengths: CaseLengthKeys | None = None


class ClinicKeys(PictureOwnKeys, CaseOwnKeys):
    """clinic.toml: any fact of a picture or a case that stays the same."""

    lengths: ClinicLengthKeys | None = None
