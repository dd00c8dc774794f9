"""What is known about a picture before anyone looks at it."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.terms.frames import PictureFrame, Side

Kind = Literal["photograph", "frame", "clip"]
State = Literal["natural", "gel-natural", "empty-bag", "gel-implant", "implant", "visit"]


@dataclass(frozen=True, slots=True)
class Ruler:
    """A caliper or ring of known size in the picture."""

    px: float
    mm: float
    plane: Literal["limbus", "optic"]


@dataclass(frozen=True, slots=True)
class Lamps:
    """The microscope's lamps: places (picture right, picture up) from the camera axis."""

    places_mm: tuple[tuple[float, float], ...]
    plane_mm: float = 0.0
    fixated: int | None = None


@dataclass(frozen=True, slots=True)
class CorneaSheet:
    """What is known of the cornea; every entry may be unknown."""

    radius_mm: float | None = None
    radius_flat_mm: float | None = None
    radius_steep_mm: float | None = None
    steep_axis_deg: float | None = None
    thickness_um: float | None = None
    posterior_flat_mm: float | None = None
    posterior_steep_mm: float | None = None
    asphericity_q: float | None = None


@dataclass(frozen=True, slots=True)
class PictureLengths:
    """Lengths of the eye in the picture, as it is now; every entry may be unknown."""

    white_to_white_mm: float | None = None
    lens_front_depth_mm: float | None = None
    lens_thickness_mm: float | None = None


@dataclass(frozen=True, slots=True)
class PictureSheet:
    """The picture's sheet: what the user tells about one picture (docs/sheets.md)."""

    side: Side
    kind: Kind = "photograph"
    state: State = "visit"
    code: str | None = None
    superior_deg: float = 90.0
    superior_sd_deg: float = 3.0
    mirrored: bool = False
    taken: str | None = None
    visit_day: int | None = None
    optic_diameter_mm: float | None = None
    optic_diameter_sd_mm: float = 0.05
    toric_marks_per_end: int = 0
    working_distance_mm: float | None = None
    px_per_mm: float | None = None
    ruler: Ruler | None = None
    fixation: Literal["confirmed", "claimed", "none"] = "none"
    anaesthesia: Literal["topical", "block", "general"] | None = None
    consent: tuple[str, ...] = ()
    reference: str | None = None
    lamps: Lamps | None = None
    cornea: CorneaSheet = field(default_factory=CorneaSheet)
    lengths: PictureLengths = field(default_factory=PictureLengths)

    @property
    def frame(self) -> PictureFrame:
        """How the picture was held."""
        return PictureFrame(self.superior_deg, self.mirrored)
