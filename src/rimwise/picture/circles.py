"""Coarse circles around one centre in a frame: how much of a ring runs at each radius?"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.ring_seeds import OPPONENTS
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    radial_mean,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import FloatArray

_COARSE_COLUMNS = 60
_SHIFTS = np.linspace(-0.08, 0.08, 5)  # of the radius
_CLIP = 3.0  # noise levels: what stands out more counts no more


@dataclass(frozen=True, slots=True)
class Circle:
    """A coarse ring in half-size pixels, with the share of its way on which an edge runs."""

    score: float
    u_px: float
    v_px: float
    radius_px: float


def circles_about(
    planes: FramePlanes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    width_px: float,
) -> list[Circle]:
    """How much of a ring runs at each of these radii around about this centre?

    Parameters
    ----------
    planes : FramePlanes
    centre_px : (float, float)
        Half-size pixels.
    radii_px : array (n,)
        Half-size pixels, ascending evenly.
    width_px : float
        Width of the strips that are compared inside and outside.

    Returns
    -------
    list of Circle
        One a radius, centre shifted to where most of the ring is.
    """
    strips, rows = _clipped_steps(planes, centre_px, radii_px, width_px)
    theta = directions_rad(_COARSE_COLUMNS)
    spacing = float(radii_px[1] - radii_px[0])
    waves = np.stack([np.cos(theta), np.sin(theta)])
    moves = np.array([(a, b) for a in _SHIFTS for b in _SHIFTS])
    if planes.compiled:
        from rimwise.picture.compiled_rings import circle_scores  # noqa: PLC0415 - half a second

        score = circle_scores(strips, radii_px, moves, (float(rows[0]), spacing))
    else:
        score = _scores(strips, radii_px[:, None] * (1.0 + (moves @ waves)[:, None]), rows)
    chosen = score.argmax(axis=0)
    best = score[chosen, np.arange(len(radii_px))]
    shift = moves[chosen] * np.array([1.0, -1.0]) * radii_px[:, None]
    return [
        Circle(float(s), centre_px[0] + float(du), centre_px[1] + float(dv), float(r))
        for s, (du, dv), r in zip(best, shift, radii_px, strict=True)
    ]


def peaks(circles: list[Circle]) -> list[Circle]:
    """Which circles have a larger score than their neighbours on either side?

    Examples
    --------
    >>> found = peaks([Circle(s, 0.0, 0.0, r) for r, s in enumerate((0.1, 0.5, 0.2, 0.1))])
    >>> [one.radius_px for one in found]
    [1]
    """
    score = np.array([one.score for one in circles])
    padded = np.pad(score, 2, constant_values=-1.0)
    near = np.max([padded[k : k + len(score)] for k in (0, 1, 3, 4)], axis=0)
    return [one for one, s, n in zip(circles, score, near, strict=True) if s >= n]


def _scores(strips: FloatArray, moved: FloatArray, rows: FloatArray) -> FloatArray:
    """Return the share of each moved circle, (moves, radii, columns), on which an edge runs."""
    index = np.clip((moved - rows[0]) / (rows[1] - rows[0]) + 0.5, 0, len(rows) - 1)
    flat = index.astype(np.intp) * _COARSE_COLUMNS + np.arange(_COARSE_COLUMNS)
    score = np.zeros(flat.shape[:2])
    for strip in np.moveaxis(strips, -1, 0).reshape(3, -1):
        score += np.abs(strip[flat].sum(axis=2)) / _COARSE_COLUMNS
    return score


def _clipped_steps(
    planes: FramePlanes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    width_px: float,
) -> tuple[FloatArray, FloatArray]:
    """Return steps, (rows, columns, 3), of brightness and colours, in clipped noise levels."""
    spacing = float(radii_px[1] - radii_px[0])
    # How many there are must not hang on the last bit of a radius.
    count = math.ceil((1.2 * radii_px[-1] - 0.8 * radii_px[0]) / spacing + 1.0 - 1e-6)
    rows = 0.8 * radii_px[0] + spacing * np.arange(count)
    grid = np.repeat(rows[:, None], _COARSE_COLUMNS, axis=1)
    colours = unroll(planes.log_half, centre_px, grid).astype(np.float32)
    usable = inside_frame(planes.log_half.shape[:2], centre_px, grid)
    usable *= unroll(planes.glare_half, centre_px, grid) < 0.05
    width = max(2, round(width_px / spacing))
    # All three side by side, so that each is worked out in one go.
    level = smooth_along(cv2.transform(colours, OPPONENTS), 0.7).reshape(len(rows), -1)
    step = radial_mean(level, 1, width) - radial_mean(level, -width, -1)
    step = step.reshape(*grid.shape, 3)
    noise = np.ones(3)
    if usable.any():
        noise = 1.4826 * np.median(np.abs(step[usable > 0]), axis=0)
    return np.clip(step / (noise + 1e-3), -_CLIP, _CLIP) / _CLIP * usable[..., None], rows
