"""Does a spot stand out from what lies about it?"""

import cv2
import numpy as np

from rimwise.picture.frame_planes import FramePlanes, least_channel
from rimwise.picture.rings import Ring
from rimwise.picture.spots import SpotMap
from rimwise.terms.arrays import FloatArray


def stands_out(spots: SpotMap, points_px: FloatArray, radius_px: float) -> bool:
    """Is it darker about each spot than on it? In the white of a dense lens no lamp shows.

    One or two spots must fall off on nearly all sides, as a mirror image does: a bar or the corner
    of something bright is easily taken for one, though seldom for three that stand as lamps do.

    Examples
    --------
    >>> from dataclasses import replace
    >>> v, u = np.indices((60, 60))
    >>> disc = 200.0 * (np.hypot(u - 30.0, v - 30.0) < 4.0).astype(np.float32)
    >>> spots, at = SpotMap((0, 0), disc, disc, disc), np.array([[30.0, 30.0]])
    >>> stands_out(spots, at, 4.0), stands_out(replace(spots, white=0.0 * disc + 250.0), at, 4.0)
    (True, False)
    """
    theta = 2.0 * np.pi * np.arange(_ASKED) / _ASKED
    away = _BESIDE * radius_px * np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    around = points_px[:, None] + away
    apart = around[:, :, None] - points_px
    alone = np.hypot(apart[..., 0], apart[..., 1]).min(axis=-1) > 0.9 * _BESIDE * radius_px
    white = spots.white_at(around.reshape(-1, 2)).reshape(alone.shape)
    own = spots.white_at(points_px)
    told = [
        (float(here), row[there])
        for here, row, there in zip(own, white, alone, strict=True)
        if there.sum() >= _ASKED // 4
    ]
    if any(here - np.median(beside) <= _STANDS_OUT for here, beside in told):
        return False
    if len(points_px) > _FEW:
        return True
    ground = spots.ground_grey
    return all((beside < 0.5 * (here + ground)).mean() >= _ROUND for here, beside in told)


_FEW, _ROUND = 2, 0.8  # spots; share of the directions in which half of the rise is lost
_ASKED, _BESIDE = 16, 2.5  # directions, and radii from a spot's middle
_STANDS_OUT = 20.0  # grey


def gleams(planes: FramePlanes, ring: Ring, share: float) -> bool:
    """Is something small and bright within this ring, as a cornea mirrors every lamp?

    Parameters
    ----------
    planes : FramePlanes
    ring : Ring
        Pupil or limbus.
    share : float
        Of its radius, in which the lamps are mirrored.

    Notes
    -----
    Own derivation: what an opening by a disc takes off (Serra 1982). Knots, buttons and wheels are
    as round as a pupil and mirror nothing.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> grey = np.full((96, 128, 3), 40, dtype=np.uint8)
    >>> lit = grey.copy(); lit[40:44, 60:64] = 240
    >>> seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> ring = Ring((64.0, 48.0), np.full(180, 30.0), seen, 0.3, 0.1, dark, dark)
    >>> [gleams(frame_planes(Raster(one)), ring, 1.0) for one in (grey, lit)]
    [False, True]
    """
    reach = share * ring.radius_px
    (u, v), (height, width) = ring.centre_px, planes.grey.shape[:2]
    left, top = max(0, int(u - reach)), max(0, int(v - reach))
    right, bottom = min(width, int(u + reach) + 1), min(height, int(v + reach) + 1)
    if left >= right or top >= bottom:
        return False
    part = least_channel(np.ascontiguousarray(planes.grey[top:bottom, left:right]))
    size = max(3, int(_SMALL * reach) | 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    over = cv2.morphologyEx(part, cv2.MORPH_TOPHAT, disc)
    rows, columns = np.indices(part.shape)
    within = np.hypot(columns + left - u, rows + top - v) < reach
    return bool((over[within] > GLEAMS_OVER).any())


_SMALL = 0.35  # width over the reach: a lamp's image is at most 0.44 mm wide
GLEAMS_OVER = 70.0
"""Grey: a plain reflex of a lamp rises so much over what lies around it."""
