"""The pupil's margin as the outermost sharp ring within a limbus.

An implant's rim and a capsule's opening lie behind the iris and show only within the pupil; what
rings the iris has, its furrows and collar, an arcus, the limbus itself, are soft or broken. So the
margin is the outermost of the closed, sharp edges, however plain those within it are.
"""

import cv2
import numpy as np
from scipy.ndimage import uniform_filter1d

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.paths import closed_path
from rimwise.picture.ring_outline import COLUMNS
from rimwise.picture.ring_seeds import OPPONENTS
from rimwise.picture.rings import Ring
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    points_at,
    radial_means,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

_CLIP = 3.0  # noise levels: what stands out more counts no more
_NARROW, _WIDER = 0.018, 3  # half window over the limbus's radius; a soft band's, times that
_SOFT = 0.5  # share of the step across the wider window that an even slope explains, and more
_BENT = 0.03  # cost of a step of one row, in clips
# Of the clip, what stretches of a ring show that go the same way: half-way between the furrows of
# own renders (0.49 and less) and their rims and margins (0.58 and more).
_ALIKE, _STRETCH_DEG = 0.53, 30.0


def sharp_rings(
    planes: FramePlanes, limbus: Ring, limits: tuple[float, float], most: int
) -> list[FloatArray]:
    """Where do sharp rings within a limbus run, each one beyond those before?

    Parameters
    ----------
    planes : FramePlanes
    limbus : Ring
        Working pixels.
    limits : (float, float)
        Between which shares of the limbus's radii they may run.
    most : int

    Returns
    -------
    list of array (COLUMNS, 2)
        Points in half-size pixels, by direction from the limbus's centre.

    Notes
    -----
    Own derivation: a sharp edge has its whole step within a narrow window, a soft band's grows
    with the window; what a narrow window shows beyond half of a wider one is told in noise
    levels, clipped, so that every plain edge counts alike. The closed path of most of it is a
    ring if its stretches go the same way, from dark to bright or back, as texture does not;
    beyond it another is looked for.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((480, 640))
    >>> far, aside = np.hypot(u - 320.0, v - 240.0), np.hypot(u - 310.0, v - 236.0)
    >>> eye = np.select([aside < 70, far < 100, far < 200], [40, 30, 50], 180).astype(float)
    >>> eye += np.random.default_rng(1).normal(0.0, 1.0, eye.shape)
    >>> seen, even = np.ones(180, dtype=bool), (4.0, 4.0, 4.0)
    >>> limbus = Ring((320.0, 240.0), np.full(180, 200.0), seen, 0.3, 0.1, even, even)
    >>> planes = frame_planes(Raster(np.repeat(eye[..., None], 3, axis=2).astype(np.uint8)))
    >>> outermost = sharp_rings(planes, limbus, (0.16, 0.9), 3)[-1]
    >>> int(round(outermost[0, 0] - outermost[90, 0], -1))
    100
    """
    centre = 0.5 * limbus.centre_px[0] - 0.25, 0.5 * limbus.centre_px[1] - 0.25
    base = 0.5 * limbus.radii_px
    spacing = 1.0 / float(base.mean())
    beyond = _NARROW * _WIDER + 2.0 * spacing  # what the windows need to either side
    shares = np.arange(limits[0] - beyond, limits[1] + beyond, spacing)
    steps, half = _sharp_steps(planes, centre, base * shares[:, None])
    steps[(shares < limits[0]) | (shares > limits[1])] = 0.0
    return [
        points_at(centre, directions_rad(COLUMNS), base * shares[path])
        for path in _paths(steps, half + 2, most, planes.compiled)
    ]


def _sharp_steps(
    planes: FramePlanes, centre: tuple[float, float], radii: FloatArray
) -> tuple[FloatArray, int]:
    """Return by how much brightness and colours step sharply at each sample, 1 at most.

    With it comes the half window.
    """
    colours = unroll(planes.log_half, centre, radii).astype(np.float32)
    usable = inside_frame(planes.log_half.shape[:2], centre, radii) > 0
    usable &= unroll(planes.glare_half, centre, radii) < 0.05
    half = max(2, round(_NARROW * float(radii[-1].mean())))
    wide, rows = _WIDER * half, len(radii)
    strip = smooth_along(cv2.transform(colours, OPPONENTS), 1.5).reshape(rows, -1)
    out, within, far_out, far_within = radial_means(
        strip, (1, half), (-half, -1), (1, wide), (-wide, -1)
    )
    step, slope = out - within, far_out - far_within
    soft = _SOFT * np.maximum(np.sign(step) * slope, 0.0)
    sharp = np.maximum(np.abs(step) - soft, 0.0) / (1.0 - _SOFT)
    seen = np.abs(step).reshape(rows, COLUMNS, 3)[usable]
    noise = 1.4826 * np.median(seen, axis=0) + 1e-3 if len(seen) else np.ones(3)
    told = np.copysign(sharp, step).reshape(rows, COLUMNS, 3) / noise
    return np.clip(told, -_CLIP, _CLIP) / _CLIP * usable[..., None], half


def _paths(steps: FloatArray, apart: int, most: int, compiled: bool) -> list[IntArray]:
    """Which paths are sharp all round, each one beyond those before?"""
    columns, rows = np.arange(COLUMNS), np.arange(len(steps))[:, None]
    level = _length(steps)
    found: list[IntArray] = []
    left, last = level, np.full(COLUMNS, -1 - apart)
    for _ in range(most):
        path = closed_path(-left, 1, _BENT, compiled or None)
        own = path > last + apart
        if not own.any() or _alike(steps[path, columns], own) < _ALIKE:
            break
        last = np.where(own, path, last)
        found.append(last)
        # Where both rings touch, the inner one's edge is the outer one's too, and counts no more.
        left = np.where(rows <= last + apart, 0.0, level)
        left = np.where(rows < last - 1, -_NEVER, left)
    return found


def _alike(along: FloatArray, own: BoolArray) -> float:
    """How sharp is what stretches of these steps (COLUMNS, 3) have in common, where own?"""
    stretch = round(_STRETCH_DEG * COLUMNS / 360.0)
    shown = np.column_stack([along * own[:, None], own])
    mean = uniform_filter1d(shown, stretch, axis=0, mode="wrap")[own]
    return float(_length(mean[:, :3] / mean[:, 3:]).mean())


def _length(steps: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt((steps**2).mean(axis=-1)))


_NEVER = 9.0
