"""Pupil, P1 and P4 followed through a clip, without the fit of the eye in every frame."""

from dataclasses import dataclass

from rimwise.align.fit import fit_frame
from rimwise.align.frame import Question, offset_mm, ring_finding
from rimwise.align.narrow import Held, held_again, held_from, moved_rings
from rimwise.align.tracking import (
    AGAIN_FRAMES,
    ANEW_FRAMES,
    LEAST_PUPIL_DEG,
    ellipse_of,
    found_in,
    same_eye,
)
from rimwise.picture.frame_planes import FramePlanes, part_planes, whole_planes
from rimwise.picture.raster import Picture
from rimwise.picture.ring_track import looks_closed
from rimwise.records.clip import ClipRow, ClipStatus
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused

_LID_ROOM = 1.35  # radii of the limbus in which a lid is told from an open eye


@dataclass(frozen=True, slots=True)
class ReflexesFollowed:
    """A frame's row, and what of the eye is held on to; it is not in sight unless ``here``."""

    row: ClipRow
    held: Held | None
    here: bool


def follow_reflexes(
    picture: Picture,
    at: tuple[int, float],
    sheet: PictureSheet,
    question: Question,
    last: ReflexesFollowed | None,
) -> ReflexesFollowed:
    """Where are pupil, P1 and P4 in the next frame of a clip?

    Parameters
    ----------
    picture : Picture
        Where they are followed, colours are made of the part about the pupil only.
    at : (int, float)
        Number and time of the frame.
    sheet : PictureSheet
    question : Question
    last : ReflexesFollowed or None
        The frame before; None for the first.

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.picture.raster import Raster
    >>> from rimwise.records.picture import Lamps
    >>> sheet = PictureSheet("left", "clip", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    >>> blank = Raster(np.full((96, 128), 90, dtype=np.uint8))
    >>> follow_reflexes(blank, (0, 0.0), sheet, Question(), None).row.status
    'lost'
    """
    held = None if last is None else last.held
    kept = None if held is None else _kept(picture, at, held, question)
    again = at[0] % AGAIN_FRAMES == 0
    if kept is not None and at[0] % ANEW_FRAMES and not (again and kept.row.status == "partial"):
        return kept
    if kept is None and held is not None and not again and _closed(picture, held, question):
        return ReflexesFollowed(ClipRow(*at, "closed"), held, False)
    found = _looked(picture, at, sheet, question, held)
    if found is None:
        found = kept
    if found is not None:
        return found
    status: ClipStatus = "lost"
    if held is not None and _closed(picture, held, question):
        status = "closed"
    return ReflexesFollowed(ClipRow(*at, status), held, False)


def _kept(
    picture: Picture, at: tuple[int, float], held: Held, question: Question
) -> ReflexesFollowed | None:
    again = held_again(picture, held, question.compiled)
    if again is None:
        return None
    now, planes = again
    pupil = now.rings.pupil
    if pupil is None or pupil.seen_deg < LEAST_PUPIL_DEG:
        return None
    return ReflexesFollowed(_row(now, planes, at), now, True)


def _row(now: Held, planes: FramePlanes, at: tuple[int, float]) -> ClipRow:
    here = moved_rings(now.rings, planes.corner_px)
    seen = now.sighted(planes)
    offset = offset_mm(now.of, seen)
    whole = now.sees("P4") or now.of.record.lens == "none"
    return ClipRow(
        *at,
        "found" if whole else "partial",
        dict(seen.reflexes_px),
        ellipse_of(ring_finding(here.pupil, planes, even=True)),
        None,
        None if offset is None else (offset[0].value, offset[1].value),
    )


def _closed(picture: Picture, held: Held, question: Question) -> bool:
    limbus = held.rings.limbus
    if limbus is None:
        return False
    about = limbus.centre_px, _LID_ROOM * limbus.radius_px
    planes = part_planes(picture, about, question.compiled)
    return looks_closed(planes, moved_rings(held.rings, planes.corner_px))


def _looked(
    picture: Picture,
    at: tuple[int, float],
    sheet: PictureSheet,
    question: Question,
    held: Held | None,
) -> ReflexesFollowed | None:
    """Look for the eye in the whole frame, and let the fit say which spots are its reflexes."""
    planes = whole_planes(picture, question.compiled)
    found = found_in((picture, planes), sheet, question, None)
    if found is None or not same_eye(found.rings, None if held is None else held.rings):
        return None
    try:
        fit, seen = fit_frame(found.of, found.sighted(), question.compiled)
    except MeasurementRefused:
        fit, seen = None, found.sighted()[0].without("P3").without("P4")
    now = held_from(found, fit, seen, question.compiled)
    return ReflexesFollowed(_row(now, planes, at), now, True)
