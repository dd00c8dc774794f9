"""Rings and reflexes near where they were a moment ago: the narrow search within a clip."""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from rimwise.align.expect import Expected
from rimwise.align.find import FoundInFrame
from rimwise.align.fit import FrameFit
from rimwise.align.looking import Looking
from rimwise.align.narrow_lens import Sought, box_about, lens_again, too_small
from rimwise.align.plain_reflexes import find_p1
from rimwise.align.settling import Found
from rimwise.picture.frame_planes import FramePlanes, least_channel, part_planes, working_share
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.planes import Float32Array
from rimwise.picture.raster import Picture
from rimwise.picture.ring_track import limbus_again, pupil_again
from rimwise.picture.rings import Ring
from rimwise.picture.spots import SpotMap
from rimwise.purkinje.forward import Engine, reflexes
from rimwise.records.eye import ReflexName
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

_P1_SD_MM = 0.25  # how far an eye takes P1 within a frame of a clip, but for the fastest jumps
_ROOM, _LIMBUS_ROOM = 1.3, 1.22  # radii of the ring in which its edge is looked for


@dataclass(frozen=True, slots=True)
class Held:
    """What of an eye is held on to from frame to frame, working pixels of the whole frame.

    Parameters
    ----------
    of : Looking
        The eye before its camera, with the scale of the last whole look.
    rings : EyeRings
        The limbus where it was when last seen, carried along with P1 since.
    p1 : Found
    lens : dict
        P3 and P4 where they were when last seen, carried along too.
    awaited : dict
        The same as the model foretold them at the last whole look.
    seen : frozenset of str
        Which of "limbus", "P3" and "P4" were seen in this very frame.
    fit : FrameFit or None
        Of this frame, where the eye is fitted in every frame.
    foretold : dict
        P3 and P4 that were not seen in this frame, where its fit says they are.
    weights : array (3,) or None
        Of the channels in the map of spots, from the last frame in which the noise of the whole
        pupil was told.
    roll_deg : Estimate or None
        How far the eye is turned about its axis since the reference, at the last whole look.
    """

    of: Looking
    rings: EyeRings
    p1: Found
    lens: dict[ReflexName, Found]
    awaited: dict[ReflexName, Expected]
    seen: frozenset[str]
    fit: FrameFit | None = None
    foretold: dict[ReflexName, Found] = field(default_factory=dict)
    weights: Float32Array | None = None
    roll_deg: Estimate | None = None

    def found(self, planes: FramePlanes) -> FoundInFrame:
        """Return what was seen in this very frame, as it lies in these planes of it."""
        by = -np.array(planes.corner_px, dtype=np.float64)
        told: dict[ReflexName, Found] = {"P1": moved(self.p1, by)}
        for name, one in self.lens.items():
            if name in self.seen:
                told[name] = moved(one, by)
        rings = moved_rings(self.rings, planes.corner_px)
        limbus = rings.limbus if "limbus" in self.seen else None
        return FoundInFrame(planes, EyeRings(limbus, rings.pupil), self.of, (told,), self.roll_deg)

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
    picture: Picture, held: Held, whole: bool, compiled: bool
) -> tuple[Held, FramePlanes] | None:
    """Where are the rings and reflexes that were here a moment ago?

    Parameters
    ----------
    picture : Picture
        The next frame; only the part about the eye is made of it.
    held : Held
    whole : bool
        Whether limbus and P3 are looked for too, else pupil, P1 and P4 alone.
    compiled : bool

    Returns
    -------
    (Held, FramePlanes) or None
        None where the pupil's margin or P1 is no longer plain.
    """
    pupil, scale = held.rings.pupil, held.px_per_mm * working_share(picture)
    if pupil is None:
        return None
    planes = part_planes(picture, _about(held.rings, whole, scale), compiled)
    corner = np.array(planes.corner_px, dtype=np.float64)
    p1 = _p1_again(planes, moved(held.p1, -corner), scale)
    if p1 is None:
        return None
    step = p1.place_px + corner - held.p1.place_px
    ring = pupil_again(planes, moved_ring(pupil, step - corner))
    if ring is None:
        return None
    names: tuple[ReflexName, ...] = ("P4", "P3") if whole else ("P4",)
    here = {name: moved(held.lens[name], step - corner) for name in names if name in held.lens}
    sought = _sought(held, here, step - corner)
    found, weights = lens_again(planes, sought, (p1, ring), (scale, held.weights))
    if whole and held.weights is not None and "P4" in here and "P4" not in found:
        # Before P4 is given up the whole pupil is asked, as in a frame alone.
        found, weights = lens_again(planes, sought, (p1, ring), (scale, None))
    limbus, again = held.rings.limbus, None
    if limbus is not None:
        limbus = moved_ring(limbus, step)
        again = limbus_again(planes, moved_ring(limbus, -corner)) if whole else None
        limbus = limbus if again is None else moved_ring(again, corner)
    now = replace(
        held,
        p1=moved(p1, corner),
        rings=EyeRings(limbus, moved_ring(ring, corner)),
        lens={name: moved(one, corner) for name, one in (here | found).items()},
        weights=weights,
        seen=frozenset(found) | frozenset([] if again is None else ["limbus"]),
    )
    return now, planes


def _sought(held: Held, here: dict[ReflexName, Found], by_px: FloatArray) -> list[Sought]:
    near = [Sought(held.awaited[name], one, True) for name, one in here.items()]
    return near + [
        Sought(held.awaited[k], moved(one, by_px), False) for k, one in held.foretold.items()
    ]


def foretold(now: Held, planes: FramePlanes, names: tuple[ReflexName, ...]) -> Held:
    """Where are reflexes of the lens awaited that were not seen in this frame, after its fit?

    Parameters
    ----------
    now : Held
        With its fit.
    planes : FramePlanes
        Of it, or of a part of it.
    names : tuple of str
        Which of them are to be sought in the next frame.
    """
    missed = tuple(name for name in names if name in now.awaited and name not in now.seen)
    # Behind an implant, which mirrors alike on both sides, the whole look tells P3 from P4.
    fit = now.fit
    if fit is None or not missed or now.of.record.lens != "natural":
        return replace(now, foretold={})
    points: dict[ReflexName, list[tuple[float, float]]] = {}
    engine: Engine = "compiled" if fit.compiled else "plain"
    for one in reflexes(fit.model, fit.pose, now.of.setup, missed, engine):
        points.setdefault(one.name, []).append(one.px)
    places = {k: planes.working(np.array(px)) + planes.corner_px for k, px in points.items()}
    radius = now.p1.radius_px
    there = {
        name: Found(place, math.inf, 1.0, radius, 0.0, 0.0)
        for name, place in places.items()
        if np.isfinite(place).all()
    }
    return replace(now, foretold=there)


def _about(rings: EyeRings, whole: bool, px_per_mm: float) -> tuple[tuple[float, float], float]:
    """Return middle and half of the side of the part that holds what is looked for."""
    pupil, limbus = rings.pupil, rings.limbus
    assert pupil is not None
    if whole and limbus is not None:
        return limbus.centre_px, _LIMBUS_ROOM * limbus.radius_px
    return pupil.centre_px, _ROOM * pupil.radius_px + 0.3 * px_per_mm


def _p1_again(planes: FramePlanes, last: Found, px_per_mm: float) -> Found | None:
    box = box_about(planes, last.points_px, 3.0 * _P1_SD_MM * px_per_mm + 2.0 * last.radius_px)
    if too_small(box):
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
