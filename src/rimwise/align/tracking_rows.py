"""What a frame of a clip says, as a row of its table."""

from rimwise.align.find import FoundInFrame
from rimwise.align.fit import FrameFit, Sighted
from rimwise.align.frame import (
    WIDEST_TURN_SD_DEG,
    Question,
    offset_mm,
    ring_finding,
    turn_wanted,
)
from rimwise.align.reference import with_reference
from rimwise.align.turned import turned_about
from rimwise.records.clip import ClipRow, ClipStatus
from rimwise.records.cover import EllipsePx

_WHOLE_DEG = 340  # of a margin: its outline bridges nothing, and no point of it lies far off


def whole_row(
    found: FoundInFrame,
    at: tuple[int, float],
    told: tuple[FrameFit, Sighted] | None,
    question: Question,
) -> ClipRow:
    """What is told of a frame in which the eye was fitted, or could not be?

    Parameters
    ----------
    found : FoundInFrame
    at : (int, float)
        Number and time of the frame.
    told : (FrameFit, Sighted) or None
    question : Question
    """
    pupil, limbus = _pupil(found), _limbus(found)
    if told is None:
        p1 = found.sighted()[0].reflexes_px["P1"]
        return ClipRow(*at, "partial", {"P1": p1}, pupil, limbus)
    fit, seen = told
    turn, sd = None, None
    if question.reference is not None:
        roll = found.roll_deg or turned_about(None, None)
        fit, axis = with_reference(fit, question.reference, found.of, roll)
        _, (x, y), sds = turn_wanted(found.of, fit, axis, question.reference)
        if float(sds.max()) <= WIDEST_TURN_SD_DEG:
            turn, sd = (float(x), float(y)), float(sds.max())
    whole = "P4" in seen.reflexes_px or not fit.has_lens
    return ClipRow(
        *at,
        "found" if whole else "partial",
        dict(seen.reflexes_px),
        pupil,
        limbus,
        _offset(found, seen),
        turn,
        sd,
    )


def reflex_row(found: FoundInFrame, at: tuple[int, float]) -> ClipRow:
    """What is told of a frame in which pupil, P1 and P4 alone were followed?

    Parameters
    ----------
    found : FoundInFrame
    at : (int, float)
        Number and time of the frame.
    """
    seen = found.sighted()[0].without("P3")
    whole = "P4" in seen.reflexes_px or found.of.record.lens == "none"
    status: ClipStatus = "found" if whole else "partial"
    return ClipRow(*at, status, dict(seen.reflexes_px), _pupil(found), None, _offset(found, seen))


def _offset(found: FoundInFrame, seen: Sighted) -> tuple[float, float] | None:
    offset = offset_mm(found.of, seen)
    return None if offset is None else (offset[0].value, offset[1].value)


def _pupil(found: FoundInFrame) -> EllipsePx | None:
    pupil = found.rings.pupil
    even = pupil is not None and pupil.seen_deg >= _WHOLE_DEG
    told = ring_finding(pupil, found.planes, even)
    return None if told is None else told.ellipse_px


def _limbus(found: FoundInFrame) -> EllipsePx | None:
    told = ring_finding(found.rings.limbus, found.planes, even=True)
    return None if told is None else told.ellipse_px
