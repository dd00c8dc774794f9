"""What is known of one eye before surgery, and what the surgeon wants: the case sheet."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.picture import CorneaSheet
from rimwise.terms.frames import Side

Technique = Literal["manual", "guided"]
Centre = Literal["visual_axis", "lens", "pupil", "limbus"]
CornealSurgery = Literal["none", "myopic", "hyperopic", "radial", "graft", "keratoconus", "unknown"]


@dataclass(frozen=True, slots=True)
class CaseLengths:
    """Lengths of the natural eye, mm; every entry may be unknown.

    ``pupil_photopic_mm`` and ``pupil_dilated_mm`` are apparent, ``bag_diameter_mm`` is real.
    """

    axial_mm: float | None = None
    chamber_depth_mm: float | None = None
    lens_thickness_mm: float | None = None
    white_to_white_mm: float | None = None
    pupil_photopic_mm: float | None = None
    pupil_dilated_mm: float | None = None
    bag_diameter_mm: float | None = None


@dataclass(frozen=True, slots=True)
class PlannedImplant:
    """The implant in general terms; no models. Constants are the published kinds.

    ``axis_deg`` is where the marks of a toric one are meant to lie; ``spherical_aberration_um`` is
    what the implant alone gives to light of ``aberration_aperture_mm`` (None: spherical surfaces).
    """

    optic_diameter_mm: float
    power_dpt: float | None = None
    cylinder_dpt: float = 0.0
    index: float | None = None
    constants: dict[str, float] = field(default_factory=dict)
    constants_source: str | None = None
    axis_deg: float | None = None
    spherical_aberration_um: float | None = None
    aberration_aperture_mm: float = 5.0
    profile: ImplantProfile | None = None


@dataclass(frozen=True, slots=True)
class Goal:
    """What the surgeon wants; diameter limits are never left."""

    refraction_dpt: float | None = None
    least_cover_mm: float = 0.25
    p_complete: float = 0.95
    diameter_limits_mm: tuple[float, float] = (4.8, 5.5)


@dataclass(frozen=True, slots=True)
class OpeningWish:
    """The opening to judge; without a diameter the best is sought.

    ``technique`` says whose spread stands in where no own one is known: of an opening torn by hand
    or of one made by an instrument or along a projected ring. ``cut_mm`` is the size set on an
    instrument, ``stretch_ratio`` the diameter left over it.
    """

    diameter_mm: float | None = None
    centre: Centre | None = None
    cut_mm: float | None = None
    stretch_ratio: float | None = None
    stretch_ratio_sd: float | None = None
    technique: Technique = "manual"


@dataclass(frozen=True, slots=True)
class Centres:
    """Candidate centres, mm from the limbus centre, examiner's frame, real at the opening plane."""

    lens_mm: tuple[float, float] | None = None
    visual_axis_mm: tuple[float, float] | None = None
    pupil_mm: tuple[float, float] | None = None
    sd_mm: float = 0.05


@dataclass(frozen=True, slots=True)
class Spread:
    """A surgeon's own mean and scatter of opening size and centring, (nasal, superior) mm."""

    opening_from_target_bias_mm: tuple[float, float]
    opening_from_target_sd_mm: tuple[float, float]
    diameter_bias_mm: float
    diameter_sd_mm: float
    optic_from_rest_sd_mm: tuple[float, float]
    optic_rest: Literal["lens", "opening"] = "lens"
    origin: str = "case sheet"


@dataclass(frozen=True, slots=True)
class IncisionSheet:
    """What this surgeon's incision adds to the cornea of this eye.

    Parameters
    ----------
    centroid_dpt, steep_deg : float
        Mean of what was added as a power vector: its cylinder and its steep meridian.
    component_sd_dpt : float
        Scatter from eye to eye of each component (J0, J45), half a cylinder each.
    eyes : int
        Behind these numbers.
    """

    centroid_dpt: float
    steep_deg: float
    component_sd_dpt: float
    eyes: int


@dataclass(frozen=True, slots=True)
class CaseSheet:
    """The case sheet (docs/sheets.md)."""

    code: str
    side: Side
    corneal_surgery: CornealSurgery
    person: str | None = None
    age_years: float | None = None
    sex: Literal["female", "male"] | None = None
    risks: tuple[str, ...] = ()
    reference: str | None = None
    cornea: CorneaSheet = field(default_factory=CorneaSheet)
    lengths: CaseLengths = field(default_factory=CaseLengths)
    implant: PlannedImplant | None = None
    goal: Goal = field(default_factory=Goal)
    opening: OpeningWish = field(default_factory=OpeningWish)
    centres: Centres | None = None
    spread: Spread | None = None
    incision: IncisionSheet | None = None
