"""What a photograph of an eye with an implant says: the record behind ``rimwise.cover/1``."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.records.corrections import Corrections
from rimwise.records.cover_budget import CoverBudget
from rimwise.records.implant_reflexes import ImplantReflexes
from rimwise.records.opacification import OpacificationFinding
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side

Status = Literal["measured", "partial", "refused"]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something was not measured, or what to beware of."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class EllipsePx:
    """An ellipse in pixels: semi-axes, angle of ``a`` from +u towards +v."""

    cx: float
    cy: float
    a: float
    b: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class VectorEstimate:
    """A vector in the examiner's frame with its anatomical components, real mm."""

    x_mm: Estimate
    y_mm: Estimate
    nasal_mm: Estimate
    superior_mm: Estimate


@dataclass(frozen=True, slots=True)
class ScaleFinding:
    """How many pixels make a millimetre, at which plane, and from what."""

    px_per_mm: Estimate
    plane: Literal["optic", "limbus"]
    origin: Literal["optic", "limbus", "ruler", "given"]


@dataclass(frozen=True, slots=True)
class OpticFinding:
    """The rim of the implant's optic in the picture."""

    ellipse_px: EllipsePx
    diameter_mm: float
    seen_deg: int


@dataclass(frozen=True, slots=True)
class PupilFinding:
    """The pupil's margin in the picture."""

    ellipse_px: EllipsePx
    dilated_mm: Estimate


@dataclass(frozen=True, slots=True)
class OpeningFinding:
    """The edge of the opening.

    ``edge_px`` has 360 entries, index = examiner's direction in degrees about the centre of the
    optic rim's ellipse; None where not seen. Sizes are None where less than 300° is seen.
    """

    edge_px: tuple[tuple[float, float] | None, ...]
    contour_px: tuple[tuple[float, float], ...] | None
    seen_deg: int
    edge_before_optic: bool | None
    equivalent_diameter_mm: Estimate | None = None
    area_mm2: Estimate | None = None
    circularity: Estimate | None = None
    radial_deviation_rms_mm: Estimate | None = None
    largest_width_mm: Estimate | None = None
    smallest_width_mm: Estimate | None = None


@dataclass(frozen=True, slots=True)
class LeastCover:
    """The smallest cover all the way round, and where."""

    value: float
    sd: float
    at_deg: float
    clock_hour: float


@dataclass(frozen=True, slots=True)
class CoverProfile:
    """Cover by direction: positive covered, negative bare, None where it cannot be told."""

    width_mm: tuple[float | None, ...]
    sd_mm: tuple[float | None, ...]
    sd_given_optic_mm: tuple[float | None, ...]
    min_mm: LeastCover | None
    mean_mm: Estimate | None
    area_percent: Estimate | None
    bare_arcs_deg: tuple[tuple[float, float], ...] | None
    bare_total_deg: Estimate | None
    assessable_deg: int
    complete: bool | None
    p_complete: float | None
    given_optic: dict[str, Estimate] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FoundLimbus:
    """The limbus in the picture; the sd is of each coordinate of its centre."""

    ellipse_px: EllipsePx
    radius_px: float
    centre_sd_px: float
    seen_deg: int


@dataclass(frozen=True, slots=True)
class FoundRim:
    """The optic's rim: its ellipse, and the covariance of (R, shift +u, shift -v, e₂, e₃).

    r(θ) = R + e₂ cos 2θ + e₃ sin 2θ with θ counter-clockwise from +u; stored pixels.
    """

    ellipse_px: EllipsePx
    covariance_px2: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class FoundOpening:
    """The opening's edge: radius about the rim's centre in 360 examiner's directions, px.

    ``sd_px`` is its roughness, ``place_sd_px`` what is uncertain alike all round (None: as usual).
    """

    radius_px: tuple[float, ...]
    sd_px: float
    place_sd_px: float | None = None


@dataclass(frozen=True, slots=True)
class FoundSecond:
    """The runner-up for the opening's edge, which was not taken.

    Parameters
    ----------
    radius_px : tuple
        About the rim's centre in 360 examiner's directions; None where it does not stand out.
    found_deg : int
    inward_share : float
        How far inside of the one taken it runs, median, in rim radii; negative outside.
    taken_before : bool or None
        Whether the one taken begins before the rim.
    counted : bool
        Whether it is an edge of its own; else a string of folds, haptics and the rim's lines.
    """

    radius_px: tuple[float | None, ...]
    found_deg: int
    inward_share: float
    taken_before: bool | None
    counted: bool


@dataclass(frozen=True, slots=True)
class FoundCurves:
    """All that the numbers of a photograph rest on, so that they can be had without the picture.

    ``right_px`` and ``up_px`` are the examiner's +x and +y as unit vectors (right, down) of the
    stored picture. ``shown`` has one entry of 360 flags by name: "rim_seen", "rim_hidden",
    "opening_found", "opening_plain", "opening_hidden", and of a torn edge "opening_torn" and
    "opening_broken". Rim and opening are None where the picture showed none. ``px`` is the size,
    in stored pixels, of the pixel that edges were found at.
    """

    right_px: tuple[float, float]
    up_px: tuple[float, float]
    px: float
    rim: FoundRim | None = None
    opening: FoundOpening | None = None
    shown: dict[str, tuple[bool, ...]] = field(default_factory=dict)
    pupil: EllipsePx | None = None
    pupil_sd_px: float = 0.0
    limbus: FoundLimbus | None = None
    haptic_axis_deg: Estimate | None = None
    second: FoundSecond | None = None


@dataclass(frozen=True, slots=True)
class Correction:
    """What a hand changed, and the curves as the program had found them."""

    told: Corrections
    found: FoundCurves


@dataclass(frozen=True, slots=True)
class CoverFinding:
    """All that one photograph says about cover."""

    picture: str
    sha256: str
    side: Side
    state: str
    status: Status
    reasons: tuple[Reason, ...] = ()
    scale: ScaleFinding | None = None
    optic: OpticFinding | None = None
    pupil: PupilFinding | None = None
    opening: OpeningFinding | None = None
    decentration: dict[str, VectorEstimate | None] = field(default_factory=dict)
    cover: CoverProfile | None = None
    implant_toric_axis_deg: Estimate | None = None
    haptic_axis_deg: Estimate | None = None
    opacification: OpacificationFinding | None = None
    curves: FoundCurves | None = None
    correction: Correction | None = None
    budget: CoverBudget | None = None
    reflexes: ImplantReflexes | None = None
