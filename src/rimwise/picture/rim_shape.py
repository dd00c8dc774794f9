"""Which slightly oval circle runs along the most coherent line of a strip?"""

from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import BoolArray, FloatArray

_SHIFTS = np.arange(-5, 6) * 0.0055  # in radii: where the first look places centre and radius
_GROWTHS = np.arange(-8, 9) * 0.005
_STARTS = slice(0, 60, 15)  # of the best first looks, so that they differ
_FIRST_STEP, _LAST_STEP = 0.006, 0.0004  # of a climb, in radii
_GAIN = 1e-6
_SILENT = 0.15  # of directions counted as silent: a short arc needs a stronger line
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
    votes = np.concatenate([_coherence(band, piece) for piece in pieces])
    starts = shapes[np.argsort(votes)[::-1][_STARTS]]
    climbs = [_climb(band, start, radius_px, ovalness * radius_px) for start in starts]
    return max(climbs, key=lambda climb: climb[1])


def _coherence(band: LevelBand, shapes: FloatArray) -> FloatArray:
    """Return the mean clipped line strength along each of the shapes (m, 5)."""
    level = band.level
    row = shapes @ band.basis.T - band.first_px
    low = np.floor(row).astype(np.int64)
    share = row - low
    within = (low >= 0) & (low < level.shape[0] - 1)
    low = np.clip(low, 0, level.shape[0] - 2)
    column = np.arange(level.shape[1])[None, :]
    value = level[low, column] * (1.0 - share) + level[low + 1, column] * share
    counted = band.usable[low, column] & within
    silent = _SILENT * level.shape[1]
    return np.asarray((value * counted).sum(axis=1) / (counted.sum(axis=1) + silent))


def _moves() -> FloatArray:
    """Return unit moves of a shape: each number alone, and each two together."""
    alone = np.eye(5)
    pairs = [alone[i] + sign * alone[k] for i in range(5) for k in range(i) for sign in (-1.0, 1.0)]
    both = np.vstack([alone, np.array(pairs)])
    return np.vstack([both, -both, 2.0 * alone, -2.0 * alone])


def _climb(
    band: LevelBand, start: FloatArray, radius_px: float, oval_px: float
) -> tuple[FloatArray, float]:
    """Climb to the nearest best shape by moves that are halved when none helps."""
    shape, best, moves = start, -np.inf, _moves()
    step = _FIRST_STEP * radius_px
    while step > _LAST_STEP * radius_px:
        trial = shape + step * moves
        trial[:, 3:] = np.clip(trial[:, 3:], -oval_px, oval_px)
        votes = _coherence(band, trial)
        if votes.max() > best + _GAIN:
            shape, best = trial[int(np.argmax(votes))], float(votes.max())
        else:
            step *= 0.5
    return shape, best
