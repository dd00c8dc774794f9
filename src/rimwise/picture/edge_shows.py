"""In which directions does the opening's edge show as a line, and not as a step alone?"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.contrast import line_over_sides, visible_line
from rimwise.picture.planes import Planes
from rimwise.picture.rim import Rim
from rimwise.picture.seam import Seam
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class EdgeShowsSettings:
    """When an edge is claimed to show, with reasons.

    Parameters
    ----------
    over_noise, reader, grain_at_most : float, float, float
        Least contrast, in noise: the geometric mean of how sharply brightness bends at the line
        and of how far it passes both sides' courses, log brightness. The noise is the grain of
        single pixels and what a reader adds in a picture without grain; from so much grain on he
        follows the line over a longer way instead.
    carries : float
        This share of it is enough for a line that only carries an edge from piece to piece.
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
    settle_columns : float
        One sd of the average along the edge's course: its line is looked for beside it, and noise
        draws single columns of it aside.
    other_px, near_rim_px : int, int
        So near to the rim a row is no side's level; and nearer the rim's line is the edge's too,
        and both must be told apart as before (``picture/contrast.py``).

    Notes
    -----
    A hidden direction claimed costs as much as two and a half plain ones missed, as the bars of 2
    and 5 % stand to each other. Own renders grade by the contrast painted, which knows of no
    grain; a reader does, and so do the grades of an independent program: on 59 of its practice
    pictures and visits the line's contrast alone costs 0.24, over its noise 0.20. The three figures
    were chosen with those in sight: of hidden directions 13 to 9 % are claimed on medium ones, 5
    to 1 on hard ones, at as many plain ones missed but on hard ones (22 to 25 % of those answered).
    """

    over_noise: float = 2.3
    reader: float = 0.01
    grain_at_most: float = 0.02
    carries: float = 0.75
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
    settle_columns: float = 4.0
    other_px: int = 5
    near_rim_px: int = 9


SETTINGS = EdgeShowsSettings()
_FEWEST_ROWS = 4  # of a side that tell its slope


def edge_shows(planes: Planes, rim: Rim, seam: Seam) -> tuple[BoolArray, BoolArray]:
    """In which directions can a reader verify the edge by its own line?

    Parameters
    ----------
    planes : Planes
    rim : Rim
        Its centre is that of the seam's radii; its line is none of the edge's.
    seam : Seam

    Returns
    -------
    shows, carries : array (720,) of bool
        Where the line is plain enough, and where enough of it is left to carry an edge on.

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
    >>> seam = Seam(none + 250.0, none, none, none == 0.0, 0.7, none + 250.0)
    >>> [int(where.sum()) for where in edge_shows(planes, rim, seam)]
    [0, 0]
    """
    edge_px = gaussian_filter1d(seam.radii_px, SETTINGS.settle_columns, mode="wrap")
    far = SETTINGS.reach_px[1]
    offset = np.arange(min(SETTINGS.parallels_px) - far, far + 1)
    radii = edge_px[None] + offset[:, None]
    raw = unroll(planes.log_grey, rim.centre_px, radii)
    strip = gaussian_filter1d(raw, SETTINGS.along_columns, axis=1, mode="wrap")
    to_rim = np.abs(radii - rim.radii_px)
    middle = len(offset) - 1 - far
    clear = to_rim[middle + np.array(SETTINGS.parallels_px)] >= SETTINGS.apart_px
    beside = np.stack([_contrast(strip, to_rim, middle + at) for at in SETTINGS.parallels_px])
    chance = float(np.quantile(beside[clear], 1.0 - SETTINGS.by_chance)) if clear.any() else 0.0
    grain = _grain(raw[slice(*(middle + np.array(SETTINGS.grain_px)))])
    noise = np.hypot(SETTINGS.reader, np.minimum(grain, SETTINGS.grain_at_most))
    line, least = _contrast(strip, to_rim, middle), SETTINGS.over_noise * noise
    told = _told_from_rim(planes, rim, seam.steepest_px)
    shows, carries = (
        np.asarray((line > np.maximum(share * least, chance)) & told)
        for share in (1.0, SETTINGS.carries)
    )
    return shows, carries


def _told_from_rim(planes: Planes, rim: Rim, steepest_px: FloatArray) -> BoolArray:
    """Return where a line is none of the rim's: away from it, or plain beside it."""
    near = np.abs(steepest_px - rim.radii_px) < SETTINGS.near_rim_px
    if not near.any():
        return np.asarray(~near)
    line, _ = visible_line(planes, rim.centre_px, steepest_px, rim.radii_px)
    line &= line_over_sides(planes, rim.centre_px, steepest_px, rim.radii_px)
    return np.asarray(line | ~near)


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
