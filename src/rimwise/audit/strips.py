"""Cover by direction over a whole series: the strips of all eyes, nasal on nasal."""

from collections.abc import Sequence

import numpy as np

from rimwise.records.series import CoverStrips, Series
from rimwise.stats.clustered import count_persons
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import Side, nasal_superior

_MOST_LINES = 150
_LEVELS = (0.10, 0.25, 0.50, 0.75, 0.90)


def anatomical_strip(width_mm: Sequence[float | None], side: Side) -> FloatArray:
    """How wide is the cover by anatomical direction: 0° nasal, 90° superior, 180° temporal?

    Parameters
    ----------
    width_mm : 360 numbers or None
        By the examiner's direction.
    side : "right" or "left"

    Returns
    -------
    array, shape (360,)
        NaN where not seen.

    Examples
    --------
    >>> told = [0.1] + [0.2] * 359
    >>> float(anatomical_strip(told, "right")[0]), float(anatomical_strip(told, "left")[180])
    (0.1, 0.1)
    """
    width = np.array([np.nan if one is None else one for one in width_mm], dtype=np.float64)
    # Nasal is at 0° of the examiner in a right eye and at 180° in a left one.
    nasal_is_right = nasal_superior(1.0, 0.0, side)[0] > 0.0
    return width if nasal_is_right else np.roll(width[::-1], 181)


def strips_of(series: Series) -> CoverStrips | None:
    """How wide is the cover by direction in the middle eye, and in most eyes?

    Returns None where no eye tells a strip.

    Examples
    --------
    >>> strips_of(Series({}, {}, np.arange(2))) is None
    True
    """
    if series.strips_mm is None:
        return None
    told = np.isfinite(series.strips_mm).any(axis=1)
    if not told.any():
        return None
    rows = series.strips_mm[told]
    seen = np.isfinite(rows)
    count = seen.sum(axis=0)
    levels = np.full((len(_LEVELS), 360), np.nan)
    some = count > 0
    levels[:, some] = np.nanquantile(rows[:, some], _LEVELS, axis=0)
    step = max(1, -(-len(rows) // _MOST_LINES))
    return CoverStrips(
        eyes=len(rows),
        persons=count_persons(series.person[told]),
        seen=tuple(int(one) for one in count),
        bare=tuple(int(one) for one in ((rows < 0.0) & seen).sum(axis=0)),
        levels_mm=tuple(tuple(_known(one) for one in row) for row in levels),
        lines_mm=tuple(tuple(_known(one) for one in row) for row in rows[::step]),
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
