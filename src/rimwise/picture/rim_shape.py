"""Which slightly oval circle runs along the most coherent line of a strip?"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import BoolArray, FloatArray

_SHIFTS = np.arange(-5, 6) * 0.0055  # in radii: where the first look places centre and radius
_GROWTHS = np.arange(-8, 9) * 0.005
_STARTS = slice(0, 60, 15)  # of the best first looks, so that they differ
_FIRST_STEP, _LAST_STEP = 0.006, 0.0004  # of a climb, in radii
_GAIN = 1e-6
_SILENT = 0.15  # of directions counted as silent: a short arc needs a stronger line
_BEYOND = (0.014, 0.055)  # from where to where, in radii, a second line of one edge is looked for
_PARALLEL = 0.3  # of a climb's usual steps: it is nearly the first line's shape
_WORTH = 0.4  # of the first line's coherence: less, exactly parallel, does not climb to half of it
_ASIDE, _OVALER = 0.012, 0.006  # how far its centre and ovalness may depart, in radii
_AT_ONCE = 64  # shapes whose numbers still fit the processor's cache


@dataclass(frozen=True, slots=True)
class LevelBand:
    """Strength of a line around a circle.

    Parameters
    ----------
    level : array (rows, n)
        Clipped strength in noise levels.
    usable : array (rows, n) of bool
        Where the picture shows anything.
    first_px : float
        Distance of the first row from the circle; rows are a pixel apart.
    basis : array (n, 5)
        What each number of a shape adds to the radius by direction.
    """

    level: FloatArray
    usable: BoolArray
    first_px: float
    basis: FloatArray


def most_coherent(band: LevelBand, radius_px: float, ovalness: float) -> tuple[FloatArray, float]:
    """Along which shape is the line strongest, summed over all directions?

    Parameters
    ----------
    band : LevelBand
    radius_px : float
        Of the circle.
    ovalness : float
        Most that a shape may be oval, in radii.

    Returns
    -------
    shape : array (5,)
        What radius, shifts and ovalness add to the circle.
    coherence : float
        Mean clipped strength along it.

    Examples
    --------
    >>> theta = np.radians(np.arange(0.0, 360.0, 1.5))
    >>> waves = [np.cos(theta), np.sin(theta), np.cos(2 * theta), np.sin(2 * theta)]
    >>> basis = np.column_stack([np.ones_like(theta), *waves])
    >>> line = basis @ np.array([2.0, -1.0, 1.0, 0.0, 0.0])
    >>> rows = np.arange(-12.0, 13.0)
    >>> level = 4.0 * np.exp(-0.5 * (rows[:, None] - line) ** 2)
    >>> band = LevelBand(level, np.ones_like(level, dtype=np.bool_), -12.0, basis)
    >>> shape, coherence = most_coherent(band, 200.0, 0.02)
    >>> np.rint(shape).astype(int).tolist()
    [2, -1, 1, 0, 0]
    """
    shift, growth = _SHIFTS * radius_px, _GROWTHS * radius_px
    mesh = np.array(np.meshgrid(growth, shift, shift, indexing="ij")).reshape(3, -1).T
    shapes = np.hstack([mesh, np.zeros((len(mesh), 2))])
    pieces = np.array_split(shapes, len(shapes) // _AT_ONCE)
    tables = _tables(band)
    votes = np.concatenate([_coherence(tables, piece) for piece in pieces])
    starts = shapes[np.argsort(votes)[::-1][_STARTS]]
    climbs = [_climb(tables, start, radius_px, ovalness * radius_px) for start in starts]
    return max(climbs, key=lambda climb: climb[1])


def coherent_beyond(band: LevelBand, radius_px: float) -> tuple[FloatArray | None, float]:
    """Along which parallel shape farther out does a second line run, and how coherent is it?

    Parameters
    ----------
    band : LevelBand
        About the shape of the first line.
    radius_px : float
        Of the first line.

    Returns
    -------
    shape : array (5,) or None
        What it adds to the first; None where no line is nearly parallel to it.
    share : float
        Its coherence over that of the first line.

    Examples
    --------
    >>> theta = np.radians(np.arange(0.0, 360.0, 1.5))
    >>> waves = [np.cos(theta), np.sin(theta), np.cos(2 * theta), np.sin(2 * theta)]
    >>> basis = np.column_stack([np.ones_like(theta), *waves])
    >>> rows = np.arange(-16.0, 17.0)[:, None] + 0.0 * theta
    >>> level = 4.0 * np.exp(-0.5 * rows**2) + 3.0 * np.exp(-0.5 * (rows - 8.0) ** 2)
    >>> band = LevelBand(level, np.ones_like(level, dtype=np.bool_), -16.0, basis)
    >>> shape, share = coherent_beyond(band, 250.0)
    >>> np.rint(shape).astype(int).tolist(), round(share, 2)
    ([8, 0, 0, 0, 0], 0.75)
    """
    tables = _tables(band)
    step, oval = _PARALLEL * radius_px, _OVALER * radius_px
    near, far = (share * radius_px for share in _BEYOND)
    growth = np.arange(near, far)
    starts = np.column_stack([growth, np.zeros((len(growth), 4))])
    even, at_first = _coherence(tables, starts), float(_coherence(tables, np.zeros((1, 5)))[0])
    if float(even.max()) < _WORTH * at_first:
        return None, 0.0
    start = starts[int(even.argmax())]
    (_, here), (shape, beyond) = (_climb(tables, at, step, oval) for at in (np.zeros(5), start))
    aside = float(np.hypot(shape[1], shape[2]))
    if here <= 0.0 or not near <= shape[0] <= far or aside > _ASIDE * radius_px:
        return None, 0.0
    return shape, beyond / here


@dataclass(frozen=True, slots=True)
class _Tables:
    """A band as it is read: flat, in single precision, with a silent row below and above.

    Parameters
    ----------
    level, slope, counts : array ((rows + 1)·n,)
        Strength at a row, its rise to the next, and 1 where it counts.
    basis : array (5, n)
    first_px : float
    """

    level: Float32Array
    slope: Float32Array
    counts: Float32Array
    basis: FloatArray
    first_px: float


def _tables(band: LevelBand) -> _Tables:
    rows, n = band.level.shape
    level, slope, counts = np.zeros((3, rows + 1, n), dtype=np.float32)
    counts[1:rows] = band.usable[:-1]
    level[1:rows] = band.level[:-1] * band.usable[:-1]
    slope[1:rows] = np.diff(band.level, axis=0) * band.usable[:-1]
    flat = (level.ravel(), slope.ravel(), counts.ravel())
    return _Tables(*flat, np.ascontiguousarray(band.basis.T), band.first_px)


def _coherence(tables: _Tables, shapes: FloatArray) -> FloatArray:
    """Return the mean clipped line strength along each of the shapes (m, 5)."""
    n = tables.basis.shape[1]
    row = (shapes @ tables.basis - (tables.first_px - 1.0)).astype(np.float32)
    # What lies outside the band falls into the silent rows.
    np.clip(row, 0.0, tables.level.size // n - 0.5, out=row)
    whole = np.floor(row)
    row -= whole
    whole *= n  # places are whole numbers far below 2**24, so single precision keeps them
    whole += np.arange(n, dtype=np.float32)
    place = whole.astype(np.intp)
    value = tables.slope.take(place)
    value *= row
    value += tables.level.take(place)
    counted = tables.counts.take(place).sum(axis=1) + np.float32(_SILENT * n)
    return np.asarray(value.sum(axis=1) / counted, dtype=np.float64)


@cache
def _moves() -> FloatArray:
    """Return unit moves of a shape: each number alone, and each two together."""
    alone = np.eye(5)
    pairs = [alone[i] + sign * alone[k] for i in range(5) for k in range(i) for sign in (-1.0, 1.0)]
    both = np.vstack([alone, np.array(pairs)])
    return np.vstack([both, -both, 2.0 * alone, -2.0 * alone])


def _climb(
    tables: _Tables, start: FloatArray, radius_px: float, oval_px: float
) -> tuple[FloatArray, float]:
    """Climb to the nearest best shape by moves that are halved when none helps."""
    shape, best, moves = start, -np.inf, _moves()
    step = _FIRST_STEP * radius_px
    while step > _LAST_STEP * radius_px:
        trial = shape + step * moves
        trial[:, 3:] = np.clip(trial[:, 3:], -oval_px, oval_px)
        votes = _coherence(tables, trial)
        if votes.max() > best + _GAIN:
            shape, best = trial[int(np.argmax(votes))], float(votes.max())
        else:
            step *= 0.5
    return shape, best
