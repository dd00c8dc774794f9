"""Medians as NumPy's, to the last bit, and quicker: most of the numbers are never put in order."""

import numpy as np

from rimwise.terms.arrays import AnyArray, FloatArray

_FEW = 4000  # below, to put all in order is quicker than to look where the middle may lie
_SAMPLE = 601  # at even steps; so many place the middle to a few hundredths
_BESIDE = 40  # of the sample to both sides of its middle: the middle of all lies in between


def median(values: AnyArray) -> float:
    """What is the median of these numbers? NaN for none, and where one of them is.

    Notes
    -----
    Own derivation: a sample, put in order, tells two levels which the median lies between; what
    lies below is counted, and only what lies between them is put in order. Where the sample was
    wrong, all are.

    Examples
    --------
    >>> median(np.array([4.0, 1.0, 3.0, 2.0])), median(np.array([[5.0, 1.0], [3.0, 3.0]]))
    (2.5, 3.0)
    """
    flat = values.ravel()
    if flat.size < _FEW:
        return _of_few(flat)
    half = flat.size // 2
    sample = np.sort(flat[:: flat.size // _SAMPLE])
    middle = len(sample) // 2
    low, high = sample[middle - _BESIDE], sample[middle + _BESIDE]
    above = flat >= low
    between = flat.compress(above & (flat <= high))
    below = flat.size - int(np.count_nonzero(above))
    if not below < half < below + len(between) or np.isnan(flat.min()):
        return _of_few(flat)
    return _middle(between, half - below, bool(flat.size % 2))


def median_deviation(values: AnyArray) -> float:
    """What is the median of these numbers' distances from their median?

    Examples
    --------
    >>> median_deviation(np.array([1.0, 2.0, 3.0, 90.0, 5.0]))
    2.0
    """
    away = values - np.asarray(median(values), dtype=values.dtype)
    return median(np.abs(away, out=away))


def row_medians(rows: AnyArray) -> FloatArray:
    """What is the median of each row?

    Examples
    --------
    >>> row_medians(np.array([[4.0, 1.0, 3.0, 2.0], [0.0, 0.0, 1.0, 5.0]])).tolist()
    [2.5, 0.5]
    """
    half = rows.shape[1] // 2
    if rows.shape[1] % 2:
        return np.asarray(np.partition(rows, half, axis=1)[:, half])
    ordered = np.partition(rows, [half - 1, half], axis=1)
    return np.asarray((ordered[:, half - 1] + ordered[:, half]) / 2)


def _of_few(flat: AnyArray) -> float:
    half = flat.size // 2
    return _middle(flat, half, bool(flat.size % 2)) if flat.size else np.nan


def _middle(flat: AnyArray, place: int, odd: bool) -> float:
    """Return the number at a place in order, or its mean with the one before."""
    ordered = np.partition(flat, place if odd else [place - 1, place])
    # NumPy puts what is no number last.
    if np.isnan(ordered[place:].max()):
        return np.nan
    here = ordered[place]
    return float(here) if odd else float((ordered[place - 1] + here) / 2)
