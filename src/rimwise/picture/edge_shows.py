"""In which directions does the opening's edge show as a line, and not as a step alone?"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.contrast import line_over_sides, passed, visible_line
from rimwise.picture.planes import Planes
from rimwise.picture.rim import Rim
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class EdgeShowsSettings:
    """When an edge is claimed to show, with reasons.

    Parameters
    ----------
    contrast : float
        Least contrast: the geometric mean of how sharply brightness bends at the line and of how
        far it passes the levels at both sides, log brightness.
    by_chance : float
        In a noisy picture the contrast must be one that no more than this share of the places
        beside the edge has, measured alike.
    along_columns : float
        One sd of the average along the edge, half degrees: some 11° in all. Edges fade over tens of
        degrees; a longer look spreads what shows into what does not.
    line_px, bend_px, reach_px : int, int, int
        How far from its course the line is looked for, the spacing of the second difference, and
        how far the sides are read.
    parallels_px, apart_px : tuple of int, int
        How far inside of the edge, in the clear opening, the places beside it lie, and how far
        from the rim.
    other_px, near_rim_px : int, int
        So near to the rim a row is no side's level; and nearer the rim's line is the edge's too,
        and both must be told apart as before (``picture/contrast.py``).

    Notes
    -----
    The contrast is that of least cost on 160 own renders of levels 2 to 5, where a hidden direction
    claimed (line painted with less than 2 %) costs as much as two and a half plain ones missed (6 %
    and more), as the bars of 2 and 5 % stand to each other; averages of 8 to 16° have their
    optimum at the same value. With the rim's (``picture/rim_shows.py``) the cost fell by 41 %.
    """

    contrast: float = 0.05
    by_chance: float = 0.1
    along_columns: float = 9.0
    line_px: int = 4
    bend_px: int = 3
    reach_px: int = 10
    parallels_px: tuple[int, ...] = (-27, -22, -17, -13)
    apart_px: int = 14
    other_px: int = 5
    near_rim_px: int = 9


SETTINGS = EdgeShowsSettings()


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
    passes neither side's level. Pearls and texture pass their sides, but bend slowly. The product
    of both is large for the line alone.

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
    far = SETTINGS.reach_px
    offset = np.arange(min(SETTINGS.parallels_px) - far, far + 1)
    radii = steepest_px[None] + offset[:, None]
    strip = unroll(planes.log_grey, rim.centre_px, radii)
    strip = gaussian_filter1d(strip, SETTINGS.along_columns, axis=1, mode="wrap")
    to_rim = np.abs(radii - rim.radii_px)
    middle = len(offset) - 1 - far
    clear = to_rim[middle + np.array(SETTINGS.parallels_px)] >= SETTINGS.apart_px
    beside = np.stack([_contrast(strip, to_rim, middle + at) for at in SETTINGS.parallels_px])
    chance = float(np.quantile(beside[clear], 1.0 - SETTINGS.by_chance)) if clear.any() else 0.0
    shows = _contrast(strip, to_rim, middle) > max(SETTINGS.contrast, chance)
    near = np.abs(steepest_px - rim.radii_px) < SETTINGS.near_rim_px
    if (shows & near).any():
        line, _ = visible_line(planes, rim.centre_px, steepest_px, rim.radii_px)
        line &= line_over_sides(planes, rim.centre_px, steepest_px, rim.radii_px)
        shows &= line | ~near
    return np.asarray(shows)


def _contrast(strip: FloatArray, to_rim: FloatArray, middle: int) -> FloatArray:
    """Return the contrast of a line near a row."""
    rows = slice(middle - SETTINGS.reach_px, middle + SETTINGS.reach_px + 1)
    dark, bright, _ = passed(strip[rows], to_rim[rows] < SETTINGS.other_px)
    at = np.arange(middle - SETTINGS.line_px, middle + SETTINGS.line_px + 1)
    bend = 2.0 * strip[at] - strip[at - SETTINGS.bend_px] - strip[at + SETTINGS.bend_px]
    return np.asarray(np.sqrt(np.nan_to_num(dark + bright) * np.abs(bend).max(axis=0)))
