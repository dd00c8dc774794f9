"""How an eye lies turned about its axis against an earlier frame: by its iris and its vessels.

Mirror reflexes tell two rotations and never this one, but what is known of an eye's axes turns
with it, so that two frames of one eye can only be compared once it is known.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.planes import Float32Array
from rimwise.picture.registration import peak_offset, round_likeness
from rimwise.picture.rings import Ring
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import PictureFrame

COLUMNS = 720
# Of the way from pupil to limbus: the iris stretches about evenly when the pupil changes, and its
# pupillary border and its root are left out.
_IRIS = np.linspace(0.3, 0.9, 7)
# Of the limbus: beyond its soft band, before the lids.
_WHITE = np.linspace(1.06, 1.6, 10)
_DETAIL = 0.05  # of the limbus: what is larger is lighting, not vessels
_CLIP = 2.25
_LEVELS = 10
_UNSEEN = "."
_SECTORS = 12
_NEAR_DEG = 4.0  # so far about its top a peak of vessels and furrows reaches
# Times the scatter of all other turns: one in 1e9 for a normal law, and some hundred turns compete.
_STANDS_OUT = 6.0
# No strip is better known: limbus and pupil, about whose centres it was unrolled, are known to a
# pixel or two of some hundreds.
_LEAST_SD_DEG = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class EyeStrip:
    """Fine detail of iris and white, unrolled about the eye.

    Parameters
    ----------
    detail : array (rows, COLUMNS)
        By the examiner's direction, counter-clockwise from +x; in its own strength, 0 where unseen.
    seen : array (rows, COLUMNS) of bool
    """

    detail: FloatArray
    seen: BoolArray


def eye_strip(
    planes: FramePlanes, limbus: Ring, pupil: Ring | None, frame: PictureFrame
) -> EyeStrip:
    """Which strip surrounds this eye?

    Parameters
    ----------
    planes : FramePlanes
    limbus : Ring
        Working pixels.
    pupil : Ring or None
        None leaves the iris out.
    frame : PictureFrame
        Of the stored picture.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> planes = frame_planes(Raster(np.full((96, 128, 3), 90, dtype=np.uint8)))
    >>> seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> ring = Ring((64.0, 48.0), np.full(180, 20.0), seen, 0.1, 0.1, dark, dark)
    >>> eye_strip(planes, ring, None, PictureFrame()).seen.mean(axis=1).round(1).tolist()[-1]
    1.0
    """
    theta = 2.0 * np.pi * np.arange(COLUMNS) / COLUMNS
    away = frame.picture_from_examiner(np.column_stack([np.cos(theta), np.sin(theta)]))
    outer = _points(limbus, away)
    rows = [np.array(limbus.centre_px) + far * (outer - limbus.centre_px) for far in _WHITE]
    blank = np.full_like(outer, np.nan)
    inner = blank if pupil is None else _points(pupil, away)
    rows = [*((1.0 - part) * inner + part * outer for part in _IRIS), *rows]
    places = 0.5 * (np.array(rows) + 0.5) - 0.5
    plane, glare = _fine(planes.log_half[..., 1], 0.5 * limbus.radius_px), planes.glare_half
    u, v = np.moveaxis(np.nan_to_num(places, nan=-9.0).astype(np.float32), -1, 0)
    values = cv2.remap(plane, u, v, cv2.INTER_LINEAR).astype(np.float64)
    hidden = cv2.remap(glare, u, v, cv2.INTER_LINEAR, borderValue=1) > 0
    height, width = plane.shape
    seen = ~hidden & (u > 0) & (v > 0) & (u < width - 1) & (v < height - 1)
    return _even(values, seen)


def _points(ring: Ring, away: FloatArray) -> FloatArray:
    """Return where rays (n, 2) from a ring's centre meet it."""
    angle = np.arctan2(-away[:, 1], away[:, 0]) % (2.0 * np.pi)
    n = len(ring.radii_px)
    radii = np.interp(
        angle, 2.0 * np.pi * np.arange(n + 1) / n, np.append(ring.radii_px, ring.radii_px[0])
    )
    return np.asarray(ring.centre_px + radii[:, None] * away)


def _fine(plane: Float32Array, limbus_px: float) -> Float32Array:
    """Return the logarithm of green without what is broad, each part as strong as the next."""
    # A box of this side spreads as a normal law of that sd, and costs the same for every width.
    side = max(3, round(math.sqrt(12.0) * _DETAIL * limbus_px) | 1)
    fine = plane - cv2.blur(plane, (side, side))
    wide = round(1.5 * side) | 1
    strength = np.sqrt(cv2.blur(fine * fine, (wide, wide)) + 1e-4)
    return np.asarray(np.clip(fine / strength, -_CLIP, _CLIP), dtype=np.float32)


def _even(values: FloatArray, seen: BoolArray) -> EyeStrip:
    count = np.maximum(seen.sum(axis=1, keepdims=True), 1)
    mean = np.where(seen, values, 0.0).sum(axis=1, keepdims=True) / count
    return EyeStrip(np.where(seen, values - mean, 0.0), seen)


def strip_text(strip: EyeStrip) -> tuple[str, ...]:
    """How is a strip kept? A row of digits each, a point where nothing was seen.

    Examples
    --------
    >>> strip_text(EyeStrip(np.array([[-3.0, 0.1, 3.0]]), np.array([[True, True, False]])))
    ('05.',)
    """
    level = (np.clip(strip.detail, -_CLIP, _CLIP) + _CLIP) / (2.0 * _CLIP) * (_LEVELS - 1)
    signs = np.where(strip.seen, np.round(level) + ord("0"), ord(_UNSEEN)).astype(np.uint8)
    return tuple(row.tobytes().decode("ascii") for row in signs)


def strip_from_text(rows: tuple[str, ...]) -> EyeStrip:
    """Which strip do these rows of digits keep?

    Examples
    --------
    >>> strip_from_text(("05.",)).seen.tolist()
    [[True, True, False]]
    """
    signs = np.frombuffer("".join(rows).encode("ascii"), dtype=np.uint8).reshape(len(rows), -1)
    seen = signs != ord(_UNSEEN)
    level = np.where(seen, signs - ord("0"), 0.0)
    return _even(level / (_LEVELS - 1) * 2.0 * _CLIP - _CLIP, seen)


def roll_between(first: EyeStrip, now: EyeStrip) -> Estimate | None:
    """How far is the eye turned about its axis now, degrees counter-clockwise to the examiner?

    Parameters
    ----------
    first, now : EyeStrip

    Returns
    -------
    Estimate or None
        In (-180, 180]. None where no turn stands out from the others: another eye, or too little
        of it in sight.

    Notes
    -----
    Correlation over all turns; its sd by leaving out one twelfth of the directions after the other
    (jackknife, Efron 1982).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> detail = rng.normal(size=(8, COLUMNS))
    >>> seen = np.ones((8, COLUMNS), dtype=bool)
    >>> turned = EyeStrip(np.roll(detail, 9, axis=1), seen)
    >>> round(roll_between(EyeStrip(detail, seen), turned).value, 2)
    4.5
    """
    alike = round_likeness(
        (first.detail, first.seen.astype(float)), (now.detail, now.seen.astype(float))
    )
    best, step = int(np.argmax(alike)), 360.0 / COLUMNS
    away = np.abs((np.arange(COLUMNS) - best + COLUMNS // 2) % COLUMNS - COLUMNS // 2)
    others = alike[away * step > _NEAR_DEG]
    if alike[best] < others.mean() + _STANDS_OUT * others.std():
        return None
    reach = round(_NEAR_DEG / step)
    lags = np.arange(best - reach, best + reach + 1)
    shares = np.array([_by_sector(first.detail * np.roll(now.detail, -k, axis=1)) for k in lags]).T
    whole = shares.sum(axis=0)
    tops = np.array([_top(whole - part) for part in shares])
    sd = math.sqrt((_SECTORS - 1) * float(((tops - tops.mean()) ** 2).mean()))
    turn = step * (best - reach + _top(whole))
    return Estimate((turn + 180.0) % 360.0 - 180.0, math.hypot(step * sd, _LEAST_SD_DEG), "iris")


def _by_sector(product: FloatArray) -> FloatArray:
    return np.asarray(product.sum(axis=0).reshape(_SECTORS, -1).sum(axis=1))


def _top(values: FloatArray) -> float:
    best = int(np.argmax(values))
    return best + (peak_offset(values, best) if 0 < best < len(values) - 1 else 0.0)
