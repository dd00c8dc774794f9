"""How far an implant has turned between two pictures: by what hangs on its rim."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.raster import Raster
from rimwise.picture.registration import peak_offset, round_likeness
from rimwise.picture.strip import smooth_along
from rimwise.records.cover import EllipsePx
from rimwise.terms.arrays import FloatArray

_COLUMNS = 1440
_INNER, _OUTER, _STEP = 1.03, 1.30, 0.01  # of the rim: roots of the haptics, inside the pupil
_CLEAR = 0.94  # of the pupil's margin
_MOST_TURN_DEG = 20.0
_APART_DEG = 4.0  # another peak nearer than this is the same one
_LEAD = 2.5  # the peak over the next, or folds of the capsule may be what matches
_SD_DEG = 0.4  # seen on invented and practice pictures; the strip's step is 0.25°


@dataclass(frozen=True, slots=True)
class Optic:
    """A picture with the optic's rim and the pupil's margin, stored pixels."""

    raster: Raster
    rim: EllipsePx
    pupil: EllipsePx


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn in the picture, degrees counter-clockwise, with its sd."""

    turn_deg: float
    sd_deg: float


def implant_turn(first: Optic, now: Optic, roll_deg: float) -> Turn | None:
    """How far has the implant turned in the eye, if the later picture is rolled by so much?

    Parameters
    ----------
    first, now : Optic
    roll_deg : float
        Of the later picture against the first, from `register`.

    Returns
    -------
    Turn or None
        None where what surrounds the rim does not match better in one way than in others: folds
        of the capsule, which stay while the implant turns, would be believed instead.
    """
    alike = round_likeness(_strip(first), _strip(now))
    step = 360.0 / _COLUMNS
    turns = (np.arange(_COLUMNS) * step - roll_deg + 180.0) % 360.0 - 180.0
    near = np.abs(turns) <= _MOST_TURN_DEG
    best = int(np.argmax(np.where(near, alike, -1.0)))
    apart = np.abs((turns - turns[best] + 180.0) % 360.0 - 180.0) > _APART_DEG
    if not alike[best] > _LEAD * max(float(alike[near & apart].max()), 1e-9):
        return None
    return Turn(float(turns[best]) + step * peak_offset(alike, best), _SD_DEG)


def _strip(one: Optic) -> tuple[FloatArray, FloatArray]:
    """What lies around the rim, without what is broad along it, and where it is in the pupil."""
    pixels = one.raster.pixels
    light = pixels[..., :2].astype(np.float32) if pixels.ndim == 3 else pixels[..., None]
    plane = np.log(light.astype(np.float32) + 8.0).mean(axis=2)
    theta = 2.0 * np.pi * np.arange(_COLUMNS) / _COLUMNS
    turned = -theta - math.radians(one.rim.angle_deg)
    rim = 1.0 / np.hypot(np.cos(turned) / one.rim.a, np.sin(turned) / one.rim.b)
    radii = np.arange(_INNER, _OUTER, _STEP)[:, None] * rim
    u, v = one.rim.cx + radii * np.cos(theta), one.rim.cy - radii * np.sin(theta)
    strip = cv2.remap(
        plane, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)  # fmt: skip
    clear = _inside(one.pupil, u, v).astype(np.float64)
    fine = (_mean(strip, clear, 2.0) - _mean(strip, clear, 24.0)) * clear
    strength = np.sqrt((fine**2).sum(axis=1) / np.maximum(clear.sum(axis=1), 1.0))[:, None]
    return np.clip(fine / np.maximum(strength, 1e-6), -3.0, 3.0) * clear, clear


def _inside(pupil: EllipsePx, u: FloatArray, v: FloatArray) -> FloatArray:
    angle = math.radians(pupil.angle_deg)
    along = (u - pupil.cx) * math.cos(angle) + (v - pupil.cy) * math.sin(angle)
    across = (v - pupil.cy) * math.cos(angle) - (u - pupil.cx) * math.sin(angle)
    return np.asarray(np.hypot(along / pupil.a, across / pupil.b) < _CLEAR)


def _mean(strip: FloatArray, clear: FloatArray, columns: float) -> FloatArray:
    total = smooth_along(strip * clear, columns)
    return np.asarray(total / np.maximum(smooth_along(clear, columns), 1e-3))
