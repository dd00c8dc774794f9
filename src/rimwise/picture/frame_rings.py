"""The limbus and the pupil in a microscope frame."""

from dataclasses import dataclass

import numpy as np

from rimwise.picture.circles import Circle, circles_about, peaks
from rimwise.picture.frame_planes import FramePlanes, told_planes
from rimwise.picture.grey_limbus import limbus_about
from rimwise.picture.grey_pupil import DARKER, brighter_outside, dark_rings, darkness
from rimwise.picture.limbus_level import at_half_level, white_outside
from rimwise.picture.limbus_settled import about, settled
from rimwise.picture.pupil_inside import (
    LARGEST,
    LEAST_SCORE,
    SHARP,
    SMALLEST,
    find_pupil_inside,
    plainness,
    step_of,
)
from rimwise.picture.pupil_ruff import on_margin
from rimwise.picture.ring_outline import BandSettings
from rimwise.picture.ring_seeds import RingSeed, ring_seeds
from rimwise.picture.rings import Ring, ring_near
from rimwise.terms.arrays import FloatArray

LIMBUS_BAND = BandSettings(reach=0.07, window=0.07, gap=0.05, harmonics=2, stiff=0.6)
_TOLERANCE = 0.10  # of a radius that biometry and scale foretell
_FORETOLD_SD = 0.04
_BLACK_LOG = 3.3  # the mask of a microscope's lit disc, about 20 of 255


@dataclass(frozen=True, slots=True)
class EyeRings:
    """What was found of limbus and pupil; None where not."""

    limbus: Ring | None
    pupil: Ring | None


def find_rings(
    planes: FramePlanes,
    expected_px: float | None,
    optic_inside: bool = False,
    superior_deg: float = 90.0,
) -> EyeRings:
    """Where are the limbus and the pupil's margin?

    Parameters
    ----------
    planes : FramePlanes
    expected_px : float or None
        Mean radius of the limbus in working pixels, where scale and size are known.
    optic_inside : bool
        Whether an implant is in the eye.
    superior_deg : float
        Where the brow lies, counter-clockwise from picture right.

    Notes
    -----
    Own derivation: gradients vote for a centre; around it rings show as peaks of the share of
    their way on which an edge runs. The limbus is the peak nearest to the radius that is
    foretold, or else the one for which most speaks; the pupil is a plain ring well inside.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> eye = np.select([far < 40.0, far < 90.0], [40, 90], 180).astype(np.uint8)
    >>> rings = find_rings(frame_planes(Raster(eye)), 90.0)
    >>> round(rings.limbus.radius_px), round(rings.pupil.radius_px)
    (90, 40)
    """
    share = told_planes(planes)
    if share < 1.0:
        dark = dark_eye(planes, expected_px, superior_deg)
        if dark.pupil is not None:
            return dark
    best: tuple[float, Circle] | None = None
    for seeds in (limbus_seeds, pupil_seeds):
        for seed in seeds(planes, expected_px)[:2]:
            found = _limbus_circle(planes, seed, expected_px, share)
            if found is not None and (best is None or found[0] > best[0]):
                best = found
            if best is not None and best[0] > _CLEAR * share:
                break
        if best is not None and best[0] > _CLEAR * share:
            break
    if best is None:
        return EyeRings(None, None)
    limbus = ring_near(planes, best[1], LIMBUS_BAND)
    if limbus is None or min(limbus.outer) < _BLACK_LOG:
        return EyeRings(None, None)
    pupil = find_pupil_inside(planes, limbus, optic_inside)
    if share < 1.0:
        return _in_grey(planes, EyeRings(limbus, pupil), expected_px)
    edge = None
    if like_limbus(limbus):
        start = best[1] if pupil is None else about(pupil, limbus)
        edge = at_half_level(planes, settled(planes, limbus, start, LIMBUS_BAND))
    return EyeRings(edge, on_margin(planes, pupil) if pupil and _plain(pupil) else None)


def like_limbus(ring: Ring) -> bool:
    """Is it whiter outside of this ring, as sclera is, and its outline as smooth as an eye's?

    Examples
    --------
    >>> from dataclasses import replace
    >>> seen, iris, sclera = np.ones(180, dtype=bool), (4.2, 4.1, 4.0), (5.0, 5.0, 5.0)
    >>> ring = Ring((90.0, 90.0), np.full(180, 60.0), seen, 0.3, 0.1, iris, sclera)
    >>> like_limbus(ring), like_limbus(replace(ring, inner=sclera, outer=iris))
    (True, False)
    """
    smooth = ring.residual_px <= _ROUGHEST * ring.radius_px
    if not smooth or ring.seen_deg < _LEAST_SEEN_DEG or not white_outside(ring):
        return False
    redder = ring.outer[0] - ring.inner[0]
    well = _PLACED if redder < _WHITER_LOG else _FAIRLY
    placed = ring.centre_sd_px < well * ring.radius_px
    return brighter_outside(ring) > _WHITER_LOG or (redder > _REDDER_LOG and placed)


def _plain(ring: Ring) -> bool:
    """Does so much speak for this margin that no furrow or glow of the iris comes up to it?"""
    sharp = ring.residual_px < SHARP * ring.radius_px
    return sharp or plainness(ring, ring.radius_px) > _PLAIN


# Log units by which sclera is whiter than iris, or redder than a pale one that is well placed;
# scatter of edge and centre over the radius, own measurement on frames of many looks; up to _FAIRLY
# where it is as much redder as it had to be whiter (own renders of pale irises: 3 % off at most).
_WHITER_LOG, _REDDER_LOG = 0.1, 0.05
_ROUGHEST, _PLACED, _FAIRLY, _PLAIN = 0.022, 0.004, 0.006, 22.0
_LEAST_SEEN_DEG = 120  # a third of the way round: less bends too little to tell its centre by


def dark_eye(
    planes: FramePlanes, expected_px: float | None, superior_deg: float = 90.0
) -> EyeRings:
    """Where are a dark pupil and the limbus about it in a near-infrared frame?

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> dark_eye(frame_planes(Raster(np.full((96, 128), 90, dtype=np.uint8))), None)
    EyeRings(limbus=None, pupil=None)
    """
    best, most = EyeRings(None, None), -np.inf
    for pupil in dark_rings(planes, expected_px):
        told = limbus_about(planes, pupil, expected_px, superior_deg)
        worth = float(np.log(darkness(pupil)))
        if told is not None:
            worth += _BOTH * told.worth
        if worth > most:
            limbus = told.ring if told is not None and told.sure else None
            best, most = EyeRings(limbus, pupil), worth
    return best


_BOTH = 3.0  # log units of a pupil's plainness that a whole limbus about it weighs


def _in_grey(planes: FramePlanes, rings: EyeRings, expected_px: float | None) -> EyeRings:
    """Judge rings in near-infrared, where the pupil is plain and the limbus is faint.

    A limbus plainer than the pupil is the pupil, and what seemed its pupil the lamps' glow; a
    limbus that is not surely told is none.
    """
    limbus, pupil = rings.limbus, rings.pupil
    if pupil is not None and brighter_outside(pupil) < DARKER:
        pupil = None
    if limbus is not None and (pupil is None or step_of(pupil) < step_of(limbus)):
        if expected_px is not None:
            return EyeRings(None, None)
        limbus = _limbus_about(planes, limbus)
        pupil = None if limbus is None else find_pupil_inside(planes, limbus)
        pupil = None if pupil is None or brighter_outside(pupil) < DARKER else pupil
    off = 0.0
    if limbus is not None and expected_px is not None:
        off = abs(limbus.radius_px / expected_px - 1.0)
    if limbus is None or off > _GREY_TOLERANCE:
        return EyeRings(None, None)
    sure = limbus.centre_sd_px < _GREY_SURE * limbus.radius_px
    return EyeRings(limbus if sure else None, pupil)


def _limbus_about(planes: FramePlanes, pupil: Ring) -> Ring | None:
    """Find the plainest ring outside of a pupil."""
    centre = (0.5 * pupil.centre_px[0] - 0.25, 0.5 * pupil.centre_px[1] - 0.25)
    start, end = 0.5 * _CLEAR_OF * pupil.radius_px, 0.5 * pupil.radius_px / SMALLEST
    end = min(end, 0.6 * max(planes.log_half.shape[:2]))
    if end < 1.2 * start:
        return None
    radii = np.arange(start, end, 0.012 * end)
    rings = peaks(circles_about(planes, centre, radii, 0.05 * end))
    best = max(rings, key=lambda one: one.score, default=None)
    if best is None or best.score < LEAST_SCORE * told_planes(planes):
        return None
    return ring_near(planes, best, LIMBUS_BAND)


_CLEAR_OF = 1.5  # radii of a pupil: nearer, its own edge still shows


_CLEAR = 2.0  # so much speaks for the first centre that no other is tried
_FAR = 3.0


_GREY_SURE = 0.0045  # sd of a limbus's centre over its radius; in colour wrong ones are rarer
_GREY_TOLERANCE = 0.05  # three sd of scale and white-to-white; colour does not vouch for it


def pupil_seeds(planes: FramePlanes, expected_px: float | None) -> list[RingSeed]:
    """Which circles could be a pupil, whose centre lies near that of the limbus?

    In near-infrared the pupil is the plainest ring of an eye, and the limbus may be the faintest.
    """
    width = planes.log_small.shape[1]
    full = 0.3 * width if expected_px is None else expected_px * planes.small
    radii: FloatArray = full * np.geomspace(SMALLEST, 0.7, 10)
    return _in_half(planes, ring_seeds(planes.log_small, radii, planes.compiled))


def limbus_seeds(planes: FramePlanes, expected_px: float | None) -> list[RingSeed]:
    """Which circles could be rings of the eye (half-size pixels)?"""
    if expected_px is None:
        radii = np.geomspace(0.1, 0.5, 16) * planes.log_small.shape[1]
    else:
        radii = expected_px * planes.small * np.linspace(1.0 - _TOLERANCE, 1.0 + _TOLERANCE, 5)
    return _in_half(planes, ring_seeds(planes.log_small, radii, planes.compiled))


def _in_half(planes: FramePlanes, seeds: list[RingSeed]) -> list[RingSeed]:
    half = 0.5 / planes.small
    return [
        RingSeed(s.votes, (s.u_px + 0.5) * half - 0.5, (s.v_px + 0.5) * half - 0.5,
                 s.radius_px * half)
        for s in seeds
    ]  # fmt: skip


def _limbus_circle(
    planes: FramePlanes, seed: RingSeed, expected_px: float | None, share: float
) -> tuple[float, Circle] | None:
    """Return the likeliest limbus about this centre with its worth."""
    if expected_px is None:
        full = 0.5 * max(planes.log_half.shape[:2])
        radii = full * np.arange(0.05, 1.1, 0.012)
        width = 0.04 * full
    else:
        full = 0.5 * expected_px
        radii = full * np.arange(0.16, 1.14, 0.02)
        width = 0.04 * full  # two and a half spacings would be two or three as numbers are rounded
    rings = peaks(circles_about(planes, (seed.u_px, seed.v_px), radii, width))
    rings = [one for one in rings if one.score > LEAST_SCORE * share]
    step = float(radii[1] - radii[0])
    worth = [_worth(one, rings, step) for one in rings]
    if expected_px is not None:
        off = [(one.radius_px / full - 0.98) / _FORETOLD_SD for one in rings]
        worth = [
            w * float(np.exp(-0.5 * o * o)) if abs(o) < _FAR else 0.0
            for w, o in zip(worth, off, strict=True)
        ]
    best = max(range(len(rings)), key=lambda k: worth[k], default=None)
    return None if best is None or worth[best] <= 0.0 else (worth[best], rings[best])


def _worth(limbus: Circle, rings: list[Circle], step_px: float) -> float:
    """How much speaks for this ring: itself, a pupil inside, nothing strong outside?

    Rings stand on coarse steps of the radius, so that a wide pupil may seem one step wider.
    """
    least, most = SMALLEST * limbus.radius_px, LARGEST * limbus.radius_px + step_px
    inside = [one.score for one in rings if least < one.radius_px < most]
    outside = [one.score for one in rings if one.radius_px > 1.1 * limbus.radius_px]
    return limbus.score + max(inside, default=0.0) - 0.5 * max(outside, default=0.0)


def another_eye(planes: FramePlanes, limbus: Ring) -> bool:
    """Does a second limbus of about the same size stand elsewhere in the frame?

    Parameters
    ----------
    planes : FramePlanes
    limbus : Ring
        The one that was found.

    Notes
    -----
    Own derivation: both have to do without each other's ground, and the second has to be nearly
    as plain as the first; only looked for where the frame has room for it.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 640))
    >>> far = np.minimum(np.hypot(u - 160.0, v - 115.0), np.hypot(u - 480.0, v - 120.0))
    >>> eyes = frame_planes(Raster(np.select([far < 40, far < 90], [40, 90], 180).astype("u1")))
    >>> another_eye(eyes, find_rings(eyes, 90.0).limbus)
    True
    """
    radius = limbus.radius_px
    height, width = planes.grey.shape[:2]
    u, v = limbus.centre_px
    across = max(u, width - u) - _WITHIN * radius, max(v, height - v) - _WITHIN * radius
    if float(np.hypot(*across)) < _ELSEWHERE * radius or max(across) < 0.0:
        return False
    share = told_planes(planes)
    own = RingSeed(0.0, 0.5 * u - 0.25, 0.5 * v - 0.25, 0.5 * radius)
    first = _limbus_circle(planes, own, radius, share)
    if first is None:
        return False
    for seed in limbus_seeds(planes, radius):
        away = np.hypot(seed.u_px - own.u_px, seed.v_px - own.v_px)
        if away < _ELSEWHERE * own.radius_px:
            continue
        second = _limbus_circle(planes, seed, radius, share)
        if second is not None and second[0] > _AS_PLAIN * first[0]:
            return True
    return False


# Radii of the limbus: how far apart two eyes' centres are at least, and how far from the border a
# second eye's centre stands of which enough is seen; and how plain that is against the first.
_ELSEWHERE, _WITHIN, _AS_PLAIN = 3.0, 0.6, 0.6
