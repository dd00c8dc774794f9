"""What a photograph of an eye with an implant says: the record behind ``rimwise.cover/1``."""

from dataclasses import dataclass, field
from typing import Literal

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
