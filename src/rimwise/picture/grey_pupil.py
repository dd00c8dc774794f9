"""The pupil in near-infrared: the darkest plain disc, lamps and their glow inside of it."""

import cv2
import numpy as np

from rimwise.picture.circles import Circle
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.ring_outline import BandSettings
from rimwise.picture.ring_seeds import ring_seeds
from rimwise.picture.rings import Ring, ring_near
from rimwise.terms.arrays import FloatArray

SMALLEST, LARGEST = 0.13, 0.78
"""Pupil over limbus: 1.5 to 9 mm of 11.7 mm."""

DARKER = 0.28
"""Log units: an iris sends back much of this light, a pupil next to none."""

_BAND = BandSettings(reach=0.12, window=0.10, gap=0.03, harmonics=3, stiff=2.0)
_PLAIN = 15.0  # such a disc needs no second look
_ALIKE = 0.2  # of the plainest disc: what is fainter is not tried
_LEVELS, _WHOLE = 20, 0.6  # grey levels tried; share of its circle that a blot must fill
_LAMPS = 0.03  # of the width: bright things narrower than that are left out
_KEPT, _TRIED = 8, 3


def dark_rings(planes: FramePlanes, expected_px: float | None) -> list[Ring]:
    """Which rings could be a near-infrared pupil's margin, plainest first?

    Parameters
    ----------
    planes : FramePlanes
    expected_px : float or None
        Mean radius of the limbus in working pixels, where it is known.

    Notes
    -----
    Own derivation: blots below rising grey levels, holes filled, are followed along their margin;
    where none is plain, gradients vote for others.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> eye = np.select([far < 40.0, far < 90.0], [30, 110], 140).astype(np.uint8)
    >>> [round(ring.radius_px) for ring in dark_rings(frame_planes(Raster(eye)), None)]
    [40]
    """
    found = _followed(planes, _blots(planes, expected_px))
    if max(map(darkness, found), default=0.0) < _PLAIN:
        found += _followed(planes, _voted(planes, expected_px))
    found.sort(key=darkness, reverse=True)
    least = _ALIKE * darkness(found[0]) if found else 0.0
    return [one for one in found if darkness(one) >= least][:_TRIED]


def darkness(ring: Ring) -> float:
    """How much does this ring look like a dark pupil's margin: deep, whole, sharp?

    Examples
    --------
    >>> seen, dark, bright = np.ones(180, dtype=bool), (3.5, 3.5, 3.5), (4.5, 4.5, 4.5)
    >>> round(darkness(Ring((9.0, 9.0), np.full(180, 40.0), seen, 0.4, 0.1, dark, bright)), 6)
    50.0
    """
    whole = float(ring.seen.mean()) ** 2
    return brighter_outside(ring) * whole / (ring.residual_px / ring.radius_px + 0.01)


def brighter_outside(ring: Ring) -> float:
    """By how many log units is it brighter outside of this ring than inside?

    Examples
    --------
    >>> seen, dark, bright = np.ones(180, dtype=bool), (3.5, 3.5, 3.5), (4.5, 4.5, 4.5)
    >>> brighter_outside(Ring((9.0, 9.0), np.full(180, 40.0), seen, 0.4, 0.1, dark, bright))
    1.0
    """
    return float(np.mean(ring.outer) - np.mean(ring.inner))


def _followed(planes: FramePlanes, circles: list[Circle]) -> list[Ring]:
    rings = [ring_near(planes, circle, _BAND) for circle in circles]
    return [one for one in rings if one is not None and brighter_outside(one) > DARKER]


def _sizes_px(planes: FramePlanes, expected_px: float | None) -> tuple[float, float]:
    """Return the least and the largest radius of a pupil, small pixels."""
    if expected_px is None:
        width = planes.log_small.shape[1]
        return 0.02 * width, 0.28 * width
    full = expected_px * planes.small
    return SMALLEST * full, LARGEST * full


def _blots(planes: FramePlanes, expected_px: float | None) -> list[Circle]:
    """Return whole blots that are dark, deepest and roundest first, in half-size pixels."""
    small = np.ascontiguousarray(planes.log_small[..., 1])
    reach = max(3, round(_LAMPS * small.shape[1]) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    even = cv2.morphologyEx(cv2.GaussianBlur(small, (0, 0), 1.0), cv2.MORPH_OPEN, kernel)
    sizes, middle = _sizes_px(planes, expected_px), float(np.median(even))
    found: list[Circle] = []
    for level in np.linspace(float(even.min()), middle, _LEVELS + 2)[1:-1]:
        mask = (even < level).astype(np.uint8)
        for outline in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
            blot = _blot(outline, sizes)
            if blot is not None:
                depth = blot.score * (middle - float(level))
                found.append(Circle(depth, blot.u_px, blot.v_px, blot.radius_px))
    return [_in_half(one, planes) for one in _apart(found)]


def _blot(outline: FloatArray, sizes: tuple[float, float]) -> Circle | None:
    """Return the disc of an outline's area, if it is about as round as one."""
    _, _, width, height = cv2.boundingRect(outline)
    if max(width, height) < 2.0 * sizes[0] or min(width, height) > 2.0 * sizes[1]:
        return None
    moments = cv2.moments(outline)
    inner = moments["m00"]
    area = inner + 0.5 * len(outline)  # the outline runs through the middles of border pixels
    radius = float(np.sqrt(area / np.pi))
    whole = area / (0.25 * np.pi * max(width, height) ** 2)
    if inner <= 0.0 or whole < _WHOLE or not sizes[0] < radius < sizes[1]:
        return None
    return Circle(float(whole), moments["m10"] / inner, moments["m01"] / inner, radius)


def _apart(found: list[Circle]) -> list[Circle]:
    """Return the best of those that are nearly the same circle."""
    kept: list[Circle] = []
    for one in sorted(found, key=lambda circle: -circle.score):
        same = any(
            np.hypot(one.u_px - k.u_px, one.v_px - k.v_px) < 0.3 * k.radius_px
            and abs(one.radius_px / k.radius_px - 1.0) < 0.25
            for k in kept
        )
        if not same:
            kept.append(one)
    return kept[:_KEPT]


def _in_half(one: Circle, planes: FramePlanes) -> Circle:
    half = 0.5 / planes.small
    u, v = (one.u_px + 0.5) * half - 0.5, (one.v_px + 0.5) * half - 0.5
    return Circle(one.score, u, v, one.radius_px * half)


def _voted(planes: FramePlanes, expected_px: float | None) -> list[Circle]:
    """Return circles that gradients point at: a lamp's glow may fill most of a small pupil."""
    radii = np.geomspace(*_sizes_px(planes, expected_px), 10)
    return [
        _in_half(Circle(seed.votes, seed.u_px, seed.v_px, share * seed.radius_px), planes)
        for seed in ring_seeds(planes.log_small, radii, planes.compiled)
        for share in (0.75, 1.0, 1.3)
    ]
