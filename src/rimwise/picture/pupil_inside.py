"""The pupil's margin within a limbus that was found."""

import numpy as np

from rimwise.picture.circles import circles_about, peaks
from rimwise.picture.frame_planes import FramePlanes, told_planes
from rimwise.picture.ring_outline import BandSettings
from rimwise.picture.rings import Ring, ring_near, ring_through
from rimwise.picture.sharp_rings import sharp_rings
from rimwise.terms.arrays import FloatArray

PUPIL_BAND = BandSettings(reach=0.08, window=0.05, gap=0.03, harmonics=5, stiff=0.05)
_MARGIN_BAND = BandSettings(reach=0.025, window=0.025, gap=0.01, harmonics=5, stiff=0.05)
SMALLEST, LARGEST = 0.16, 0.865
"""Pupil over limbus."""
LEAST_SCORE = 0.45
"""Of three planes: what texture alone reaches around a centre."""
SHARP = 0.008
"""Scatter of a margin over its radius: no furrow or glow of the iris is as even."""
_STRONG = 0.5  # an optic's rim inside the pupil may stand out more than the pupil's margin
_OPTIC, _APART = 0.3, 1.12  # a ring so much larger and still so plain makes the inner one an optic
_OFF_CENTRE_SD = 0.06  # pupil from limbus centre, of the limbus's radius, seen through the cornea


def find_pupil_inside(planes: FramePlanes, limbus: Ring, optic_inside: bool = False) -> Ring | None:
    """Where is the pupil's margin inside this limbus?

    Parameters
    ----------
    planes : FramePlanes
    limbus : Ring
    optic_inside : bool
        Whether an implant's rim may show inside the pupil, plainer than the margin.

    Notes
    -----
    The outermost sharp ring that is smooth. Where it is not seen all round, or the outermost is
    not smooth, the plainest ring by its step, completeness and smoothness is asked too.
    """
    if told_planes(planes) < 1.0:
        return _plainest(planes, limbus, optic_inside)
    curves = sharp_rings(planes, limbus, (SMALLEST, LARGEST), _NESTED if optic_inside else 1)
    rings = [ring_through(planes, curve, _MARGIN_BAND) for curve in curves]
    smooth = [one for one in rings if one is not None and _smooth(one)]
    if smooth and smooth[-1] is rings[-1] and smooth[-1].seen_deg >= _WHOLE_DEG:
        return smooth[-1]
    plain = _plainest(planes, limbus, optic_inside)
    if not smooth or plain is None:
        return smooth[-1] if smooth else plain
    if plain.radius_px < _INSIDE * smooth[-1].radius_px:
        return smooth[-1]
    return max(plain, smooth[-1], key=_evenness)


def _smooth(ring: Ring) -> bool:
    return ring.residual_px < SHARP * ring.radius_px


def _evenness(ring: Ring) -> float:
    return float(ring.seen.mean()) ** 2 / (ring.residual_px / ring.radius_px + 0.002)


# Seen so far round a ring is beyond doubt; a ring so much smaller lies inside of another.
_WHOLE_DEG, _INSIDE = 330, 0.97
_NESTED = 3  # the capsule's opening, the optic's rim and the margin; a natural lens has no rim


def _plainest(planes: FramePlanes, limbus: Ring, optic_inside: bool) -> Ring | None:
    centre = (0.5 * limbus.centre_px[0] - 0.25, 0.5 * limbus.centre_px[1] - 0.25)
    full = 0.5 * limbus.radius_px
    radii: FloatArray = full * np.arange(SMALLEST, LARGEST + 0.06, 0.01)
    rings = peaks(circles_about(planes, centre, radii, 0.03 * full))
    least = LEAST_SCORE * told_planes(planes)
    rings = [r for r in rings if r.score > least and r.radius_px < LARGEST * full]
    if not rings:
        return None
    strong = sorted(rings, key=lambda one: -one.score)[:3]
    strong = [one for one in strong if one.score >= _STRONG * strong[0].score]
    found = [ring_near(planes, one, PUPIL_BAND) for one in strong]
    fine = [one for one in found if one is not None and one.radius_px < 0.9 * limbus.radius_px]
    grey = least < LEAST_SCORE
    merit = [_merit(one, limbus) * (_GLOW if grey and _bright(one) else 1.0) for one in fine]
    if not fine:
        return None
    best = int(np.argmax(merit))
    if optic_inside:
        outer = [
            k
            for k, one in enumerate(fine)
            if merit[k] > _OPTIC * merit[best] and one.radius_px > _APART * fine[best].radius_px
        ]
        best = max(outer, key=lambda k: fine[k].radius_px, default=best)
    return fine[best]


def _bright(ring: Ring) -> bool:
    return sum(ring.inner) > sum(ring.outer)


_GLOW = 0.2  # in near-infrared pupils are dark, and what is brighter inside is a lamp's glow


def _merit(ring: Ring, limbus: Ring) -> float:
    """How plain, complete and smooth is this ring? Furrows and the soft limbus are neither."""
    off = np.hypot(*(np.array(ring.centre_px) - np.array(limbus.centre_px))) / limbus.radius_px
    central = float(np.exp(-0.5 * (off / _OFF_CENTRE_SD) ** 2))
    return central * plainness(ring, limbus.radius_px)


def plainness(ring: Ring, size_px: float) -> float:
    """How plain, complete and smooth is this ring, its scatter held against a size?"""
    whole = float(ring.seen.mean()) ** 2
    return step_of(ring) * whole / (ring.residual_px / size_px + 0.002)


def step_of(ring: Ring) -> float:
    """How far apart are the colours on both sides of this ring, in logarithms?"""
    return float(np.linalg.norm(np.subtract(ring.inner, ring.outer)))
