"""A reflex of all lamps once it was found: each spot settled by itself, and judged by its shape."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.expect import Expected
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.spots import SpotMap, spot_places
from rimwise.terms.arrays import BoolArray, FloatArray

HIDDEN = 1.5  # level given to what a plain reflex hides: it says neither yes nor no


@dataclass(frozen=True, slots=True)
class Found:
    """One reflex of all lamps, in working pixels.

    Parameters
    ----------
    points_px : array (n, 2)
        In the lamps' order; NaN where one could not be told.
    level : float
        How plain it is, in noise levels of the ground.
    size : float
        Of the pattern over the foretold size.
    radius_px : float
        Of its spots.
    off : float
        Distance from the foretold place, in sds.
    worth : float
        Plainness times how well place and size fit the eye.
    """

    points_px: FloatArray
    level: float
    size: float
    radius_px: float
    off: float
    worth: float

    @property
    def place_px(self) -> FloatArray:
        """Mean of the points that were told."""
        return np.asarray(np.nanmean(self.points_px, axis=0))


def refined(
    spots: SpotMap, one: Found, awaited: Expected, of: tuple[FramePlanes, float]
) -> Found | None:
    """Settle each spot by itself; where one is too faint, its fellows say where it is.

    Parameters
    ----------
    spots : SpotMap
    one : Found
    awaited : Expected
    of : (FramePlanes, float)
        With working pixels to the millimetre.

    Returns
    -------
    Found or None
        None where no spot stands out by itself though the pattern is plain, and where spots that
        should be sharp are the slopes of something broad.
    """
    planes, px_per_mm = of
    offsets = awaited.offsets_px * planes.factor
    radius = float(
        np.clip(one.radius_px * abs(awaited.height) * one.size, 1.5, 2.0 * one.radius_px)
    )
    settled = spot_places(spots, one.points_px, radius, saturated=False)
    level = spots.at(settled)
    stayed = np.hypot(*(settled - one.points_px).T) < 0.9 * radius + 1.0
    hidden = spots.at(one.points_px) <= HIDDEN
    plain = (level > _PLAIN) & stayed & ~hidden
    if awaited.name == "P4":
        around = _level_around(spots, settled, math.hypot(radius, _SMOOTH_MM * px_per_mm))
        if around[~hidden].sum() > 0.5 * level[~hidden].sum() or _one_blob(spots, settled, level):
            return None
        plain &= around < 0.5 * level
    if not plain.any():
        return replace(one, radius_px=radius) if one.level < _PLAIN else None
    points = _rigid(settled, offsets, plain, one)
    points[plain] = settled[plain]
    points[hidden & ~plain] = np.nan
    return replace(one, points_px=points, radius_px=radius)


_PLAIN = 5.0


def _level_around(spots: SpotMap, points_px: FloatArray, radius_px: float) -> FloatArray:
    """How bright is it about each spot? P4 is sharp; a blurred P3 or a cloud does not fall off.

    Directions in which a plain reflex or another spot of the pattern lies are not asked.
    """
    theta = 2.0 * np.pi * np.arange(_ASKED) / _ASKED
    around = points_px[:, None] + _AWAY * radius_px * np.column_stack(
        [np.cos(theta), np.sin(theta)]
    )
    level = spots.at(around.reshape(-1, 2)).reshape(len(points_px), _ASKED)
    apart = around[:, :, None] - points_px[None, None]
    far = np.hypot(apart[..., 0], apart[..., 1])
    own = np.arange(len(points_px))
    far[own, :, own] = np.inf
    asked = (far.min(axis=-1) > 1.5 * radius_px) & (np.abs(level - HIDDEN) > 1e-3)
    middles = [
        float(np.median(row[there])) if there.sum() >= _ASKED // 4 else 0.0
        for row, there in zip(level, asked, strict=True)
    ]
    return np.array(middles)


def _one_blob(spots: SpotMap, points_px: FloatArray, level: FloatArray) -> bool:
    """Is it as bright between the spots of a pattern as on them, as within one large spot?"""
    first, last = np.triu_indices(len(points_px), 1)
    between = spots.at(0.5 * (points_px[first] + points_px[last])) if len(first) else np.zeros(0)
    open_sky = np.abs(between - HIDDEN) > 1e-3
    if not open_sky.any():
        return False
    ends = np.minimum(level[first], level[last])
    return float(np.median((between - _VALLEY * ends)[open_sky])) > 0.0


_VALLEY = 0.9  # share of the spots' level that is left between them at most
_ASKED, _AWAY = 24, 1.5  # directions, and distance in radii
_SMOOTH_MM = 0.04  # of the map of spots


def _rigid(settled: FloatArray, offsets: FloatArray, plain: BoolArray, one: Found) -> FloatArray:
    """Place the whole pattern by its plain spots: shifted, and resized where two or more are."""
    here, want = settled[plain], offsets[plain]
    size = one.size
    if plain.sum() > 1:
        a, b = want - want.mean(axis=0), here - here.mean(axis=0)
        size = float((a * b).sum() / max(float((a * a).sum()), 1e-9))
    middle = here.mean(axis=0) - size * want.mean(axis=0)
    return np.asarray(middle + size * offsets)
