"""A disc's edge may be a double line, and the outer one is the disc's: is there one beyond?"""

import numpy as np

from rimwise.terms.arrays import BoolArray, FloatArray

_NEAR, _FAR = 0.012, 0.06  # how far out, in radii: the line itself has ended, other things begin
_ALIKE = 0.5  # of the followed line's strength; practice and own: below 0.2 where there is none
_IN_SIGHT = 0.5  # of the followed line's directions


def line_beyond(away: FloatArray, level: FloatArray, usable: BoolArray) -> float | None:
    """How far outside of a followed line does another run along it, as strong?

    Parameters
    ----------
    away : array (rows,)
        Distance of each row from the followed line, in radii, outside positive.
    level : array (rows, n)
        How dark a line each sample lies on, clipped noise levels.
    usable : array (rows, n) of bool
        Where the picture shows anything.

    Returns
    -------
    float or None
        In radii; None where there is none.

    Notes
    -----
    Own derivation: front and rear border of a lens's edge bend light each, and either may be the
    stronger. A capsule's edge, a fold or a haptic does not keep its distance all the way round, so
    that its strength averaged along the rim is small. Levels are clipped: no short piece of
    anything outweighs a line.

    Examples
    --------
    >>> away = np.arange(-0.08, 0.0801, 0.004)
    >>> two = [3.0 * np.exp(-(((away - at) / 0.004) ** 2)) for at in (0.0, 0.028)]
    >>> level, seen = np.repeat(sum(two)[:, None], 90, axis=1), np.ones((41, 90), dtype=np.bool_)
    >>> round(line_beyond(away, level, seen), 3)
    0.028
    >>> line_beyond(away, np.repeat(two[0][:, None], 90, axis=1), seen) is None
    True
    """
    count = usable.sum(axis=1)
    mean = (level * usable).sum(axis=1) / np.maximum(count, 1)
    middle = int(np.argmin(np.abs(away)))
    own = float(mean[np.abs(away) < 0.5 * _NEAR].max())
    out = (away > _NEAR) & (away < _FAR) & (count > _IN_SIGHT * count[middle])
    if own <= 0.0 or not out.any():
        return None
    best = int(np.argmax(np.where(out, mean, -np.inf)))
    # A maximum at the first row would be the flank of the followed line itself.
    peak = mean[best] >= mean[best - 1] and mean[best] > _ALIKE * own
    return float(away[best]) if peak else None
