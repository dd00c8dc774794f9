"""An eye followed through a clip: near where it was, or else looked for anew."""

from dataclasses import dataclass

from rimwise.align.find import FoundInFrame, find_in_frame
from rimwise.align.fit import fit_frame
from rimwise.align.frame import Question, offset_mm, ring_finding, turn_back
from rimwise.align.reference import with_reference
from rimwise.picture.frame_planes import FramePlanes, whole_planes
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.raster import Picture
from rimwise.picture.ring_track import looks_closed, same_edge
from rimwise.records.clip import ClipRow, ClipStatus
from rimwise.records.cover import EllipsePx
from rimwise.records.frame import RingFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused

LEAST_PUPIL_DEG = 180  # less of the margin in sight, and a lid or an instrument covers the eye


@dataclass(frozen=True, slots=True)
class Followed:
    """A frame's row, and the rings from which the next frame starts."""

    row: ClipRow
    rings: EyeRings | None
    here: bool


def follow_frame(
    picture: Picture | tuple[Picture, FramePlanes],
    at: tuple[int, float],
    sheet: PictureSheet,
    question: Question,
    last: Followed | None,
) -> Followed:
    """What does the next frame of a clip say?

    Parameters
    ----------
    picture : Picture, or Picture and FramePlanes
        Planes that were made ready beforehand spare making them here.
    at : (int, float)
        Number and time of the frame.
    sheet : PictureSheet
    question : Question
    last : Followed or None
        The frame before; None for the first.

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.picture.raster import Raster
    >>> from rimwise.records.picture import Lamps
    >>> sheet = PictureSheet("left", "clip", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    >>> blank = Raster(np.full((96, 128), 90, dtype=np.uint8))
    >>> follow_frame(blank, (0, 0.0), sheet, Question(), None).row.status
    'lost'
    """
    raster, planes = picture if isinstance(picture, tuple) else (picture, None)
    seen = raster, planes or whole_planes(raster, question.compiled)
    known = None if last is None else last.rings
    found = None
    if last is not None and last.here:
        found = found_in(seen, sheet, question, known)
    if found is None:
        found = found_in(seen, sheet, question, None)
        if found is not None and not same_eye(found.rings, known):
            found = None
    if found is None:
        return Followed(ClipRow(*at, _absent(seen[1], known)), known, False)
    return Followed(_row(found, at, question), found.rings, True)


def found_in(
    seen: tuple[Picture, FramePlanes],
    sheet: PictureSheet,
    question: Question,
    last: EyeRings | None,
) -> FoundInFrame | None:
    """What is found, if the eye is in sight: half of its pupil's margin at least?

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.picture.raster import Raster
    >>> blank = Raster(np.full((96, 128), 90, dtype=np.uint8))
    >>> seen = blank, whole_planes(blank, False)
    >>> found_in(seen, PictureSheet("left"), Question(), None) is None
    True
    """
    try:
        found = find_in_frame(seen[0], sheet, question.compiled, last, seen[1])
    except MeasurementRefused:
        return None
    pupil = found.rings.pupil
    return found if pupil is not None and pupil.seen_deg >= LEAST_PUPIL_DEG else None


def same_eye(rings: EyeRings, known: EyeRings | None) -> bool:
    """Is what was found anew the eye that was followed before it was lost?

    Examples
    --------
    >>> nothing = EyeRings(None, None)
    >>> same_eye(nothing, nothing)
    True
    """
    if known is None or known.limbus is None or rings.limbus is None:
        return True
    return same_edge(rings.limbus, known.limbus)


def _absent(planes: FramePlanes, known: EyeRings | None) -> ClipStatus:
    return "closed" if known is not None and looks_closed(planes, known) else "lost"


def _row(found: FoundInFrame, at: tuple[int, float], question: Question) -> ClipRow:
    pupil, limbus = (
        ellipse_of(ring_finding(ring, found.planes, even))
        for ring, even in ((found.rings.pupil, False), (found.rings.limbus, True))
    )
    try:
        fit, seen = fit_frame(found.of, found.sighted(), question.compiled)
    except MeasurementRefused:
        p1 = found.sighted()[0].reflexes_px["P1"]
        return ClipRow(*at, "partial", {"P1": p1}, pupil, limbus)
    offset, turn, sd = offset_mm(found.of, seen), None, None
    if question.reference is not None:
        fit, axis = with_reference(fit, question.reference, found.of)
        told = turn_back(found.of, fit, (axis, offset), question)[0].turn_deg
        if told is not None:
            turn, sd = (told[0].value, told[1].value), max(told[0].sd or 0.0, told[1].sd or 0.0)
    away = None if offset is None else (offset[0].value, offset[1].value)
    whole = "P4" in seen.reflexes_px or not fit.has_lens
    status: ClipStatus = "found" if whole else "partial"
    return ClipRow(*at, status, dict(seen.reflexes_px), pupil, limbus, away, turn, sd)


def ellipse_of(ring: RingFinding | None) -> EllipsePx | None:
    """Which ellipse is told of a ring?

    Examples
    --------
    >>> ellipse_of(None) is None
    True
    """
    return None if ring is None else ring.ellipse_px
