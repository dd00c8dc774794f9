"""An eye followed through a clip: near where it was, or else looked for anew."""

from dataclasses import dataclass, replace

from rimwise.align.expect import Expected, expected
from rimwise.align.find import FoundInFrame, find_in_frame
from rimwise.align.fit import FrameFit, Sighted, fit_frame, fit_near
from rimwise.align.frame import Question
from rimwise.align.narrow import Held, foretold, held_again, moved_rings
from rimwise.align.settling import Found
from rimwise.align.tracking_rows import reflex_row, whole_row
from rimwise.align.turned import rolled_since, strip_of
from rimwise.align.which_reflex import check_named
from rimwise.picture.frame_planes import FramePlanes, part_planes, whole_planes
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.raster import Picture
from rimwise.picture.ring_track import looks_closed, same_edge
from rimwise.records.clip import ClipRow, ClipStatus
from rimwise.records.eye import ReflexName
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused

ANEW_FRAMES = 120
"""So often the eye is looked for as if it had never been seen: no wrong hold lasts longer."""

# So often the noise is told anew, and P4, or an eye behind what seems a lid, is looked for in the
# whole frame.
_AGAIN_FRAMES = 15
_WIDELY_FRAMES = 5  # so often a P3 out of sight is looked for where the fit foretells it
_LID_ROOM = 1.35  # radii of the limbus in which a lid is told from an open eye
_LEAST_PUPIL_DEG = 180  # less of the margin in sight, and a lid or an instrument covers the eye
_LENS: tuple[ReflexName, ...] = ("P3", "P4")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of every frame of a clip.

    Parameters
    ----------
    sheet : PictureSheet
    question : Question
    whole : bool
        Whether limbus and P3 are looked for and the eye is fitted, else pupil, P1 and P4 alone.
    """

    sheet: PictureSheet
    question: Question
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Followed:
    """A frame's row, and what of the eye is held on to; it is not in sight unless ``here``."""

    row: ClipRow
    held: Held | None
    here: bool


def follow_frame(
    picture: Picture, at: tuple[int, float], wanted: Wanted, last: Followed | None
) -> Followed:
    """What does the next frame of a clip say?

    Parameters
    ----------
    picture : Picture
        Where the eye is followed, colours are made of the part about it only.
    at : (int, float)
        Number and time of the frame.
    wanted : Wanted
    last : Followed or None
        The frame before; None for the first.

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.picture.raster import Raster
    >>> from rimwise.records.picture import Lamps
    >>> sheet = PictureSheet("left", "clip", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    >>> blank = Raster(np.full((96, 128), 90, dtype=np.uint8))
    >>> follow_frame(blank, (0, 0.0), Wanted(sheet, Question()), None).row.status
    'lost'
    """
    held = None if last is None else last.held
    again = at[0] % _AGAIN_FRAMES == 0
    if held is not None and again:
        held = replace(held, weights=None)
    kept = None if held is None else _kept(picture, at, held, wanted)
    if kept is not None and at[0] % ANEW_FRAMES and not (again and kept.row.status == "partial"):
        return kept
    if kept is None and held is not None and not again and _closed(picture, held, wanted):
        return Followed(ClipRow(*at, "closed"), held, False)
    found = _looked(picture, at, wanted, held)
    if found is None:
        found = kept
    if found is not None:
        return found
    status: ClipStatus = "lost"
    if held is not None and _closed(picture, held, wanted):
        status = "closed"
    return Followed(ClipRow(*at, status), held, False)


def _kept(picture: Picture, at: tuple[int, float], held: Held, wanted: Wanted) -> Followed | None:
    compiled = wanted.question.compiled
    again = held_again(picture, held, wanted.whole, compiled)
    if again is None:
        return None
    now, planes = again
    pupil = now.rings.pupil
    if pupil is None or pupil.seen_deg < _LEAST_PUPIL_DEG:
        return None
    if not wanted.whole:
        return Followed(reflex_row(now.found(planes), at), now, True)
    if held.fit is None or "limbus" in held.seen - now.seen:
        return None
    told = _fitted(now, planes, (held.fit, held.seen))
    if told is None:
        return None
    now, fit, seen = told
    row = whole_row(now.found(planes), at, (fit, seen), wanted.question)
    # A wide search for P3 takes as long as much of the rest.
    names = _LENS if (at[0] + 1) % _WIDELY_FRAMES == 0 else ("P4",)
    return Followed(row, foretold(now, planes, names), True)


def _fitted(
    now: Held, planes: FramePlanes, last: tuple[FrameFit, frozenset[str]]
) -> tuple[Held, FrameFit, Sighted] | None:
    """Fit the eye; what was not seen a frame ago must go with the rest, or is no reflex of it."""
    before, known = last
    for some in (now, replace(now, seen=now.seen & known)):
        seen = some.found(planes).sighted()[0]
        fit = fit_near(now.of, seen, before)
        if fit is not None:
            return replace(some, fit=fit), fit, seen
        if some.seen <= known:
            break
    return None


def _closed(picture: Picture, held: Held, wanted: Wanted) -> bool:
    limbus = held.rings.limbus
    if limbus is None:
        return False
    about = limbus.centre_px, _LID_ROOM * limbus.radius_px
    planes = part_planes(picture, about, wanted.question.compiled)
    return looks_closed(planes, moved_rings(held.rings, planes.corner_px))


def _looked(
    picture: Picture, at: tuple[int, float], wanted: Wanted, held: Held | None
) -> Followed | None:
    """Look for the eye in the whole frame, and let the fit say which spots are its reflexes."""
    compiled = wanted.question.compiled
    planes = whole_planes(picture, compiled)
    found = _found_in(picture, planes, wanted)
    if found is None or not _same_eye(found.rings, None if held is None else held.rings):
        return None
    reference = wanted.question.reference
    if wanted.whole and reference is not None:
        found = replace(found, roll_deg=rolled_since(reference, strip_of(found)))
    fit: FrameFit | None = None
    try:
        fit, seen = fit_frame(found.of, found.sighted(), compiled)
    except MeasurementRefused:
        seen = found.sighted()[0].without("P3").without("P4")
    try:
        check_named(found, seen)
    except MeasurementRefused:
        return None
    now = _held(found, fit, seen, compiled)
    if wanted.whole:
        told = None if fit is None else (fit, seen)
        now = foretold(now, planes, _LENS)
        return Followed(whole_row(found, at, told, wanted.question), now, True)
    return Followed(reflex_row(now.found(planes), at), now, True)


def _found_in(picture: Picture, planes: FramePlanes, wanted: Wanted) -> FoundInFrame | None:
    """Return what is found, if the eye is in sight: half of its pupil's margin at least."""
    try:
        found = find_in_frame(picture, wanted.sheet, wanted.question.compiled, planes)
    except MeasurementRefused:
        return None
    pupil = found.rings.pupil
    return found if pupil is not None and pupil.seen_deg >= _LEAST_PUPIL_DEG else None


def _same_eye(rings: EyeRings, known: EyeRings | None) -> bool:
    """Is what was found anew the eye that was followed before it was lost?"""
    if known is None or known.limbus is None or rings.limbus is None:
        return True
    return same_edge(rings.limbus, known.limbus)


def _held(found: FoundInFrame, fit: FrameFit | None, seen: Sighted, compiled: bool) -> Held:
    lens: dict[ReflexName, Found] = {}
    for reading, told in zip(found.reflexes, found.sighted(), strict=True):
        if all(told.reflexes_px.get(k) == places for k, places in seen.reflexes_px.items()):
            lens = {name: reading[name] for name in _LENS if name in seen.reflexes_px}
            break
    awaited: dict[ReflexName, Expected] = {}
    if fit is not None and fit.has_lens:
        awaited = expected(found.of, fit.pose, 0.0, _LENS, compiled)
    lens = {name: one for name, one in lens.items() if name in awaited}
    rings = {"limbus"} if found.rings.limbus is not None else set()
    return Held(
        found.of,
        found.rings,
        found.reflexes[0]["P1"],
        lens,
        awaited,
        frozenset(lens) | rings,
        fit,
        roll_deg=found.roll_deg,
    )
