"""Spots of light in a part of a frame: how much brighter than their ground, in noise levels."""

import math
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from rimwise.picture.frame_planes import FramePlanes, least_channel
from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import BoolArray, FloatArray

_LOG_FLOOR_GREY = 8.0
_GROUND_WINDOW = 13  # samples of a quarter-size picture: several spots wide
_ASIDE = 4  # every fourth pixel tells the ground


@dataclass(frozen=True, slots=True)
class SpotMap:
    """A part of the frame in which spots were looked for.

    Parameters
    ----------
    corner_px : (int, int)
        Working pixel of its first column and row.
    level : array (h, w)
        Brightness over the ground in noise levels, smoothed to the size of a spot.
    white : array (h, w)
        Least of the three channels, grey values, not smoothed.
    contrast : array (h, w)
        Logarithm of brightness over the ground, mean of green and blue, not smoothed.
    compiled : bool
        Whether spots are settled with compiled code, for many frames.
    grey : float or None
        Of the ground in ``white``, where it is known already; :attr:`ground_grey` asks for it.
    weights : array (3,) or None
        With which the channels were added up: in the next frame of a clip they are much the same.
    """

    corner_px: tuple[int, int]
    level: Float32Array
    white: Float32Array
    contrast: Float32Array
    compiled: bool = False
    grey: float | None = None
    weights: Float32Array | None = None

    @property
    def ground_grey(self) -> float:
        """Grey value of the ground: the median of every fourth pixel."""
        return float(np.median(self.white[::_ASIDE, ::_ASIDE])) if self.grey is None else self.grey

    def at(self, points_px: FloatArray) -> FloatArray:
        """Return the level at working points (n, 2), bilinear; 0 beyond the border.

        Examples
        --------
        >>> flat = np.zeros((5, 5), dtype=np.float32)
        >>> SpotMap((10, 20), flat + 3.0, flat, flat).at(np.array([[12.0, 22.0], [9, 9]])).tolist()
        [3.0, 0.0]
        """
        return self._bilinear(self.level, points_px)

    def white_at(self, points_px: FloatArray) -> FloatArray:
        """Return the least channel at working points (n, 2), bilinear; 0 beyond the border.

        Examples
        --------
        >>> flat = np.zeros((5, 5), dtype=np.float32)
        >>> SpotMap((10, 20), flat, flat + 7.0, flat).white_at(np.array([[12.0, 22.0]])).tolist()
        [7.0]
        """
        return self._bilinear(self.white, points_px)

    def _bilinear(self, plane: Float32Array, points_px: FloatArray) -> FloatArray:
        local = (points_px - np.array(self.corner_px)).astype(np.float32)
        seen = cv2.remap(plane, local[:, :1], local[:, 1:], cv2.INTER_LINEAR)
        return np.asarray(seen[:, 0], dtype=np.float64)


def spot_map(
    planes: FramePlanes,
    box: tuple[int, int, int, int],
    spot_px: float,
    ground: BoolArray | Float32Array,
) -> SpotMap:
    """Where in this box are spots of about this size?

    Parameters
    ----------
    planes : FramePlanes
    box : (left, top, right, bottom)
        Working pixels.
    spot_px : float
        Standard deviation of the smoothing, about half the radius of a spot.
    ground : array (h/4, w/4) of bool
        Which quarter-size samples of the box belong to the ground whose noise is measured; or, as
        array (3,) of float32, the weights of a map of the frame before.

    Notes
    -----
    Own derivation: the ground is a running median several spots wide; each channel counts in its
    own noise levels, so that a yellow reflex on an orange ground speaks through blue and green.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> pixels = np.random.default_rng(1).integers(60, 70, (96, 96, 3)).astype(np.uint8)
    >>> pixels[46:51, 46:51] = 255
    >>> found = spot_map(frame_planes(Raster(pixels)), (0, 0, 96, 96), 2.0, np.ones((24, 24), bool))
    >>> [int(k) for k in np.unravel_index(int(found.level.argmax()), found.level.shape)]
    [48, 48]
    """
    left, top, right, bottom = box
    part = planes.grey[top:bottom, left:right]
    few = (part.shape[1] // _ASIDE, part.shape[0] // _ASIDE)
    quarter = cv2.resize(part, few, interpolation=cv2.INTER_AREA)
    floor = cv2.LUT(cv2.medianBlur(quarter, _GROUND_WINDOW), _log_table())
    logs = cv2.LUT(part, _log_table())
    size = (part.shape[1], part.shape[0])
    mean = np.array([[0.0, 0.5, 0.5]], dtype=np.float32)
    plain = cv2.resize(cv2.transform(floor, mean), size, interpolation=cv2.INTER_LINEAR)
    contrast = np.asarray(cv2.subtract(cv2.transform(logs, mean), plain), dtype=np.float32)
    level, weights = _level((logs, floor), spot_px, ground, planes.compiled)
    white = least_channel(part)
    grey = _median_grey(white[::_ASIDE, ::_ASIDE])
    compiled, white32 = planes.compiled, white.astype(np.float32)
    return SpotMap((left, top), level, white32, contrast, compiled, grey, weights)


def _median_grey(grey: NDArray[np.uint8]) -> float:
    """Return the median of grey values from their counts: many times faster than in order."""
    upto = np.bincount(grey.ravel(), minlength=256).cumsum()
    low, high = np.searchsorted(upto, ((grey.size + 1) // 2, grey.size // 2 + 1))
    return 0.5 * float(low + high)


@cache
def _log_table() -> Float32Array:
    grey = np.arange(256, dtype=np.float32) + np.float32(_LOG_FLOOR_GREY)
    return np.asarray(np.log(grey), dtype=np.float32)


def _level(
    of: tuple[Float32Array, Float32Array],
    spot_px: float,
    ground: BoolArray | Float32Array,
    compiled: bool,
) -> tuple[Float32Array, Float32Array]:
    """Return the smoothed channels over their ground, in noise levels, added up, and by what.

    What is smoothed so much is so worked out on every second pixel; the width of a pair of pixels
    and that of the way between two are part of the smoothing.
    """
    logs, floor = of
    height, width = logs.shape[:2]
    every = 2 if spot_px >= _SMOOTH_PX else 1
    rows, columns = height // every, width // every
    over = logs
    if every > 1:
        whole = logs[: rows * every, : columns * every]
        over = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
        spot_px = math.sqrt(spot_px**2 - _PAIRED) / every
    over = cv2.subtract(over, cv2.resize(floor, (columns, rows), interpolation=cv2.INTER_LINEAR))
    if ground.ndim == 2:
        over = cv2.GaussianBlur(over, (0, 0), spot_px)
        weights = _weights(over, ground > 0, 4 // every, compiled)
        level = cv2.transform(over, weights[None])
    else:
        weights = np.asarray(ground, dtype=np.float32)
        level = cv2.GaussianBlur(cv2.transform(over, weights[None]), (0, 0), spot_px)
    if every == 1:
        return np.asarray(level, dtype=np.float32), weights
    level = cv2.resize(level, (columns * every, rows * every), interpolation=cv2.INTER_LINEAR)
    rest = height - rows * every, width - columns * every
    if any(rest):
        level = cv2.copyMakeBorder(level, 0, rest[0], 0, rest[1], cv2.BORDER_REPLICATE)
    return np.asarray(level, dtype=np.float32), weights


def _weights(smooth: Float32Array, ground: BoolArray, every: int, compiled: bool) -> Float32Array:
    thin = 2 if ground.size > _MUCH_GROUND else 1
    asked = np.ascontiguousarray(ground[thin // 2 :: thin, thin // 2 :: thin])
    if not compiled:
        return _shares(smooth, asked, thin * every)
    from rimwise.picture.compiled_ground import shares  # noqa: PLC0415 - half a second

    return np.asarray(shares(smooth, asked, _LEAST_GROUND, thin * every), dtype=np.float32)


_SMOOTH_PX = 1.8  # a bell of this sd loses nothing on every second pixel
_PAIRED = 1.0 / 4.0 + 2.0 / 3.0  # square pixels: variance of a pair's mean, and of the way between


_MUCH_GROUND = 4000  # samples: a quarter of them tells the noise as well
_LEAST_GROUND = 50  # samples; with fewer the whole part is the ground


def _shares(smooth: Float32Array, ground: BoolArray, every: int) -> Float32Array:
    """Return with which weights channels add up to a plane in noise levels of the ground."""
    sample = smooth[every // 2 :: every, every // 2 :: every]
    sample = sample[: ground.shape[0], : ground.shape[1]]
    chosen = sample[ground[: sample.shape[0], : sample.shape[1]]]
    if len(chosen) < _LEAST_GROUND:
        chosen = sample.reshape(-1, 3)
    levels = np.array([_spread(chosen[:, k]) for k in range(3)], dtype=np.float32)
    added = (chosen / levels).sum(axis=1)
    return np.asarray(1.0 / (levels * np.float32(_spread(added))), dtype=np.float32)


def _spread(samples: Float32Array) -> float:
    return 1.4826 * float(np.median(np.abs(samples - np.median(samples)))) + 1e-4


def spot_places(
    spots: SpotMap, guess_px: FloatArray, radius_px: float, saturated: bool
) -> FloatArray:
    """Where exactly are spots that are about here?

    Parameters
    ----------
    spots : SpotMap
    guess_px : array (n, 2)
        Working pixels.
    radius_px : float
        About their radius.
    saturated : bool
        True weighs by whiteness (a lamp's plain reflex), False by contrast over the ground.

    Returns
    -------
    array (n, 2)
        Centroids of what rises well over the ground; each pixel belongs to the nearest spot only.

    Examples
    --------
    >>> white = np.full((40, 40), 60.0, dtype=np.float32); white[17:22, 19:24] = 255.0
    >>> spots = SpotMap((100, 200), white, white, white)
    >>> spot_places(spots, np.array([[120.0, 218.5]]), 3.0, saturated=True).round(3).tolist()
    [[121.0, 219.0]]
    """
    plane = spots.white if saturated else spots.contrast
    # The core of a lamp's plain reflex is white; a fainter reflex beside it must not pull.
    rise = 0.75 if saturated else 0.4
    reach = int(np.ceil(1.6 * radius_px)) + 1
    found = np.asarray(guess_px - np.array(spots.corner_px), dtype=np.float64)
    if spots.compiled:
        from rimwise.picture.compiled_spots import centroids  # noqa: PLC0415 - half a second

        found = centroids(plane, found, radius_px, reach, rise)
        return np.asarray(found + np.array(spots.corner_px))
    for _ in range(3):
        found = np.array(
            [_centroid(plane, found, k, (radius_px, reach, rise)) for k in range(len(found))]
        )
    return np.asarray(found + np.array(spots.corner_px))


def _centroid(
    plane: Float32Array, places: FloatArray, k: int, size: tuple[float, int, float]
) -> FloatArray:
    radius, reach, rise = size
    u, v = places[k]
    left, top = max(0, round(u) - reach), max(0, round(v) - reach)
    part = plane[top : round(v) + reach + 1, left : round(u) + reach + 1]
    if part.size == 0:
        return np.asarray(places[k])
    rows, columns = np.indices(part.shape)
    far = np.hypot(columns + left - places[:, 0, None, None], rows + top - places[:, 1, None, None])
    own = (far[k] <= far.min(axis=0)) & (far[k] <= 1.3 * radius)
    core = part[own & (far[k] <= 0.6 * radius)]
    rim = part[(far[k] > 1.3 * radius) & (far.min(axis=0) > 1.3 * radius)]
    if core.size == 0 or rim.size == 0:
        return np.asarray(places[k])
    high, low = float(np.median(core)), float(np.median(rim))
    if high <= low:
        return np.asarray(places[k])
    weight = np.clip((part - low) / (high - low) - rise, 0.0, 0.2) * own
    total = float(weight.sum())
    if total <= 0.0:
        return np.asarray(places[k])
    middle = np.array(
        [(weight * columns).sum() / total + left, (weight * rows).sum() / total + top]
    )
    step = middle - places[k]
    length = float(np.hypot(*step))
    return np.asarray(places[k] + step * min(1.0, radius / max(length, 1e-9)))


def half_widths(spots: SpotMap, points_px: FloatArray, reach_px: float) -> FloatArray:
    """How far from its middle has each spot lost half of its contrast?

    Parameters
    ----------
    spots : SpotMap
    points_px : array (n, 2)
        Middles, working pixels.
    reach_px : float
        How far it is looked for.

    Returns
    -------
    array (n,)
        Pixels; the reach where half is never lost.

    Examples
    --------
    >>> v, u = np.indices((60, 60))
    >>> disc = (np.hypot(u - 30.0, v - 30.0) < 9.5).astype(np.float32)
    >>> half_widths(SpotMap((0, 0), disc, disc, disc), np.array([[30.0, 30.0]]), 20.0).tolist()
    [10.0]
    """
    radii = np.arange(0.0, max(4.0, reach_px) + 1.0)
    theta = 2.0 * np.pi * np.arange(_AROUND // 2) / (_AROUND // 2)
    away = radii[:, None, None] * np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    at = (points_px - np.array(spots.corner_px))[:, None, None] + away
    seen = cv2.remap(
        spots.contrast,
        at[..., 0].reshape(-1, len(theta)).astype(np.float32),
        at[..., 1].reshape(-1, len(theta)).astype(np.float32),
        cv2.INTER_LINEAR,
    )
    profile = _medians(seen.reshape(len(points_px), len(radii), -1))
    lost = profile < 0.5 * profile[:, :_CORE].mean(axis=1, keepdims=True)
    return np.asarray(np.where(lost.any(axis=1), radii[lost.argmax(axis=1)], radii[-1]))


def _medians(values: NDArray[np.float32]) -> Float32Array:
    """Return the medians along the last axis; short rows are put in order many times faster."""
    ordered, half = np.sort(values, axis=-1), values.shape[-1] // 2
    if values.shape[-1] % 2:
        return np.asarray(ordered[..., half])
    return np.asarray(np.float32(0.5) * (ordered[..., half - 1] + ordered[..., half]))


_CORE = 3  # pixels from a spot's middle


def dark_ring(
    spots: SpotMap, points_px: FloatArray, radius_px: float, sharp: bool = False
) -> float:
    """How dark is the darkest thin ring around a group of spots? A bubble has one.

    Parameters
    ----------
    spots : SpotMap
    points_px : array (n, 2)
        The group; NaN where a spot is not told.
    radius_px : float
        Of a spot.
    sharp : bool
        Whether the spots fall off steeply: their own slope is darker than one side only.

    Returns
    -------
    float
        Logarithm of brightness that the ring lacks against what lies inside and outside of it.

    Examples
    --------
    >>> v, u = np.indices((80, 80))
    >>> ring = -0.5 * (abs(np.hypot(u - 40.0, v - 40.0) - 12.0) < 1.0).astype(np.float32)
    >>> spots = SpotMap((0, 0), ring, ring, ring)
    >>> dark_ring(spots, np.array([[38.0, 40.0], [42.0, 40.0]]), 3.0) > 0.4
    True
    """
    middle = np.nanmean(points_px, axis=0)
    half = float(np.nanmax(np.hypot(*(points_px - middle).T)))
    radii = np.arange(half + 0.6 * radius_px, 2.6 * half + 5.0 * radius_px)
    theta = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    u, v = middle - np.array(spots.corner_px)
    across = (u + radii[:, None] * np.cos(theta)).astype(np.float32)
    down = (v + radii[:, None] * np.sin(theta)).astype(np.float32)
    plane = spots.contrast
    seen = cv2.remap(plane, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = _medians(seen)
    k = max(2, round(0.45 * radius_px))
    if len(profile) <= 2 * k:
        return 0.0
    outer, inner, between = profile[2 * k :], profile[: -2 * k], profile[k:-k]
    beside = np.minimum(outer, inner) if sharp else 0.5 * (outer + inner)
    return float((beside - between).max())


_AROUND = 96
