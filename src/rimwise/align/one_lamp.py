"""One lamp makes no pattern: is the spot that stands out P1, or something else that shines?

P1 sends back most of the light, so that it is overexposed where anything of the eye is seen at all:
0.025 of a lamp 20 mm wide, 200 mm away, is ten times as bright as a white sclera lit by it
(own derivation: light of a mirror against that of a white wall, Fresnel and Lambert).
"""

import math

import cv2
import numpy as np

from rimwise.align.settling import Found
from rimwise.picture.frame_planes import FramePlanes, least_channel


def among_brightest(planes: FramePlanes, one: Found) -> bool:
    """Is each spot of P1 nearly as white as the whitest that the frame shows?

    Small spots in a small frame are blurred, so that a good part of it does.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> grey = np.full((96, 128, 3), 40, dtype=np.uint8)
    >>> grey[40:47, 60:67], grey[80:90, 20:60] = 150, 250
    >>> planes = frame_planes(Raster(grey))
    >>> spots = [Found(np.array([at]), 9.0, 1.0, 4.0, 0.0, 9.0) for at in ((63, 43), (40, 85))]
    >>> [among_brightest(planes, spot) for spot in spots]
    [False, True]
    """
    few = least_channel(np.ascontiguousarray(planes.grey[::_EVERY, ::_EVERY]))
    counts = np.bincount(few.ravel(), minlength=256)
    most = 255 - int(np.searchsorted(counts[::-1].cumsum(), _SPECKS))
    height, width = planes.grey.shape[:2]
    for u, v in np.rint(one.points_px).astype(int):
        left, top = min(max(0, u - 1), width - 1), min(max(0, v - 1), height - 1)
        spot = planes.grey[top : v + 2, left : u + 2].min(axis=-1)
        if int(spot.max(initial=0)) < _AS_BRIGHT * most:
            return False
    return True


def as_small_as_foretold(planes: FramePlanes, one: Found) -> bool:
    """Is what is as white as a single lamp's reflex, and in one piece with it, not far larger?

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> bar = np.full((96, 128, 3), 40, dtype=np.uint8)
    >>> bar[70:76] = 200
    >>> spot = Found(np.array([[63.0, 72.5]]), 9.0, 1.0, 4.0, 0.0, 9.0)
    >>> as_small_as_foretold(frame_planes(Raster(bar)), spot)
    False
    """
    return _white_share(planes, one) < _LARGEST


# White area over that at half of the rise. In own renders (60 with P1, 60 with P1 under a tool)
# true ones have 0.63 to 1.01, tools 2.4 and more, a P4 that is just white 0.24 to 0.48; smaller
# spots are blurred all over.
_LARGEST, _PLATEAU, _FEW_PX = 1.6, 0.55, 4.0
_AS_WHITE = 0.9
# Every fourth pixel each way is asked, of which some may be whiter by chance; share of the whitest,
# of which own renders of all looks have 0.92 and more, spots of two pixels 0.78.
_EVERY, _SPECKS, _AS_BRIGHT = 4, 2, 0.7
_REACH = 8.0  # radii of the spot, within which it is looked how far the white goes


def _white_share(planes: FramePlanes, one: Found) -> float:
    """Return the area of what is as white as a spot over that of its own disc."""
    radius_px = one.radius_px
    u, v = (round(float(k)) for k in one.points_px[0])
    reach = math.ceil(_REACH * radius_px) + 1
    left, top = max(0, u - reach), max(0, v - reach)
    part = planes.grey[top : v + reach + 1, left : u + reach + 1]
    if v - top >= part.shape[0] or u - left >= part.shape[1]:
        return 0.0
    white = cv2.blur(least_channel(np.ascontiguousarray(part)), (3, 3))
    core = float(white[v - top, u - left])
    _, pieces = cv2.connectedComponents((white >= _AS_WHITE * core).astype(np.uint8))
    area = float((pieces == pieces[v - top, u - left]).sum())
    return area / (math.pi * radius_px**2)
