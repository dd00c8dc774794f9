"""Which spots of a frame still count: what was named is taken out."""

from dataclasses import replace

import numpy as np

from rimwise.align.settling import HIDDEN, Found
from rimwise.picture.spots import SpotMap
from rimwise.terms.arrays import BoolArray


def without(spots: SpotMap, found: Found, reach_px: float) -> SpotMap:
    """Return the map with these spots levelled out and the glow about them taken off.

    The glow is even all round, so that its median at each distance holds no other reflex; where
    the spots themselves stood the level says neither yes nor no.
    """
    level = spots.level.copy()
    local = found.points_px - np.array(spots.corner_px)
    if spots.compiled:
        from rimwise.picture.compiled_spots import take_glow  # noqa: PLC0415 - half a second

        take_glow(level, local, reach_px, _HIDES * found.radius_px, HIDDEN)
        return replace(spots, level=level, grey=spots.ground_grey)
    (left, top), (right, bottom) = local.min(axis=0) - reach_px, local.max(axis=0) + reach_px
    left, top = max(0, int(left)), max(0, int(top))
    part = level[top : int(bottom) + 1, left : int(right) + 1]
    rows, columns = np.indices(part.shape)
    far = np.hypot(
        columns + left - local[:, 0, None, None], rows + top - local[:, 1, None, None]
    ).min(axis=0)
    ring = np.minimum(far.astype(np.intp), int(reach_px) + 1)
    glow = np.zeros(int(reach_px) + 2, dtype=np.float32)
    for k in range(len(glow) - 1):
        there = part[ring == k]
        glow[k] = max(0.0, float(np.median(there))) if there.size else 0.0
    part -= glow[ring]
    # Between spots that stand close together their light adds up, and hides as one.
    near = np.zeros(part.shape)
    for u, v in local:
        away = np.hypot(columns + left - u, rows + top - v)
        near += (_HIDES * found.radius_px / np.maximum(away, 1.0)) ** 2
    part[near > 1.0] = HIDDEN
    return replace(spots, level=level, grey=spots.ground_grey)


_HIDES = 1.75  # radii of a plain reflex: nearer to it, its uneven glow is no reflex


def inside(box: tuple[int, int, int, int], centre: tuple[float, float], radius: float) -> BoolArray:
    """Which quarter-size samples of a box lie within a circle?"""
    left, top, right, bottom = box
    rows, columns = np.indices(((bottom - top) // 4, (right - left) // 4))
    u, v = 4.0 * columns + 1.5 + left, 4.0 * rows + 1.5 + top
    return np.asarray(np.hypot(u - centre[0], v - centre[1]) < radius)
