"""The limbus in a photograph of a dilated eye: a soft ring around a pupil already found."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.ellipse import fit_ellipse
from rimwise.picture.circles import circles_about
from rimwise.picture.frame_planes import FramePlanes, frame_planes
from rimwise.picture.frame_rings import LIMBUS_BAND
from rimwise.picture.raster import Raster
from rimwise.picture.rings import Ring, ring_near
from rimwise.records.cover import EllipsePx
from rimwise.terms.arrays import FloatArray

_TOLERANCE = 0.14  # how far from the foretold radius circles are tried
_BELIEVED = 0.09  # and how far the ring may lie in the end: three sd of eye, lens and reader
_NARROWEST, _WIDEST = 1.2, 2.6  # limbus over dilated pupil where no size is foretold
_STEP = 0.02
# Half width of the strips compared, of the radius: the limbus is a soft band. Three steps, not two
# and a half, which is two or three by the last bit of a radius.
_WINDOW = 0.06
_BLACK_LOG = 3.3  # outside of it is no sclera but the mask of a lit disc or the picture's end
_LEAST_SEEN = 0.4
_LEAST_RISE = 0.05  # sclera is the brighter side, log units
_TRIED = 4


@dataclass(frozen=True, slots=True)
class Limbus:
    """The limbus in stored pixels.

    Parameters
    ----------
    ellipse_px : EllipsePx
    radius_px : float
        Geometric mean of the semi-axes.
    centre_sd_px : float
        Standard deviation of each coordinate of the centre.
    seen_deg : int
    """

    ellipse_px: EllipsePx
    radius_px: float
    centre_sd_px: float
    seen_deg: int


def find_limbus(
    raster: Raster, pupil: EllipsePx, expected_px: float | None = None
) -> Limbus | None:
    """Where is the limbus around this pupil?

    Parameters
    ----------
    raster : Raster
        The picture as stored.
    pupil : EllipsePx
        The pupil's margin, stored pixels.
    expected_px : float or None
        The limbus's radius where scale and size are known: other rings, a furrow of the iris or
        the border of the lit disc, may stand out more.

    Returns
    -------
    Limbus or None
        None where no such ring is found, or where what lies outside of it is no sclera.

    Examples
    --------
    >>> v, u = np.indices((480, 640))
    >>> far = np.hypot(u - 330.0, v - 235.0)
    >>> eye = np.select([far < 110.0, far < 190.0], [90, 50], 170).astype(np.uint8)
    >>> found = find_limbus(Raster(eye), EllipsePx(330.0, 235.0, 110.0, 110.0, 0.0), 188.0)
    >>> round(found.radius_px), round(found.ellipse_px.cx)
    (190, 330)
    """
    planes = frame_planes(raster)
    pupil_px = float(np.sqrt(pupil.a * pupil.b)) * planes.factor
    if expected_px is None:
        radii = pupil_px * np.arange(_NARROWEST, _WIDEST, _STEP)
    else:
        span = np.arange(1.0 - _TOLERANCE, 1.0 + _TOLERANCE, _STEP)
        radii = expected_px * planes.factor * span
        radii = radii[radii > (_NARROWEST - 0.1) * pupil_px]
    centre = planes.working(np.array([pupil.cx, pupil.cy]))
    ring = _best_ring(planes, (float(centre[0]), float(centre[1])), radii)
    if ring is None:
        return None
    if expected_px is not None:
        off = ring.radius_px / (expected_px * planes.factor) - 1.0
        if abs(off) > _BELIEVED:
            return None
    return _limbus(planes, ring)


def _best_ring(
    planes: FramePlanes, centre_px: tuple[float, float], radii_px: FloatArray
) -> Ring | None:
    """Return the ring most of whose way shows, brighter outside, sclera beyond it."""
    if len(radii_px) < 3:
        return None
    half = (0.5 * centre_px[0] - 0.25, 0.5 * centre_px[1] - 0.25)
    width = _WINDOW * 0.5 * float(radii_px.mean())
    circles = circles_about(planes, half, 0.5 * radii_px, width)
    score = np.array([one.score for one in circles])
    peak = [k for k in range(len(score)) if score[k] >= score[max(0, k - 2) : k + 3].max()]
    for k in sorted(peak, key=lambda k: -score[k])[:_TRIED]:
        ring = ring_near(planes, circles[k], LIMBUS_BAND)
        if ring is None or ring.seen.mean() < _LEAST_SEEN or min(ring.outer) < _BLACK_LOG:
            continue
        if float(np.mean(ring.outer) - np.mean(ring.inner)) > _LEAST_RISE:
            return ring
    return None


def _limbus(planes: FramePlanes, ring: Ring) -> Limbus | None:
    points = planes.stored(ring.curve_px[ring.seen])
    if len(points) < 12:
        return None
    oval = fit_ellipse(points).ellipse
    ellipse = EllipsePx(oval.cx, oval.cy, oval.a, oval.b, float(np.degrees(oval.angle_rad)))
    return Limbus(
        ellipse,
        float(np.sqrt(oval.a * oval.b)),
        ring.centre_sd_px / planes.factor,
        ring.seen_deg,
    )
