"""In which directions does the opening's edge show as a line, and not as a step alone?"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.contrast import line_over_sides, visible_line
from rimwise.picture.planes import Planes
from rimwise.picture.rim import Rim
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class EdgeShowsSettings:
    """When an edge is claimed to show, with reasons.

    Parameters
    ----------
    contrast, over_grain, at_most : float, float, float
        Least contrast: the geometric mean of how sharply brightness bends at the line and of how
        far it passes both sides' courses, log brightness. In a grainy picture it must be so many
        times the grain of single pixels, up to a contrast that anyone sees.
    by_chance : float
        It must also be one that no more than this share of the places beside the edge has,
        measured alike.
    along_columns : float
        One sd of the average along the edge, half degrees: some 11° in all. Edges fade over tens of
        degrees; a longer look spreads what shows into what does not.
    line_px, bend_px, reach_px : int, int, (int, int)
        How far from its course the line is looked for, the spacing of the second difference, and
        from where to where the sides are read.
    parallels_px, apart_px : tuple of int, int
        How far inside of the edge, in the clear opening, the places beside it lie, and how far
        from the rim.
    grain_px, grain_columns, even_columns : (int, int), int, float
        Where inside of the edge the grain is read, between places so many half degrees apart, and
        one sd of its average along the edge.
    other_px, near_rim_px : int, int
        So near to the rim a row is no side's level; and nearer the rim's line is the edge's too,
        and both must be told apart as before (``picture/contrast.py``).

    Notes
    -----
    On 150 own renders of levels 1 to 5, as they are and stored as JPEG of quality 60, a hidden
    direction claimed (line painted with less than 2 %) costs as much as two and a half plain ones
    missed (6 % and more), as the bars of 2 and 5 % stand to each other. Courses against the sides'
    mean levels lower that cost by a sixth. A painted contrast does not know of grain, a reader
    does: how much of it counts was chosen with the practice pictures in sight (their cost falls by
    11 % more, that of own renders rises by 8 % again).
    """

    contrast: float = 0.025
    over_grain: float = 2.0
    at_most: float = 0.04
    by_chance: float = 0.1
    along_columns: float = 9.0
    line_px: int = 4
    bend_px: int = 3
    reach_px: tuple[int, int] = (5, 12)
    parallels_px: tuple[int, ...] = (-27, -22, -17, -13)
    apart_px: int = 14
    grain_px: tuple[int, int] = (-30, -12)
    grain_columns: int = 4
    even_columns: float = 15.0
    other_px: int = 5
    near_rim_px: int = 9


SETTINGS = EdgeShowsSettings()
_FEWEST_ROWS = 4  # of a side that tell its slope


def edge_shows(planes: Planes, rim: Rim, steepest_px: FloatArray) -> BoolArray:
    """In which directions can a reader verify the edge by its own line?

    Parameters
    ----------
    planes : Planes
    rim : Rim
        Its centre is that of the radii; its line is none of the edge's.
    steepest_px : array (720,)
        Where whiteness rises fastest.

    Returns
    -------
    array (720,) of bool

    Notes
    -----
    Own derivation. An edge bends light and shows as a line, dark or bright or dark beside bright. A
    sheet that begins shows as a step: it bends brightness too, the more the larger it is, but
    passes neither side's course. A sheet that is whitest at its edge, and a glow, rise towards the
    edge from farther off: they pass their own mean level, and not their course continued. Pearls
    and texture pass their sides, but bend slowly. The product of both is large for the line alone.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> planes, none = planes_of(Raster(np.full((90, 120, 3), 90, dtype=np.uint8))), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (600.0, 450.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> int(edge_shows(planes, rim, none + 250.0).sum())
    0
    """
    far = SETTINGS.reach_px[1]
    offset = np.arange(min(SETTINGS.parallels_px) - far, far + 1)
    radii = steepest_px[None] + offset[:, None]
    raw = unroll(planes.log_grey, rim.centre_px, radii)
    strip = gaussian_filter1d(raw, SETTINGS.along_columns, axis=1, mode="wrap")
    to_rim = np.abs(radii - rim.radii_px)
    middle = len(offset) - 1 - far
    clear = to_rim[middle + np.array(SETTINGS.parallels_px)] >= SETTINGS.apart_px
    beside = np.stack([_contrast(strip, to_rim, middle + at) for at in SETTINGS.parallels_px])
    chance = float(np.quantile(beside[clear], 1.0 - SETTINGS.by_chance)) if clear.any() else 0.0
    seen = SETTINGS.over_grain * _grain(raw[slice(*(middle + np.array(SETTINGS.grain_px)))])
    least = np.maximum(np.clip(seen, SETTINGS.contrast, SETTINGS.at_most), chance)
    shows = _contrast(strip, to_rim, middle) > least
    near = np.abs(steepest_px - rim.radii_px) < SETTINGS.near_rim_px
    if (shows & near).any():
        line, _ = visible_line(planes, rim.centre_px, steepest_px, rim.radii_px)
        line &= line_over_sides(planes, rim.centre_px, steepest_px, rim.radii_px)
        shows &= line | ~near
    return np.asarray(shows)


def _grain(strip: FloatArray) -> FloatArray:
    """Return the sd of single pixels about their neighbours along the edge."""
    apart = SETTINGS.grain_columns
    away = strip - 0.5 * (np.roll(strip, apart, axis=1) + np.roll(strip, -apart, axis=1))
    # About the mean of two others an sd is √1.5 times as large; the median is 0.6745 of it.
    one = np.median(np.abs(away), axis=0) / (0.6745 * np.sqrt(1.5))
    return np.asarray(gaussian_filter1d(one, SETTINGS.even_columns, mode="wrap"))


def _contrast(strip: FloatArray, to_rim: FloatArray, middle: int) -> FloatArray:
    """Return the contrast of a line near a row."""
    near, far = SETTINGS.reach_px
    line = np.arange(-SETTINGS.line_px, SETTINGS.line_px + 1)
    inner, outer = np.arange(-far, -near + 1), np.arange(near, far + 1)
    free = to_rim >= SETTINGS.other_px
    courses = [_course(strip, free, middle, side) for side in (inner, outer)]
    # Where another line covers one side, the other side's course stands for both.
    one, two = (
        [np.where(np.isnan(own[0]), there, here) for here, there in zip(own, other, strict=True)]
        for own, other in (courses, courses[::-1])
    )
    levels = [level + slope * (line[:, None] - at) for level, slope, at in (one, two)]
    levels += [np.broadcast_to(level, levels[0].shape) for level, _, _ in (one, two)]
    at = middle + line
    dark = np.maximum(np.minimum.reduce(levels) - strip[at], 0.0).max(axis=0)
    bright = np.maximum(strip[at] - np.maximum.reduce(levels), 0.0).max(axis=0)
    bend = 2.0 * strip[at] - strip[at - SETTINGS.bend_px] - strip[at + SETTINGS.bend_px]
    return np.asarray(np.sqrt(np.nan_to_num(dark + bright) * np.abs(bend).max(axis=0)))


def _course(
    strip: FloatArray, free: BoolArray, middle: int, side: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean level, slope and mean place of a side's free rows; nan where there is none."""
    rows, weight = strip[middle + side], free[middle + side].astype(np.float64)
    count = weight.sum(axis=0)
    safe = np.maximum(count, 1.0)
    place = (weight * side[:, None]).sum(axis=0) / safe
    level = (weight * rows).sum(axis=0) / safe
    off = weight * (side[:, None] - place)
    spread = (off**2).sum(axis=0)
    slope = (off * (rows - level)).sum(axis=0) / np.maximum(spread, 1e-9)
    slope = np.where(count >= _FEWEST_ROWS, slope, 0.0)
    return np.where(count > 0, level, np.nan), slope, place
