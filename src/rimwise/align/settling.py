"""A reflex of all lamps once it was found: each spot settled by itself, and judged by its shape."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.expect import Expected
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.spots import SpotMap, half_widths, spot_places
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
        None where no spot stands out by itself though the pattern is plain, where spots that
        should be sharp are the slopes of something broad, and where those that should be broad
        are sharp.
    """
    planes, px_per_mm = of
    offsets = awaited.offsets_px * planes.factor
    foretold = one.radius_px * abs(awaited.height)
    radius = float(np.clip(foretold * one.size, 1.5, 2.0 * one.radius_px))
    settled = spot_places(spots, one.points_px, radius, saturated=False)
    level = spots.at(settled)
    stayed = np.hypot(*(settled - one.points_px).T) < 0.9 * radius + 1.0
    hidden = spots.at(one.points_px) <= HIDDEN
    plain = (level > _PLAIN) & stayed & ~hidden
    if one_blob(spots, settled, level):
        return None
    if awaited.name == "P4":
        around = _level_around(spots, settled, math.hypot(radius, _SMOOTH_MM * px_per_mm))
        if around[~hidden].sum() > 0.5 * level[~hidden].sum():
            return None
        plain &= around < 0.5 * level
        if one.level >= _PLAIN and plain.sum() < _MOST * (~hidden).sum():
            return None
    else:
        hidden |= level < 0.5 * _PLAIN  # an iris or a fold keeps one lamp of P3 back
    if not plain.any():
        return replace(one, radius_px=radius) if one.level < _PLAIN else None
    # P3 grows no larger than this over its ground, which is taken from about it.
    width = min(foretold, _WIDEST * one.radius_px) if awaited.name == "P3" else foretold
    fit = _width_fit(half_widths(spots, settled[plain], 3.0 * radius), width, awaited.name)
    if fit <= 0.0:
        return None
    points = _rigid(settled, offsets, plain, one)
    points[plain] = settled[plain]
    points[hidden & ~plain] = np.nan
    return replace(one, points_px=points, radius_px=radius, worth=one.worth * fit)


_MOST = 0.6  # share of the spots that stand by themselves, where a pattern is plain
_WIDEST = 2.5


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


def one_blob(spots: SpotMap, points_px: FloatArray, level: FloatArray) -> bool:
    """Is it as bright between the spots of a pattern as on them, as within one large spot?

    Grey values are asked too, since the middle of a large spot is its own ground.
    """
    first, last = np.triu_indices(len(points_px), 1)
    middles = 0.5 * (points_px[first] + points_px[last])
    between = spots.at(middles) if len(first) else np.zeros(0)
    open_sky = np.abs(between - HIDDEN) > 1e-3
    if not open_sky.any():
        return False
    ground = spots.ground_grey
    white, grey = spots.white_at(middles) - ground, spots.white_at(points_px) - ground
    for over, ends in ((between, level), (white, grey)):
        least = _VALLEY * np.minimum(ends[first], ends[last])
        if float(np.median((over - least)[open_sky])) > 0.0 and float(ends.min()) > 0.0:
            return True
    return False


def _width_fit(widths_px: FloatArray, foretold_px: float, name: str) -> float:
    """How well do the widths of the spots go with the reflex and with each other? 0 not at all.

    P3 is broad; bubbles, glints and P4 are sharper. P1, from which widths are foretold, is white
    and seems larger than it is.
    """
    narrow, wide = float(widths_px.min()), max(1.0, float(widths_px.max()))
    if wide > _UNLIKE * max(narrow, 1.0) or (name == "P3" and narrow < _SHARP * foretold_px):
        return 0.0
    over = float(np.median(widths_px)) / (foretold_px * (_SEEN if name == "P3" else 1.0))
    return math.exp(-0.5 * (math.log(max(over, 1e-3)) / _WIDTH_SD) ** 2)


_SHARP, _UNLIKE = 0.45, 2.2  # half width over foretold radius; widest over narrowest
_SEEN, _WIDTH_SD = 0.8, 0.5  # of P3's radius, in practice and in own renders; spread of its log
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
