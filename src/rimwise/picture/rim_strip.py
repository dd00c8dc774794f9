"""The picture in a strip around a slightly oval circle, and how strong a dark line runs in it."""

from dataclasses import dataclass

import numpy as np

from rimwise.geometry.medians import median_deviation
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    radial_means,
    radius_about,
    smooth_along,
    unrolled,
)
from rimwise.terms.arrays import BoolArray, FloatArray

LINE = 0.010  # of the radius: bevel and shadow of an optic's edge take about 1 %


@dataclass(frozen=True, slots=True)
class Oval:
    """A slightly oval circle, r(θ) = radius + e₂ cos 2θ + e₃ sin 2θ, and what votes for it."""

    centre_px: tuple[float, float]
    radius_px: float
    oval_px: tuple[float, float]
    votes: float


@dataclass(frozen=True, slots=True)
class LineStrip:
    """What runs along an oval, rows by distance from it, columns by direction.

    Parameters
    ----------
    offset_px : array (rows,)
    line, dark : array (rows, n)
        How far each place is darker than both its sides, the first with half of what it is darker
        outside than inside besides; log brightness.
    log : array (rows, n)
    usable : array (rows, n) of bool
        Inside pupil and picture, and off reflections.
    noise : float
        Of ``line``.
    """

    offset_px: FloatArray
    line: FloatArray
    dark: FloatArray
    log: FloatArray
    usable: BoolArray
    noise: float


def rim_radii(radius: float, oval: tuple[float, float], theta: FloatArray) -> FloatArray:
    """Which radii has an oval in these directions?

    Examples
    --------
    >>> rim_radii(300.0, (2.0, 0.0), np.array([0.0, np.pi / 2.0])).tolist()
    [302.0, 298.0]
    """
    return np.asarray(radius + oval[0] * np.cos(2 * theta) + oval[1] * np.sin(2 * theta))


def line_strip(
    planes: Planes, pupil: PupilMargin, oval: Oval, band_px: int, columns: int
) -> LineStrip:
    """How strong is a dark line with a brighter inside, so many pixels to both sides of an oval?"""
    theta = directions_rad(columns)
    base = rim_radii(oval.radius_px, oval.oval_px, theta)
    width = max(2, round(LINE * oval.radius_px))
    offset = np.arange(-band_px - 3 * width, band_px + 3 * width + 1)
    radii = base[None, :] + offset[:, None]
    raw, glare = unrolled((planes.log_mean, planes.glare), oval.centre_px, radii)
    log = smooth_along(raw.astype(np.float64), 3.0 * columns / 720.0 * 2.0)
    half = width // 2
    middle, inside, outside = radial_means(
        log, (-half, half), (-width - half, -width + half), (width - half, width + half)
    )
    dark = 0.5 * (inside + outside) - middle
    line = dark + 0.5 * (inside - outside)
    margin = radius_about(pupil.curve_px, oval.centre_px, theta)
    usable = (
        (radii < margin[None, :] - 1.6 * width)
        & (glare < 0.05)
        & (inside_frame(planes.log_rgb.shape[:2], oval.centre_px, radii) > 0)
    )
    keep = slice(3 * width, -3 * width)
    line, dark, log, usable = line[keep], dark[keep], log[keep], usable[keep]
    values = line[usable]
    noise = 1.4826 * median_deviation(values) if values.size else 1.0
    return LineStrip(offset[keep].astype(np.float64), line, dark, log, usable, noise + 1e-6)
