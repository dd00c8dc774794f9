"""Where are the lamps' plain reflexes in the cornea's front, the brightest of all?"""

import math

import cv2
import numpy as np

from rimwise.align.expect import Expected
from rimwise.align.settling import Found
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.patterns import Prior, Wanted, nearby, pattern_places
from rimwise.picture.planes import Float32Array
from rimwise.picture.spots import SpotMap, spot_places
from rimwise.picture.standing_out import GLEAMS_OVER, stands_out
from rimwise.terms.arrays import FloatArray

_LARGEST_MM = 0.22  # radius of a lamp's plain reflex: the image of a lamp 20 mm wide


def find_p1(
    spots: SpotMap, awaited: Expected, scale: tuple[float, float], planes: FramePlanes
) -> Found | None:
    """Where are the lamps' plain reflexes in the cornea's front?

    Parameters
    ----------
    spots : SpotMap
    awaited : Expected
        P1 of a straight eye, with the spread that gaze leaves open.
    scale : (float, float)
        Working pixels to the millimetre, and its relative sd.
    planes : FramePlanes

    Returns
    -------
    Found or None
        None where no pattern of white spots stands where a cornea may show it.
    """
    px_per_mm, scale_sd = scale
    place = planes.working(awaited.place_px)
    offsets = awaited.offsets_px * planes.factor
    every = 2 if px_per_mm > _LARGE_PX_PER_MM else 1
    rise = _white_rise(spots, px_per_mm, every)
    # Squared: P1 is the brightest of all, and gaze may be far off.
    prior: Prior = (_thinned(place, spots, every), awaited.sd_px * planes.factor / every, 2)
    near = nearby(rise, 1e4, 1)
    best: tuple[float, FloatArray, float] | None = None
    for size in sizes_tried((math.hypot(awaited.size_sd[0], scale_sd),) * 2, len(offsets), 0.03):
        pattern, wanted = size / every * offsets, Wanted(1, 1.0, 2 // every)
        for u, v, _, worth in pattern_places(near, pattern, prior, wanted, spots.compiled):
            if best is None or worth > best[0]:
                best = (worth, np.array([u, v]), float(size))
    if best is None or best[0] <= 0.0:
        return None
    _, middle, size = best
    guess = every * middle + 0.5 * (every - 1) + np.array(spots.corner_px) + offsets * size
    if _least_at(rise, _thinned(guess, spots, every)) < GLEAMS_OVER:
        return None
    radius = _spot_radius(spots, guess, px_per_mm)
    points = spot_places(spots, guess, radius, saturated=True)
    if not stands_out(spots, points, radius):
        return None
    found = _checked(points, offsets, (place, awaited.sd_px * planes.factor), (spots, radius))
    return found if found is not None and found.off <= _FARTHEST else None


def _checked(
    points: FloatArray,
    offsets: FloatArray,
    prior: tuple[FloatArray, float],
    of: tuple[SpotMap, float],
) -> Found | None:
    """Refuse points that do not stand as the lamps do: a cornea that is indented or irregular."""
    middle = points.mean(axis=0)
    spread = float((offsets**2).sum())
    size = float(((points - middle) * offsets).sum()) / spread if spread > 0.0 else 1.0
    left = points - middle - size * offsets
    length = math.sqrt(spread / len(offsets))
    if length > 0.0 and float(np.abs(left).max()) > max(2.5, 0.15 * length):
        return None
    place, sd = prior
    spots, radius = of
    off = float(np.hypot(*(middle - place))) / sd
    level = float(spots.at(points).min())
    return Found(points, level, size, radius, off, level)


def as_large_as_foretold(found: Found, offsets_px: FloatArray, scale_sd: float) -> bool:
    """Is the lamps' pattern as large as scale and cornea leave open?

    Parameters
    ----------
    found : Found
    offsets_px : array (n, 2)
        Of the lamps' reflexes from their mean, working pixels.
    scale_sd : float
        Relative, of a scale that the sheet gives; one that rests on the limbus is itself checked
        by the lamps.

    Examples
    --------
    >>> pair = np.array([[-10.0, 0.0], [10.0, 0.0]])
    >>> sizes = [Found(pair, 99.0, size, 3.0, 0.0, 99.0) for size in (1.05, 0.5)]
    >>> [as_large_as_foretold(one, pair, 0.02) for one in sizes]
    [True, False]
    """
    length = math.sqrt(float((offsets_px**2).sum()) / len(offsets_px))
    if len(offsets_px) < 2 or length <= 0.0:
        return True
    spread = math.hypot(_FARTHEST * scale_sd, _BLUNT_PX / length)
    return abs(math.log(max(found.size, 1e-3))) <= spread


_FARTHEST = 3.0  # sds
_BLUNT_PX = 1.5  # of spots that grow together in a small picture


_LARGE_PX_PER_MM = 45.0  # from here on a lamp's reflex is wide enough for every second pixel


def _white_rise(spots: SpotMap, px_per_mm: float, every: int) -> Float32Array:
    """Return how white it is over the ground, smoothed, on one pixel in so many each way."""
    rows, columns = (size // every for size in spots.white.shape)
    white = spots.white[: every * rows, : every * columns]
    if every > 1:
        white = np.asarray(cv2.resize(white, (columns, rows), interpolation=cv2.INTER_AREA))
    smooth = cv2.GaussianBlur(white, (0, 0), max(0.7, 0.03 * px_per_mm) / every)
    return np.asarray(np.maximum(smooth - np.float32(spots.ground_grey), 0.0), dtype=np.float32)


def _thinned(points_px: FloatArray, spots: SpotMap, every: int) -> FloatArray:
    """Return working points in thinned out pixels of a map."""
    return np.asarray((points_px - np.array(spots.corner_px) + 0.5) / every - 0.5)


def sizes_tried(spread: tuple[float, float], lamps: int, step: float) -> FloatArray:
    """Which relative sizes are worth trying? One, where a single lamp shows none.

    Examples
    --------
    >>> sizes_tried((0.01, 0.01), 2, 0.02).round(3).tolist()
    [0.98, 1.0, 1.02]
    """
    if lamps < 2:
        return np.array([1.0])
    down, up = (math.ceil(2.0 * one / step) for one in spread)
    return np.asarray(np.exp(step * np.arange(-max(1, down), max(1, up) + 1)))


def _least_at(plane: Float32Array, local: FloatArray) -> float:
    at = local.astype(np.float32)
    return float(cv2.remap(plane, at[:, 0], at[:, 1], cv2.INTER_LINEAR).min())


def _spot_radius(spots: SpotMap, guess: FloatArray, px_per_mm: float) -> float:
    """How large are the white spots? From the area that belongs to each."""
    local = guess - np.array(spots.corner_px)
    reach = int(_LARGEST_MM * px_per_mm) + 2
    radii = []
    for k, (u, v) in enumerate(local):
        left, top = max(0, round(u) - reach), max(0, round(v) - reach)
        part = spots.white[top : round(v) + reach + 1, left : round(u) + reach + 1]
        across = (left + np.arange(part.shape[1]) - local[:, :1]) ** 2
        down = (top + np.arange(part.shape[0]) - local[:, 1:]) ** 2
        far = across[:, None, :] + down[:, :, None]
        mine = far[k] <= far.min(axis=0)
        high, low = float(part.max(initial=0.0)), float(np.median(part)) if part.size else 0.0
        radii.append(math.sqrt(float((mine & (part > 0.5 * (high + low))).sum()) / math.pi))
    return float(np.clip(np.median(radii), 1.5, _LARGEST_MM * px_per_mm))
