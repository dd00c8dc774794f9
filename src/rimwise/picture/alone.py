"""Pieces of an edge: which can be followed, which belong together, which are the rim's own line."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_closing, binary_opening, gaussian_filter1d, label, median_filter

from rimwise.geometry.arcs import runs_round
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.seam import Seam
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class AloneSettings:
    """When a piece is believed, with reasons; columns are half degrees.

    Parameters
    ----------
    joins_columns : int
        A gap across which two pieces of the edge are one.
    least_columns : int
        A shorter piece of a line is a speck or a crossing fold as well, and verifies no edge.
    alone_columns, alone, steepest : int, float, float
        Below how many a piece that lies on the rim for more than this share of its way is taken
        for the rim itself, where the edge would have to run more steeply than this to the pieces
        beside it, radii to the radian: an opening 0.5 mm off the middle of a 6 mm optic runs at
        0.17 at the most.
    along, along_columns, all_round : float, int, int
        Within this share of the rim's radius for so long at its end, a piece has gone over from
        the edge to the rim's own line: an edge that passes beyond the rim crosses it. Not asked
        where the edge is found on more columns than the last.
    steady_columns : int
        Median over so many columns of where the piece runs before that is asked.
    elsewhere : float
        Where colours tell of a sheet before the rim, the same holds as far as the rim's own lines
        reach if the piece on the other side of the gap lies farther from the rim than this.
    veiled_columns : int
        Over so long a way without anything fine in sight an edge is not believed.
    turn_columns, turn, even_columns : int, float, float
        An edge's course turns no more sharply than this share of the rim's radius over so many
        columns to both sides; a path that leaves it for a fold turns three times as sharply. One sd
        of the average along the course before that is asked.
    """

    joins_columns: int = 10
    least_columns: int = 20
    alone_columns: int = 60
    alone: float = 0.8
    steepest: float = 0.2
    along: float = 0.010
    along_columns: int = 20
    steady_columns: int = 9
    elsewhere: float = 0.04
    all_round: int = 600
    veiled_columns: int = 60
    turn_columns: int = 20
    turn: float = 0.018
    even_columns: float = 4.0


SETTINGS = AloneSettings()


def in_pieces(line: BoolArray) -> BoolArray:
    """Where is a line seen over so long a way that it can be followed?

    Parameters
    ----------
    line : array (720,) of bool
        Where it is seen, by half degrees round a turn.

    Returns
    -------
    array (720,) of bool
        The same without pieces shorter than 10°, gaps below 5° aside.

    Examples
    --------
    >>> line = np.zeros(720, dtype=np.bool_)
    >>> line[[*range(100, 112), *range(115, 130), *range(300, 310)]] = True
    >>> kept = in_pieces(line)
    >>> int(kept.sum()), bool(kept[105]), bool(kept[305])
    (27, True, False)
    """
    pieces, _ = _pieces(line)
    if not pieces:
        return line
    long = [own for own in pieces if own.sum() >= SETTINGS.least_columns]
    return np.asarray(np.logical_or.reduce(long, axis=0) & line)


def carried_on(
    found: BoolArray, line: BoolArray, seam: Seam, rim: Rim, rim_zone: float | FloatArray
) -> BoolArray:
    """Where does an edge's line carry it from one piece found to the next?

    Parameters
    ----------
    found : array (720,) of bool
        Where the seam stands out by its whiteness.
    line : array (720,) of bool
        Where its line shows by itself.
    seam : Seam
    rim : Rim
    rim_zone : float or array (720,)
        Within this share of the rim's radius the line may be the rim's.

    Returns
    -------
    array (720,) of bool
        Gaps of ``found`` over which the line runs on, its own gaps below 5° aside.

    Notes
    -----
    Own derivation. A line without a rise of whiteness is a fold, a haptic or the rim as well. But
    one that joins two pieces of the edge at both its ends, and turns nowhere as a path does that
    leaves one line for another, is the edge's: where capsule is thin or a JPEG has rounded its
    faint colour away, whiteness is lost and the line is not.

    Examples
    --------
    >>> full, none = np.full(720, 300.0), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (700.0, 525.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> edge = full - 50.0
    >>> seam = Seam(edge, full, full, none == 0.0, 0.7, edge)
    >>> at = np.arange(720)
    >>> found, line = (at < 200) | (at > 260), at > 195
    >>> int(carried_on(found, line, seam, rim, 0.022).sum())
    61
    >>> int(carried_on(found, line & (at > 220), seam, rim, 0.022).sum())
    0
    """
    off = (seam.radii_px - rim.radii_px) / rim.radius_px
    course = gaussian_filter1d(seam.radii_px, SETTINGS.even_columns, mode="wrap")
    beside = np.roll(course, SETTINGS.turn_columns) + np.roll(course, -SETTINGS.turn_columns)
    smooth = np.abs(beside - 2.0 * course) < SETTINGS.turn * rim.radius_px
    may = seam.usable & smooth & (np.abs(off) > rim_zone)
    turns = np.tile((line & may) | found, 3)
    way = binary_closing(turns, np.ones(SETTINGS.joins_columns + 1))[COLUMNS : 2 * COLUMNS]
    way &= may | found
    carried = np.zeros_like(found)
    if not found.any():
        return carried
    for gap in runs_round(~found):
        carried[gap] = way[gap].all()
    return carried


def alone_at_rim(found: BoolArray, seam: Seam, rim: Rim, rim_zone: float | FloatArray) -> BoolArray:
    """Where does a short piece lie on the rim's own lines, off the course of the pieces beside it?

    The rim looks like an edge there, while the opening's own edge has left it behind a gap.

    Parameters
    ----------
    found : array (720,) of bool
        Where the seam stands out.
    seam : Seam
    rim : Rim
    rim_zone : float or array (720,)
        Within this share of the rim's radius its own lines resemble an edge.

    Examples
    --------
    >>> full, none = np.full(720, 300.0), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (700.0, 525.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> at = np.arange(720)
    >>> edge = np.where((at > 300) & (at < 340), 300.0, 250.0)
    >>> seam = Seam(edge, full, full, none == 0.0, 0.7, edge)
    >>> found = (at < 280) | ((at > 300) & (at < 340)) | (at > 360)
    >>> int(alone_at_rim(found, seam, rim, 0.022).sum())
    39
    """
    off = (seam.radii_px - rim.radii_px) / rim.radius_px
    at_rim = np.abs(off) < rim_zone
    alone = np.zeros_like(found)
    pieces, start = _pieces(found)
    ends = [_ends(own, start) for own in pieces]
    for k, (own, (first, last)) in enumerate(zip(pieces, ends, strict=True), 1):
        short = own.sum() < SETTINGS.alone_columns and at_rim[own].mean() > SETTINGS.alone
        beside = ((ends[k - 2][1], first), (last, ends[k % len(ends)][0]))
        alone |= own & (short and max(_steepness(off, gap) for gap in beside) > SETTINGS.steepest)
    return alone


def ends_along_rim(
    found: BoolArray, off: FloatArray, rim_zone: FloatArray | None = None
) -> BoolArray:
    """Where does a piece of an edge end along the rim, as if the rim had led it astray?

    Parameters
    ----------
    found : array (720,) of bool
        Where an edge was found, by half degrees round a turn.
    off : array (720,)
        How far outside of the rim it lies, in radii of the rim.
    rim_zone : array (720,), optional
        As far as the rim's own lines reach, in its radii, where colours tell that more than the rim
        shows where they meet: then only an end within it is astray beyond whose gap the edge goes
        on elsewhere.

    Returns
    -------
    array (720,) of bool

    Examples
    --------
    >>> at = np.arange(720)
    >>> off = np.where(at < 200, -0.1, np.where(at < 240, 0.0, 0.2))
    >>> np.flatnonzero(ends_along_rim(at < 240, off))[[0, -1]].tolist()
    [200, 239]
    >>> bool(ends_along_rim(at < 215, off).any())
    False
    >>> zone = np.full(720, 0.022)
    >>> int(ends_along_rim((at < 240) | (at > 300), off, zone).sum())
    40
    >>> bool(ends_along_rim((at < 240) | (at > 300), np.minimum(off, 0.0), zone).any())
    False
    """
    astray = np.zeros_like(found)
    pieces, start = _pieces(found)
    if rim_zone is None and found.sum() >= SETTINGS.all_round:
        return astray
    ways = [(np.flatnonzero(np.roll(own, -start)) + start) % COLUMNS for own in pieces]
    along = np.full(COLUMNS, SETTINGS.along) if rim_zone is None else rim_zone
    # Noise sends single columns aside.
    course = median_filter(off, size=SETTINGS.steady_columns, mode="wrap")
    for k, inside in enumerate(ways):
        before, after = ways[k - 1][-1], ways[(k + 1) % len(ways)][0]
        for way, other in ((inside, before), (inside[::-1], after)):
            left = np.flatnonzero(np.abs(course[way]) > along[way])
            count = int(left[0]) if len(left) else len(way)
            elsewhere = rim_zone is None or abs(off[other]) > SETTINGS.elsewhere
            if count >= SETTINGS.along_columns and elsewhere:
                astray[way[:count]] = True
    return astray


def _pieces(found: BoolArray) -> tuple[list[BoolArray], int]:
    """Return the pieces of a line, small gaps aside, and a column between them; none: all round."""
    joined = found.copy()
    for turn in range(1, SETTINGS.joins_columns + 1):
        joined |= np.roll(found, turn)
    start = int(np.argmin(joined))
    if joined[start]:
        return [], start
    piece = np.roll(label(np.roll(joined, -start))[0], start) * found
    return [piece == k for k in range(1, int(piece.max()) + 1)], start


def _ends(own: BoolArray, start: int) -> tuple[int, int]:
    """Return the first and last column of a piece, counted on from a column between pieces."""
    inside = np.flatnonzero(np.roll(own, -start)) + start
    return int(inside[0]), int(inside[-1])


def _steepness(off: FloatArray, gap: tuple[int, int]) -> float:
    """How steeply must the edge run across a gap, in radii of the rim to the radian?"""
    wide = (gap[1] - gap[0]) % COLUMNS or COLUMNS
    rise = abs(float(off[gap[1] % COLUMNS] - off[gap[0] % COLUMNS]))
    return rise * COLUMNS / (2.0 * np.pi * wide)


def without_veiled(found: BoolArray, shows: BoolArray) -> BoolArray:
    """Where is a found edge believed, given where anything fine shows?

    Parameters
    ----------
    found : array (720,) of bool
        Where an edge was found, by half degrees round a turn.
    shows : array (720,) of bool
        Where a reader could verify the opening's edge, or the optic's rim at least.

    Returns
    -------
    array (720,) of bool
        ``found`` without stretches of 30° and more in which neither shows.

    Notes
    -----
    Where the rim shows, the picture is sharp and lit, so that what was found is an edge there, if
    a faint one. Where neither shows, it may be any shade. A shorter stretch is held by its ends:
    an opening's waves shorter than 60° have an sd of 0.02 mm (``WidthSettings.waviness_mm``).

    Examples
    --------
    >>> found, shows = np.ones(720, dtype=np.bool_), np.ones(720, dtype=np.bool_)
    >>> shows[700:], shows[:50], shows[300:350] = False, False, False
    >>> kept = without_veiled(found, shows)
    >>> int(kept.sum()), bool(kept[10]), bool(kept[320])
    (650, False, True)
    """
    turns = np.tile(found & ~shows, 3)
    veiled = binary_opening(turns, np.ones(SETTINGS.veiled_columns))[len(found) : 2 * len(found)]
    return np.asarray(found & ~veiled)
