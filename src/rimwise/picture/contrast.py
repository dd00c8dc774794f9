"""Can a reader verify this line with his own eyes? Contrast of a fine line against its ground."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from rimwise.geometry.medians import median
from rimwise.picture.planes import Planes
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class ContrastSettings:
    """When a line counts as visible, with reasons.

    Parameters
    ----------
    least : float
        Second difference of log brightness, 3 % a side: a fine line fainter than that is not
        seen by a reader in a photograph at full size (common practice, no source).
    over_sides, over_step : float
        How far a line must be darker or brighter than both its sides, in log brightness and as a
        share of the step between them: a step alone is a shadow's border as well as an edge, and
        a reader takes neither for the other only by the fine line (common practice, no source).
    line_px, side_px : int, (int, int)
        How far from the middle a line and its blur reach, and from where to where its sides are.
    beside_px, farthest_px : (int, int), float
        From where to where the levels of a step beside a line are read, and how far at the most a
        step may have drawn the line aside: farther, it is the step that was found.
    over_ground : float
        Times the spread of the same measure beside the line: rarer than 1 in 10,000 by chance.
    beside_other : float
        Within this share of the radius from another known line (the rim beside the edge) its
        own bend is no ground texture.
    longest_columns, here : int, float
        In a noisy picture a reader follows the line over a longer way: as long as averages the
        noise down to the least contrast, up to 20°, where at least so much shows at the place.
    """

    least: float = 0.06
    over_sides: float = 0.015
    over_step: float = 0.1
    line_px: int = 4
    side_px: tuple[int, int] = (5, 10)
    beside_px: tuple[int, int] = (5, 8)
    farthest_px: float = 1.5
    over_ground: float = 4.6
    beside_other: float = 0.025
    along_columns: int = 13
    longest_columns: int = 41
    here: float = 0.6
    settle_columns: float = 5.0


SETTINGS = ContrastSettings()
_REACH_PX = 20


def visible_line(
    planes: Planes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    other_px: FloatArray | None = None,
) -> tuple[BoolArray, FloatArray]:
    """In which directions is a line at these radii plain enough to be verified by eye?

    Parameters
    ----------
    planes : Planes
        The picture.
    centre_px : (float, float)
        Centre the radii refer to.
    radii_px : array (n,)
        The line, n directions counter-clockwise from picture right.
    other_px : array (n,), optional
        Another known line about the same centre, which is no ground.

    Returns
    -------
    visible : array (n,) of bool
    contrast : array (n,)
        Contrast over the limit that applied; 1 is just visible.

    Notes
    -----
    Own derivation: the largest absolute second difference of brightness (spacing 3 px at 1400 px
    picture width) within 4 px of the line, against the same measure 8 px and more beside it.
    """
    plain = _bends(planes, centre_px, radii_px, SETTINGS.along_columns)
    ground = _ground(plain, radii_px, other_px)
    contrast = _peak(plain) / np.maximum(SETTINGS.least, SETTINGS.over_ground * ground)
    noise = SETTINGS.over_ground * median(ground) / SETTINGS.least
    along = int(min(SETTINGS.along_columns * noise**2, SETTINGS.longest_columns)) | 1
    if along > SETTINGS.along_columns + 2:
        course = gaussian_filter1d(radii_px, 0.8 * SETTINGS.settle_columns, mode="wrap")
        long = _bends(planes, centre_px, course, along)
        limit = SETTINGS.over_ground * _ground(long, course, other_px)
        followed = _peak(long) / np.maximum(SETTINGS.least, limit)
        contrast = np.maximum(contrast, np.minimum(followed, contrast / SETTINGS.here))
    return contrast > 1.0, contrast


def line_over_sides(
    planes: Planes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    other_px: FloatArray,
) -> BoolArray:
    """In which directions is there a line darker or brighter than both its sides, not a step alone?

    Parameters
    ----------
    planes : Planes
        The picture.
    centre_px : (float, float)
        Centre the radii refer to.
    radii_px : array (n,)
        The line, n directions counter-clockwise from picture right.
    other_px : array (n,)
        Another known line about the same centre, which is no side's level; where it runs into this
        one, nothing is asked.

    Returns
    -------
    array (n,) of bool

    Notes
    -----
    Own derivation: an edge bends light, and so shows as a fine line on whatever step there is. The
    border of a shadow, of the iris's colour or of a reflex's glow runs from one level to the other
    without passing either. What the profile passes them by is the line.
    """
    far = SETTINGS.side_px[1]
    offset = np.arange(-far, far + 1)[:, None]
    other = np.abs(radii_px + offset - other_px) < SETTINGS.side_px[0]
    over = np.abs(radii_px - other_px) < SETTINGS.line_px
    log = unroll(planes.log_grey, centre_px, radii_px[None, :] + offset)
    for along in (SETTINGS.along_columns, SETTINGS.longest_columns):
        strip = uniform_filter1d(log, along, axis=1, mode="wrap")
        dark, bright, step = passed(strip, other)
        line = gaussian_filter1d(dark + bright, SETTINGS.settle_columns, mode="wrap")
        over |= line > np.maximum(SETTINGS.over_sides, SETTINGS.over_step * step)
    return over


def drawn_aside(
    planes: Planes, centre_px: tuple[float, float], line_px: FloatArray, along_columns: float
) -> FloatArray:
    """How far has the step beside a fine line drawn its darkest place to the darker side?

    Parameters
    ----------
    planes : Planes
    centre_px : (float, float)
    line_px : array (n,)
        Radius at which the line is darkest, n directions.
    along_columns : float
        Directions over which its profile is averaged, one sd.

    Returns
    -------
    array (n,)
        What must be added to the radius, pixels; 1.5 at most.

    Notes
    -----
    Own derivation: a line of area A on a step H, blurred by a Gaussian of width σ, is darkest at
    -H σ² / A from where it lies (the derivative of -A g + H Φ is g·(A x / σ² + H)). Its depth
    A / (σ √2π) and its width are read from its own profile.
    """
    offset = np.arange(-SETTINGS.beside_px[1], SETTINGS.beside_px[1] + 1)
    profile = unroll(planes.log_grey, centre_px, line_px[None] + offset[:, None])
    profile = gaussian_filter1d(profile, along_columns, axis=1, mode="wrap")
    near, middle = SETTINGS.beside_px[1] - SETTINGS.beside_px[0] + 1, SETTINGS.beside_px[1]
    inner, outer = profile[:near].mean(axis=0), profile[-near:].mean(axis=0)
    depth = np.maximum(0.5 * (inner + outer) - profile[middle], 1e-4)
    risen = 0.5 * (profile[middle - 2] + profile[middle + 2]) - profile[middle]
    width = 2.0 / np.sqrt(-2.0 * np.log(np.clip(1.0 - risen / depth, 0.05, 0.9)))
    aside = (outer - inner) * width / (math.sqrt(2.0 * math.pi) * depth)
    return np.asarray(np.clip(aside, -SETTINGS.farthest_px, SETTINGS.farthest_px))


def passed(strip: FloatArray, other: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """By how much does a line pass the levels at its sides, and what is the step between them?

    Parameters
    ----------
    strip : array (21, n)
        Log brightness from 10 rows inside of the line to 10 outside.
    other : array (21, n) of bool
        Where another line lies, which is no side's level.

    Returns
    -------
    dark, bright, step : array (n,)
        How far the darkest row near the middle lies below both sides, the brightest above both.

    Examples
    --------
    >>> row = np.r_[np.full(10, 4.0), 3.9, np.full(10, 4.2)][:, None]
    >>> dark, bright, step = passed(row, row > 9.0)
    >>> [round(float(value[0]), 3) for value in (dark, bright, step)]
    [0.1, 0.0, 0.2]
    """
    near, far = SETTINGS.side_px
    inner, outer = (
        _level(strip[rows], other[rows])
        for rows in (slice(0, far - near + 1), slice(far + near, None))
    )
    # Where another line covers one side, the other side's level stands for both.
    inner, outer = (
        np.where(np.isnan(one), two, one) for one, two in ((inner, outer), (outer, inner))
    )
    line = strip[far - SETTINGS.line_px : far + SETTINGS.line_px + 1]
    dark = np.maximum(np.minimum(inner, outer) - line.min(axis=0), 0.0)
    bright = np.maximum(line.max(axis=0) - np.maximum(inner, outer), 0.0)
    return dark, bright, np.abs(outer - inner)


def _level(side: FloatArray, other: BoolArray) -> FloatArray:
    """Return the mean of a side's rows off the other line; nan where none is."""
    count = (~other).sum(axis=0)
    return np.where(count > 0, (side * ~other).sum(axis=0) / np.maximum(count, 1), np.nan)


def _bends(
    planes: Planes, centre_px: tuple[float, float], radii_px: FloatArray, along: int
) -> FloatArray:
    """Return absolute second differences across the line, averaged along it; rows about it."""
    offset = np.arange(-_REACH_PX, _REACH_PX + 1)
    strip = unroll(planes.log_grey, centre_px, radii_px[None, :] + offset[:, None])
    strip = uniform_filter1d(strip, along, axis=1, mode="wrap")
    return np.asarray(np.abs(2.0 * strip[3:-3] - strip[:-6] - strip[6:]))


def _peak(bend: FloatArray) -> FloatArray:
    return np.asarray(
        gaussian_filter1d(bend[12:24].max(axis=0), SETTINGS.settle_columns, mode="wrap")
    )


def _ground(bend: FloatArray, radii_px: FloatArray, other_px: FloatArray | None) -> FloatArray:
    """Return the usual bend beside the line, sd of a normal law; rows run about the line."""
    far = np.r_[0:8, len(bend) - 7 : len(bend)]
    beside = bend[far]
    columns = np.arange(bend.shape[1])
    if other_px is not None:
        offset = far - len(bend) // 2
        away = np.abs(radii_px[None, :] + offset[:, None] - other_px[None, :])
        beside = np.where(away < SETTINGS.beside_other * float(other_px.mean()), np.nan, beside)
    free = np.isfinite(beside).any(axis=0)
    if not free.any():
        return np.full(bend.shape[1], np.inf)
    middle = np.nanmedian(beside[:, free], axis=0) / 0.6745
    ground = np.interp(columns, columns[free], middle, period=bend.shape[1])
    return np.asarray(gaussian_filter1d(ground, 4.0 * SETTINGS.settle_columns, mode="wrap"))
