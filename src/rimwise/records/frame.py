"""What one microscope frame says, and an eye's reference: behind ``rimwise.frame/1``."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.records.cover import EllipsePx, Reason, ScaleFinding, Status
from rimwise.records.eye import ReflexName
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side

TargetName = Literal["visual_axis", "line_of_sight", "lens_pole", "corneal_axis"]
TARGETS: tuple[TargetName, ...] = ("visual_axis", "line_of_sight", "lens_pole", "corneal_axis")
Point = tuple[float, float]
Pair = tuple[Estimate, Estimate]


@dataclass(frozen=True, slots=True)
class ReflexFinding:
    """One reflex of all lamps in stored pixels, in the sheet's lamp order; None where not told."""

    points_px: tuple[Point | None, ...]
    sd_px: float


@dataclass(frozen=True, slots=True)
class RingFinding:
    """Pupil or limbus in stored pixels.

    Parameters
    ----------
    ellipse_px : EllipsePx
    sd_px : float
        Of each coordinate of the centre.
    seen_deg : int
        Directions in which the edge was seen, not bridged.
    """

    ellipse_px: EllipsePx
    sd_px: float
    seen_deg: int


@dataclass(frozen=True, slots=True)
class TargetFinding:
    """Where an axis meets the plane of the opening.

    Parameters
    ----------
    px : (float, float)
    from_lens_pole_mm : pair of Estimate or None
        Real mm in the plane of the lens's front, examiner's x and y.
    opening_ring_px : tuple of points or None
        The planned opening as it will appear.
    spread_px : 3 floats
        Variances uu, vv and covariance uv of the place.
    """

    px: Point
    from_lens_pole_mm: Pair | None
    opening_ring_px: tuple[Point, ...] | None
    spread_px: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class CornealMark:
    """What could be marked on the cornea so that a hand can follow a target.

    Parameters
    ----------
    target : str
        Which target it stands for.
    centre_px : (float, float)
    from_p1_mm : (float, float)
        From the mean of P1, mm of the limbus plane, examiner's x and y.
    ring_on_cornea_mm : float or None
        Diameter of the ring that covers the planned opening.
    shift_mm_per_deg : float
        How far mark and target part, mm of the limbus plane, for each degree of turn.
    """

    target: TargetName
    centre_px: Point
    from_p1_mm: Point
    ring_on_cornea_mm: float | None
    shift_mm_per_deg: float


@dataclass(frozen=True, slots=True)
class OffsetFinding:
    """P1 to P4 now, against the reference, and the turn that would restore fixation.

    Parameters
    ----------
    p1_to_p4_mm : pair of Estimate or None
        mm of the limbus plane, mean over the lamps that are seen in both.
    from_reference_mm : (float, float) or None
        The offset now less the one that this set-up would show at fixation.
    turn_deg : pair of Estimate or None
        The rotation still to be made; examiner's x and y.
    turn_words : str or None
    ghost_px : tuple of points
        Where P4 must lie in this very frame when the turn is done.
    rolled_deg : Estimate or None
        How far the eye lies turned about its axis against the reference, counter-clockwise to the
        examiner; None where iris and vessels do not tell it.
    """

    p1_to_p4_mm: Pair | None = None
    from_reference_mm: Point | None = None
    turn_deg: Pair | None = None
    turn_words: str | None = None
    ghost_px: tuple[Point, ...] = ()
    rolled_deg: Estimate | None = None


@dataclass(frozen=True, slots=True)
class FrameFinding:
    """What one frame says."""

    picture: str
    side: Side
    state: str
    status: Status
    reasons: tuple[Reason, ...] = ()
    reflexes: dict[ReflexName, ReflexFinding | None] = field(default_factory=dict)
    pupil: RingFinding | None = None
    limbus: RingFinding | None = None
    scale: ScaleFinding | None = None
    eye_rotation_deg: Pair | None = None
    lens_tilt_deg: Pair | None = None
    lens_decentration_mm: Pair | None = None
    targets: dict[TargetName, TargetFinding | None] = field(default_factory=dict)
    corneal_mark: CornealMark | None = None
    offset: OffsetFinding | None = None


@dataclass(frozen=True, slots=True)
class EyeReference:
    """An eye's own signs of fixation, from frames in which it looked at a lamp.

    Parameters
    ----------
    code : str or None
        Pseudonym of the eye.
    side, state : str
        Of the eye when it was taken; a reference belongs to one state.
    taken : str or None
        Date of the frames.
    fixations : int
        Separate frames; fewer than three make it "unverified".
    status : "verified" or "unverified"
    fixation : str
        "confirmed" or "claimed", the weakest of the frames.
    anaesthesia : str or None
    lamp : int
        Which lamp was looked at.
    lamps_mm : tuple of points
        Their places, picture right and up.
    superior_deg : float
    working_distance_mm, px_per_mm : float or None
        The set-up of the first frame.
    offset_mm : pair of Estimate or None
        P1 to P4 while the eye fixated, in that set-up; ± is the scatter where three or more.
    axis_deg : pair of Estimate
        Visual axis from the corneal axis, in front of the eye, examiner's x and y.
    parameters : tuple of str
        ``axis_x_rad``, ``axis_y_rad``, then what else of the eye stays as it is.
    mean : tuple of float
    covariance : tuple of rows
        Of the parameters.
    around : tuple of str
        Iris and vessels around the limbus in rows of digits; empty where they were not told.
    """

    code: str | None
    side: Side
    state: str
    taken: str | None
    fixations: int
    status: Literal["verified", "unverified"]
    fixation: Literal["confirmed", "claimed", "none"]
    anaesthesia: str | None
    lamp: int
    lamps_mm: tuple[Point, ...]
    superior_deg: float
    working_distance_mm: float | None
    px_per_mm: float | None
    offset_mm: Pair | None
    axis_deg: Pair
    parameters: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    around: tuple[str, ...] = ()
