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
