"""What each frame of a clip says: the rows of its table."""

from dataclasses import dataclass, field
from typing import Literal

from rimwise.records.cover import EllipsePx
from rimwise.records.eye import ReflexName
from rimwise.records.frame import Point

ClipStatus = Literal["found", "partial", "lost", "closed"]
SHOWN: tuple[ClipStatus, ...] = ("found", "partial")


@dataclass(frozen=True, slots=True)
class ClipRow:
    """One frame of a clip; what was not found is None.

    Parameters
    ----------
    frame : int
        Counted from 0.
    time_s : float
        As the file tells it.
    status : str
    reflexes_px : dict
        One place a lamp, stored pixels.
    pupil, limbus : EllipsePx or None
    offset_mm, turn_deg : (float, float) or None
        Examiner's x and y.
    turn_sd_deg : float or None
        The larger of both coordinates.
    """

    frame: int
    time_s: float
    status: ClipStatus
    reflexes_px: dict[ReflexName, tuple[Point | None, ...]] = field(default_factory=dict)
    pupil: EllipsePx | None = None
    limbus: EllipsePx | None = None
    offset_mm: Point | None = None
    turn_deg: Point | None = None
    turn_sd_deg: float | None = None

    @property
    def confidence(self) -> float:
        """Return 0 to 1: 1 for a turn known exactly, 0 where none is told.

        Examples
        --------
        >>> ClipRow(0, 0.0, "found", turn_sd_deg=1.0).confidence
        0.5
        """
        return 0.0 if self.turn_sd_deg is None else 1.0 / (1.0 + self.turn_sd_deg)
