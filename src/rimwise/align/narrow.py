"""Pupil, P1 and P4 near where they were a moment ago: the narrow search within a clip."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.expect import Expected, expected
from rimwise.align.find import GLOW_MM, SPOT_MM, FoundInFrame, behind_iris
from rimwise.align.fit import FrameFit, Sighted
from rimwise.align.identify import believed, candidates, doubtful
from rimwise.align.looking import Looking
from rimwise.align.masking import inside, without
from rimwise.align.plain_reflexes import find_p1
from rimwise.align.settling import Found, refined
from rimwise.picture.frame_planes import FramePlanes, least_channel, part_planes, working_share
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.raster import Picture
from rimwise.picture.ring_track import limbus_again, pupil_again
from rimwise.picture.rings import Ring
from rimwise.picture.spots import SpotMap, spot_map
from rimwise.records.eye import ReflexName
from rimwise.terms.arrays import FloatArray

_P1_SD_MM = 0.25  # how far an eye takes P1 within a frame of a clip, but for the fastest jumps
# How far they move against P1 meanwhile: about two degrees of turn.
_LENS_SD_MM: dict[ReflexName, float] = {"P3": 0.15, "P4": 0.10}
_SIZE_SD = 0.03  # of a pattern that was seen a moment ago
_GROUND_MM = 0.9  # about a reflex, from which its plainness is told
_ROOM = 1.3  # radii of the pupil in which its margin is looked for
_LIMBUS_ROOM = 1.16  # radii of the limbus: its band, and what lies outside of it
_PALED = 0.5  # level now over then, that a doubtful reflex of the lens keeps


@dataclass(frozen=True, slots=True)
class LensReflex:
    """P3 or P4 as it was when last seen, carried along with P1 since.

    Parameters
    ----------
    found : Found
        Working pixels of the whole frame.
    awaited : Expected
        As the model foretold it at the last whole look.
    seen : bool
        Whether it was seen in this very frame.
    """

    found: Found
    awaited: Expected
    seen: bool = True


@dataclass(frozen=True, slots=True)
class Held:
    """What of an eye is held on to from frame to frame, working pixels of the whole frame.

    Parameters
    ----------
    of : Looking
        The eye before its camera, with the scale of the last whole look.
    rings : EyeRings
        The limbus as it was at the last whole look.
    p1 : Found
    lens : dict
        P3 and P4, where they were seen at the last whole look.
    fit : FrameFit or None
        The last one, where the eye is fitted in every frame.
    """

    of: Looking
    rings: EyeRings
    p1: Found
    lens: dict[ReflexName, LensReflex]
    fit: FrameFit | None = None

    def sees(self, name: ReflexName) -> bool:
        """Was this reflex of the lens seen in this very frame?"""
        return name in self.lens and self.lens[name].seen

    def sighted(self, planes: FramePlanes) -> Sighted:
        """Return the reflexes in stored pixels."""
        by = -np.array(planes.corner_px, dtype=np.float64)
        told: dict[ReflexName, Found] = {"P1": moved(self.p1, by)}
        told |= {name: moved(one.found, by) for name, one in self.lens.items() if one.seen}
        rings = moved_rings(self.rings, planes.corner_px)
        return FoundInFrame(planes, rings, self.of, (told,)).sighted()[0]

    @property
    def px_per_mm(self) -> float:
        """Stored pixels to the millimetre."""
        return self.of.px_per_mm.value


def moved(one: Found, by_px: FloatArray) -> Found:
    """Return the same reflex elsewhere.

    Examples
    --------
    >>> one = Found(np.zeros((1, 2)), 9.0, 1.0, 3.0, 0.0, 9.0)
    >>> moved(one, np.array([2.0, 1.0])).points_px.tolist()
    [[2.0, 1.0]]
    """
    return replace(one, points_px=one.points_px + by_px)


def moved_ring(ring: Ring, by_px: FloatArray) -> Ring:
    """Return the same ring elsewhere.

    Examples
    --------
    >>> seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> ring = Ring((90.0, 90.0), np.full(180, 40.0), seen, 0.3, 0.1, dark, dark)
    >>> moved_ring(ring, np.array([2.0, 1.0])).centre_px
    (92.0, 91.0)
    """
    u, v = np.asarray(ring.centre_px) + by_px
    return replace(ring, centre_px=(float(u), float(v)))


def moved_rings(rings: EyeRings, corner_px: tuple[int, int]) -> EyeRings:
    """Return rings of the whole frame as they lie in a part of it that begins there.

    Examples
    --------
    >>> moved_rings(EyeRings(None, None), (8, 16))
    EyeRings(limbus=None, pupil=None)
    """
    by = -np.array(corner_px, dtype=np.float64)
    limbus, pupil = (
        None if ring is None else moved_ring(ring, by) for ring in (rings.limbus, rings.pupil)
    )
    return EyeRings(limbus, pupil)


def held_again(
    picture: Picture, held: Held, compiled: bool, with_limbus: bool = False
) -> tuple[Held, FramePlanes] | None:
    """Where are pupil, P1 and P4 that were here a moment ago?

    Parameters
    ----------
    picture : Picture
        The next frame; only the part about the pupil is made of it, or about the limbus.
    held : Held
    compiled : bool
    with_limbus : bool
        Whether the limbus is looked for as well.

    Returns
    -------
    (Held, FramePlanes) or None
        None where the pupil's margin or P1 is no longer plain, or the limbus if it is asked for.
    """
    pupil, limbus = held.rings.pupil, held.rings.limbus
    if pupil is None or (with_limbus and limbus is None):
        return None
    scale = held.px_per_mm * working_share(picture)
    about = pupil.centre_px, _ROOM * pupil.radius_px + 0.3 * scale
    if with_limbus and limbus is not None:
        about = limbus.centre_px, _LIMBUS_ROOM * limbus.radius_px + 0.3 * scale
    planes = part_planes(picture, about, compiled)
    corner = np.array(planes.corner_px, dtype=np.float64)
    p1 = _p1_again(planes, moved(held.p1, -corner), scale)
    if p1 is None:
        return None
    step = p1.place_px + corner - held.p1.place_px
    ring = pupil_again(planes, moved_ring(pupil, step - corner))
    if ring is None:
        return None
    if with_limbus and limbus is not None:
        outer = limbus_again(planes, moved_ring(limbus, -corner))
        if outer is None:
            return None
        limbus = moved_ring(outer, corner)
    now = replace(
        held,
        p1=moved(p1, corner),
        rings=EyeRings(limbus, moved_ring(ring, corner)),
    )
    lens = {
        name: _lens_again(planes, (now, name), (p1, ring), step)
        for name in held.lens
        if name == "P4" or with_limbus
    }
    return replace(now, lens=lens), planes


def held_from(found: FoundInFrame, fit: FrameFit | None, seen: Sighted, compiled: bool) -> Held:
    """What of an eye that was looked for, in the whole frame or a part, can be held on to?

    Parameters
    ----------
    found : FoundInFrame
    fit : FrameFit or None
    seen : Sighted
        The reading that the fit rests on.
    compiled : bool
    """
    u, v = found.planes.corner_px
    corner = np.array((u, v), dtype=np.float64)
    lens: dict[ReflexName, LensReflex] = {}
    names = tuple(name for name in _LENS_SD_MM if name in seen.reflexes_px)
    awaited = {} if fit is None else expected(found.of, fit.pose, 0.0, names, compiled)
    for reading, told in zip(found.reflexes, found.sighted(), strict=True):
        for name, one in awaited.items():
            if told.reflexes_px.get(name) == seen.reflexes_px[name]:
                lens[name] = LensReflex(moved(reading[name], corner), one)
    p1 = moved(found.reflexes[0]["P1"], corner)
    return Held(found.of, moved_rings(found.rings, (-u, -v)), p1, lens, fit)


def _box(planes: FramePlanes, points: FloatArray, reach: float) -> tuple[int, int, int, int]:
    """Return left, top, right and bottom about points, within the planes."""
    height, width = planes.grey.shape[:2]
    left, top = np.maximum(0, (points.min(axis=0) - reach).astype(int))
    right, bottom = np.minimum((width, height), (points.max(axis=0) + reach).astype(int))
    return int(left), int(top), int(right), int(bottom)


_LEAST_PX = 24  # side of a part in which spots can be told from their ground


def _too_small(box: tuple[int, int, int, int]) -> bool:
    return min(box[2] - box[0], box[3] - box[1]) < _LEAST_PX


def _p1_again(planes: FramePlanes, last: Found, px_per_mm: float) -> Found | None:
    box = _box(planes, last.points_px, 3.0 * _P1_SD_MM * px_per_mm + 2.0 * last.radius_px)
    if _too_small(box):
        return None
    left, top, right, bottom = box
    white = least_channel(planes.grey[top:bottom, left:right]).astype(np.float32)
    spots = SpotMap((left, top), white, white, white, planes.compiled)
    place = last.place_px
    awaited = Expected(
        "P1",
        planes.stored(place),
        (last.points_px - place) / planes.factor,
        _P1_SD_MM * px_per_mm / planes.factor,
        (0.0, 0.0),
        1.0,
        1.0,
    )
    return find_p1(spots, awaited, (px_per_mm, 0.0), planes)


def _lens_again(
    planes: FramePlanes, known: tuple[Held, ReflexName], near: tuple[Found, Ring], step: FloatArray
) -> LensReflex:
    """Look for P3 or P4 where P1 has taken it; where it is not seen it is only carried along."""
    now, name = known
    corner = np.array(planes.corner_px, dtype=np.float64)
    last = replace(now.lens[name], found=moved(now.lens[name].found, step), seen=False)
    found = _lens_found(planes, (name, last), near, now.px_per_mm * planes.factor)
    return last if found is None else replace(last, found=moved(found, corner), seen=True)


def _lens_found(
    planes: FramePlanes,
    known: tuple[ReflexName, LensReflex],
    near: tuple[Found, Ring],
    px_per_mm: float,
) -> Found | None:
    name, held = known
    p1, pupil = near
    last = moved(held.found, -np.array(planes.corner_px, dtype=np.float64))
    place = last.place_px
    offsets = held.awaited.offsets_px * last.size
    box = _box(planes, place + offsets * planes.factor, _GROUND_MM * px_per_mm)
    if _too_small(box):
        return None
    mask = inside(box, pupil.centre_px, 0.9 * pupil.radius_px)
    spots = spot_map(planes, box, SPOT_MM * px_per_mm, mask)
    spots = without(spots, p1, GLOW_MM * px_per_mm)
    spots = behind_iris(spots, EyeRings(None, pupil), px_per_mm)
    awaited = replace(
        held.awaited,
        place_px=planes.stored(place),
        offsets_px=offsets,
        sd_px=_LENS_SD_MM[name] * px_per_mm / planes.factor,
        size_sd=(_SIZE_SD, _SIZE_SD),
    )
    for one in candidates(spots, awaited, planes, (px_per_mm, p1.radius_px)):
        found = refined(spots, one, awaited, (planes, px_per_mm))
        if found is None or not believed(name, found, spots):
            continue
        if not doubtful(name, found) or found.level > _PALED * last.level:
            return replace(found, size=found.size * last.size)
    return None
