"""Which of two reflexes is it, where one lamp over an implant makes no pattern?"""

import math

import cv2
import numpy as np

from rimwise.align.find import FoundInFrame, RefusedFrame
from rimwise.align.fit import Sighted
from rimwise.align.one_lamp import as_small_as_foretold
from rimwise.align.settling import Found
from rimwise.picture.frame_planes import FramePlanes, least_channel
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.rings import Ring
from rimwise.terms.arrays import BoolArray
from rimwise.terms.errors import MeasurementRefused


def check_named(found: FoundInFrame, seen: Sighted) -> None:
    """Refuse one lamp over an implant unless it is plain which spot is P1.

    Both sides of an implant mirror a sixth of what the cornea does, so that P4 is overexposed too
    where P1 is, and is taken for it where a tool covers P1. Then either P4 stands beside P1, no
    larger than foretold, as a tool's gleam or P3 would be; or no tool reaches into the pupil, and
    no other spot is as white.

    Parameters
    ----------
    found : FoundInFrame
    seen : Sighted
        What the answer rests on.

    Raises
    ------
    RefusedFrame
        ``which-reflex``.

    Examples
    --------
    >>> from types import SimpleNamespace as Some
    >>> of = Some(record=Some(lens="implant"), setup=Some(lamps_mm=np.zeros((1, 3))))
    >>> found = Some(of=of, reflexes=(), planes=None, rings=Some(pupil=None))
    >>> check_named(found, Sighted({"P1": ((3.0, 4.0),)}, None, None))
    Traceback (most recent call last):
    ...
    rimwise.align.find.RefusedFrame: one lamp alone has no pattern that tells P1 from ...
    """
    if found.of.record.lens != "implant" or len(found.of.setup.lamps_mm) > 1:
        return
    if "P4" in seen.reflexes_px and _told_by_p4(found, seen):
        return
    pupil = found.rings.pupil
    if "P4" not in seen.reflexes_px and pupil is not None:
        px_per_mm = found.of.px_per_mm.value * found.planes.factor
        bare = not reached_into(found.planes, found.rings, px_per_mm)
        if bare and _whitest(found.planes, pupil, px_per_mm, found.reflexes[0]["P1"]):
            return
    refusal = MeasurementRefused(
        "which-reflex",
        "one lamp alone has no pattern that tells P1 from the implant's P4, and neither was P4 "
        "found beside it nor is the pupil's margin free; use two lamps or more, or take a frame "
        "without a tool over the pupil",
    )
    raise RefusedFrame(refusal, found.planes, found.rings)


_HIDES_MM = 0.2  # what hides P1 is as wide as the image of a lamp 10 mm across at the least
# Columns of two degrees: a straight tool that ends 1.9 mm off the middle, as far as gaze takes P1,
# crosses margin and limbus at directions that differ by so much.
_ASIDE = 12


def _told_by_p4(found: FoundInFrame, seen: Sighted) -> bool:
    places = seen.reflexes_px["P4"]
    return any(
        told.reflexes_px.get("P4") == places and as_small_as_foretold(found.planes, reading["P4"])
        for reading, told in zip(found.reflexes, found.sighted(), strict=True)
    )


def reached_into(planes: FramePlanes, rings: EyeRings, px_per_mm: float) -> bool:
    """May a tool lie over the pupil's middle? It covers its margin, and the limbus on that side.

    Parameters
    ----------
    planes : FramePlanes
    rings : EyeRings
    px_per_mm : float
        Working pixels.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> planes = frame_planes(Raster(np.full((400, 400, 3), 40, dtype=np.uint8)))
    >>> seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> seen[20:26] = False
    >>> pupil = Ring((200.0, 200.0), np.full(180, 90.0), seen, 0.3, 0.1, dark, dark)
    >>> limbi = [Ring((200.0, 200.0), np.full(180, 170.0), np.roll(seen, k), 0.3, 0.1, dark, dark)
    ...          for k in (5, 60)]
    >>> [reached_into(planes, EyeRings(one, pupil), 60.0) for one in limbi]
    [True, False]
    """
    if rings.pupil is None:
        return True
    # A glint on the margin is no tool, which is wider than its gleam.
    glare = _glare(planes, rings.pupil)
    into = _gaps(rings.pupil, rings.pupil.seen | glare, _HIDES_MM * px_per_mm)
    if _INSIDE * rings.pupil.radius_px > _REACH_MM * px_per_mm:
        into &= _other_inside(planes, rings.pupil, into)
    if rings.limbus is None:
        return bool(into.any())
    over = _gaps(rings.limbus, rings.limbus.seen, _HIDES_MM * px_per_mm)
    beside = [np.roll(over, k) for k in range(-_ASIDE, _ASIDE + 1)]
    return bool((into & np.any(beside, axis=0)).any())


def _other_inside(planes: FramePlanes, pupil: Ring, into: BoolArray) -> BoolArray:
    """Return where it looks otherwise within the margin than beside: a tool goes on to P1."""
    middle = np.array(pupil.centre_px)
    at = (0.5 * (middle + _INSIDE * (pupil.curve_px - middle)) - 0.25).astype(np.float32)
    seen = cv2.remap(planes.log_half, at[:, :1], at[:, 1:], cv2.INTER_LINEAR)[:, 0]
    other = np.zeros_like(into)
    for k in np.flatnonzero(into):
        near = (k + np.arange(-_BESIDE, _BESIDE + 1)) % len(into)
        own, beside = seen[near[_BESIDE - 1 : _BESIDE + 2]], seen[near[~into[near]]]
        away = np.median(own, axis=0) - np.median(beside, axis=0) if len(beside) else np.ones(3)
        other[k] = np.abs(away).max() > _OTHER_LOG
    return other


# Share of the pupil's radius at which it is asked, columns beside, and log units by which a tool is
# brighter or darker than a pupil, the noise of three samples being a tenth of it.
_INSIDE, _BESIDE, _OTHER_LOG = 0.85, 15, 0.15


def _glare(planes: FramePlanes, ring: Ring) -> BoolArray:
    at = (0.5 * ring.curve_px - 0.25).astype(np.float32)
    seen = cv2.remap(planes.glare_half, at[:, :1], at[:, 1:], cv2.INTER_LINEAR)
    return np.asarray(seen[:, 0] > 0.0)


def _gaps(ring: Ring, told: BoolArray, least_px: float) -> BoolArray:
    """Return where nothing was told over a way of so many pixels at least."""
    count = len(told)
    least = max(1, math.ceil(least_px * count / (2.0 * math.pi * ring.radius_px)))
    whole = np.all([np.roll(~told, k) for k in range(least)], axis=0)
    return np.asarray(np.any([np.roll(whole, -k) for k in range(least)], axis=0))


def _whitest(planes: FramePlanes, pupil: Ring, px_per_mm: float, p1: Found) -> bool:
    """Is there no other spot in the pupil as white as P1 and as large, but for bloom?"""
    white = least_channel(planes.grey)
    (u, v), radius = pupil.centre_px, min(_WITHIN * pupil.radius_px, _REACH_MM * px_per_mm)
    left, top = max(0, int(u - radius)), max(0, int(v - radius))
    part = white[top : int(v + radius) + 1, left : int(u + radius) + 1]
    column, row = (round(float(k)) for k in p1.points_px[0])
    rows, columns = np.indices(part.shape)
    within = np.hypot(columns + left - u, rows + top - v) < radius
    near = np.hypot(columns + left - column, rows + top - row) < _OWN * p1.radius_px
    core = float(np.median(part[near])) if near.any() else 255.0
    own = int((near & (part >= _AS_WHITE * core)).sum())
    return not _largest((part >= _AS_WHITE * core) & within & ~_beside(near)) > _AS_LARGE * own


def _beside(near: BoolArray) -> BoolArray:
    """Return P1's own surroundings, into which its light spills."""
    return np.asarray(cv2.dilate(near.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0)


def _largest(white: BoolArray) -> int:
    _, _, stats, _ = cv2.connectedComponentsWithStats(white.astype(np.uint8))
    return int(stats[1:, cv2.CC_STAT_AREA].max(initial=0))


# As in photographs: of P1's level, and of its area; clipped spots differ in bloom. Radii that are
# P1's own; share of the pupil, whose margin may be bright, and how far from its middle P1 may be.
_AS_WHITE, _AS_LARGE, _OWN, _WITHIN, _REACH_MM = 0.95, 0.2, 1.0, 0.95, 2.1
