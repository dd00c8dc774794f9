"""An eye followed through a clip: near where it was, or else looked for anew."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.find import FoundInFrame, find_in_frame, with_p1
from rimwise.align.fit import FrameFit, Sighted, fit_frame, fit_near
from rimwise.align.frame import (
    WIDEST_TURN_SD_DEG,
    Question,
    offset_mm,
    ring_finding,
    turn_wanted,
)
from rimwise.align.looking import Looking
from rimwise.align.narrow import Held, held_again, held_from, moved, moved_rings
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


ANEW_FRAMES = 120
"""So often the eye is looked for as if it had never been seen: no wrong hold lasts longer."""

AGAIN_FRAMES = 15
"""So often what was lost of an eye is looked for in the whole frame."""


@dataclass(frozen=True, slots=True)
class Followed:
    """A frame's row, and what of the eye is held on to; it is not in sight unless ``here``."""

    row: ClipRow
    held: Held | None
    here: bool


def follow_frame(
    picture: Picture,
    at: tuple[int, float],
    sheet: PictureSheet,
    question: Question,
    last: Followed | None,
) -> Followed:
    """What does the next frame of a clip say?

    Parameters
    ----------
    picture : Picture
        Where the eye is followed, colours are made of the part about it only.
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
    held = None if last is None else last.held
    known = None if held is None else held.rings
    here = last is not None and last.here
    if held is not None and here and at[0] % ANEW_FRAMES:
        kept = _kept(picture, at, held, question)
        if kept is not None:
            return kept
    seen = picture, whole_planes(picture, question.compiled)
    found = found_in(seen, sheet, question, known) if here else None
    if found is None:
        found = found_in(seen, sheet, question, None)
        if found is not None and not same_eye(found.rings, known):
            found = None
    if found is None:
        return Followed(ClipRow(*at, _absent(seen[1], known)), held, False)
    return _looked(found, at, question)


def _kept(
    picture: Picture, at: tuple[int, float], held: Held, question: Question
) -> Followed | None:
    """Fit the eye to what is where it was a moment ago; None where that does not go."""
    if held.fit is None:
        return None
    again = held_again(picture, held, question.compiled, with_limbus=True)
    if again is None:
        return None
    now, planes = again
    pupil = now.rings.pupil
    if pupil is None or pupil.seen_deg < LEAST_PUPIL_DEG:
        return None
    rings = moved_rings(now.rings, planes.corner_px)
    less = not now.sees("P4") or not all(one.seen for one in now.lens.values())
    if held.fit.has_lens and less and (not now.sees("P4") or at[0] % AGAIN_FRAMES == 0):
        p1 = moved(now.p1, -np.array(planes.corner_px, dtype=np.float64))
        return _looked(with_p1(planes, rings, now.of, p1, question.compiled), at, question)
    seen = now.sighted(planes)
    fit = fit_near(now.of, seen, held.fit)
    if fit is None:
        return None
    row = _row((rings, planes), at)
    return Followed(_told(row, (now.of, fit, seen), question), replace(now, fit=fit), True)


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


def _looked(found: FoundInFrame, at: tuple[int, float], question: Question) -> Followed:
    """Fit the eye to what was found in the whole frame."""
    row = _row((found.rings, found.planes), at)
    sighted = found.sighted()
    try:
        fit, seen = fit_frame(found.of, sighted, question.compiled)
    except MeasurementRefused:
        p1 = sighted[0].without("P3").without("P4")
        row = replace(row, reflexes_px=dict(p1.reflexes_px))
        return Followed(row, held_from(found, None, p1, question.compiled), True)
    held = held_from(found, fit, seen, question.compiled)
    return Followed(_told(row, (found.of, fit, seen), question), held, True)


def _row(known: tuple[EyeRings, FramePlanes], at: tuple[int, float]) -> ClipRow:
    rings, planes = known
    pupil, limbus = (
        ellipse_of(ring_finding(ring, planes, even))
        for ring, even in ((rings.pupil, False), (rings.limbus, True))
    )
    return ClipRow(*at, "partial", {}, pupil, limbus)


def _told(row: ClipRow, known: tuple[Looking, FrameFit, Sighted], question: Question) -> ClipRow:
    """Return the row with reflexes, offset and turn."""
    of, fit, seen = known
    offset, turn, sd = offset_mm(of, seen), None, None
    if question.reference is not None:
        fit, axis = with_reference(fit, question.reference, of)
        _, move, sds = turn_wanted(of, fit, axis, question.reference)
        if float(sds.max()) <= WIDEST_TURN_SD_DEG:
            turn, sd = (float(move[0]), float(move[1])), float(sds.max())
    away = None if offset is None else (offset[0].value, offset[1].value)
    whole = "P4" in seen.reflexes_px or not fit.has_lens
    return replace(
        row,
        status="found" if whole else "partial",
        reflexes_px=dict(seen.reflexes_px),
        offset_mm=away,
        turn_deg=turn,
        turn_sd_deg=sd,
    )


def ellipse_of(ring: RingFinding | None) -> EllipsePx | None:
    """Which ellipse is told of a ring?

    Examples
    --------
    >>> ellipse_of(None) is None
    True
    """
    return None if ring is None else ring.ellipse_px
