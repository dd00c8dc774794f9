"""Limbus and pupil near where they were a moment ago: the narrow search within a clip."""

import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.frame_rings import LIMBUS_BAND, EyeRings
from rimwise.picture.limbus_level import at_half_level
from rimwise.picture.pupil_inside import PUPIL_BAND
from rimwise.picture.pupil_ruff import on_margin
from rimwise.picture.rings import Ring, ring_again
from rimwise.terms.arrays import FloatArray

_ALIKE = 0.7  # cosine between the steps of colour across an edge, then and now
_FAINTER, _PLAINER = 0.35, 3.0  # length of that step, now over then: light and glare change
_RESIZED = 0.12  # share by which a ring may change between frames
_OPEN = 0.35  # step between pupil and white, now over then, that an open eye keeps


def pupil_again(planes: FramePlanes, last: Ring) -> Ring | None:
    """Where is the pupil that was about here a moment ago? None where its edge is another's.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.frame_rings import find_rings
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> eye = np.select([far < 40.0, far < 90.0], [40, 90], 180).astype(np.uint8)
    >>> planes = frame_planes(Raster(np.roll(eye, 2, axis=0)))
    >>> again = pupil_again(planes, find_rings(frame_planes(Raster(eye)), 90.0).pupil)
    >>> v = again.centre_px[1]
    >>> round(v - again.radii_px[45]), round(v + again.radii_px[135])  # its top and its bottom
    (77, 157)
    """
    ring = ring_again(planes, last, PUPIL_BAND)
    return on_margin(planes, ring) if ring is not None and same_edge(ring, last) else None


def limbus_again(planes: FramePlanes, last: Ring) -> Ring | None:
    """Where is the limbus that was about here a moment ago? None where its edge is another's.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.frame_rings import find_rings
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> eye = np.select([far < 40.0, far < 90.0], [40, 90], 180).astype(np.uint8)
    >>> limbus = find_rings(frame_planes(Raster(eye)), 90.0).limbus
    >>> again = limbus_again(frame_planes(Raster(np.roll(eye, 2, axis=0))), limbus)
    >>> np.rint((again.curve_px - limbus.curve_px).mean(axis=0)).tolist()
    [-0.0, 2.0]
    """
    ring = ring_again(planes, last, LIMBUS_BAND)
    return at_half_level(planes, ring) if ring is not None and same_edge(ring, last) else None


def same_edge(ring: Ring, last: Ring) -> bool:
    """Is this the edge that was followed, by its step of colour and its size?

    Examples
    --------
    >>> seen, dark, bright = np.ones(180, dtype=bool), (3.0, 3.0, 3.0), (5.0, 5.0, 5.0)
    >>> pupil = Ring((90.0, 90.0), np.full(180, 40.0), seen, 0.3, 0.1, dark, bright)
    >>> inverted = Ring((90.0, 90.0), np.full(180, 40.0), seen, 0.3, 0.1, bright, dark)
    >>> same_edge(pupil, pupil), same_edge(inverted, pupil)
    (True, False)
    """
    now, then = _step(ring), _step(last)
    length, before = float(np.linalg.norm(now)), float(np.linalg.norm(then))
    if length * before <= 0.0 or abs(np.log(ring.radius_px / last.radius_px)) > _RESIZED:
        return False
    alike = float(now @ then) / (length * before) > _ALIKE
    return alike and _FAINTER < length / before < _PLAINER


def _step(ring: Ring) -> FloatArray:
    return np.asarray(np.subtract(ring.inner, ring.outer))


def looks_closed(planes: FramePlanes, last: EyeRings) -> bool:
    """Is one even thing, a lid, where pupil and white of the eye were told apart before?

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.frame_rings import find_rings
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> eye = np.select([far < 40.0, far < 90.0], [40, 90], 180).astype(np.uint8)
    >>> last = find_rings(frame_planes(Raster(eye)), 90.0)
    >>> lid = np.full((240, 320), 120, dtype=np.uint8)
    >>> [looks_closed(frame_planes(Raster(one)), last) for one in (eye, lid)]
    [False, True]
    """
    if last.pupil is None or last.limbus is None:
        return False
    height, width = planes.log_half.shape[:2]
    rows, columns = np.mgrid[0:height:4, 0:width:4]
    samples = planes.log_half[0:height:4, 0:width:4]
    far = [
        np.hypot(columns - 0.5 * ring.centre_px[0], rows - 0.5 * ring.centre_px[1])
        / (0.5 * ring.radius_px)
        for ring in (last.pupil, last.limbus)
    ]
    inside, outside = samples[far[0] < 1.0], samples[(far[1] > 1.05) & (far[1] < 1.3)]
    if len(inside) < 20 or len(outside) < 20:
        return False
    now = np.median(inside, axis=0) - np.median(outside, axis=0)
    then = np.array(last.pupil.inner) - np.array(last.limbus.outer)
    return float(np.linalg.norm(now)) < _OPEN * float(np.linalg.norm(then))
