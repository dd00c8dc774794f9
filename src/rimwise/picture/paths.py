"""The cheapest closed path around a strip: a globally optimal curve, no starting guess."""

import numpy as np

from rimwise.terms.arrays import FloatArray, IntArray


def closed_path(cost: FloatArray, largest_step: int, bending: float) -> IntArray:
    """Which closed path around the strip costs least?

    Dynamic programming over columns, twice round the strip; the middle turn of the doubled path
    closes upon itself because by then it no longer knows where it started.

    Parameters
    ----------
    cost : array (rows, n)
        Cost of passing through each sample; any sign.
    largest_step : int
        Most rows a path may move from one column to the next.
    bending : float
        Cost of a step of one row; grows with its square.

    Returns
    -------
    array (n,) of int
        Row of the path in each column.

    Notes
    -----
    Shortest path by dynamic programming (Bellman 1957; the doubled strip is common practice,
    no source).

    Examples
    --------
    >>> cost = np.ones((5, 8)); cost[3] = 0.0
    >>> closed_path(cost, 1, 0.1).tolist()
    [3, 3, 3, 3, 3, 3, 3, 3]
    """
    rows, columns = cost.shape
    doubled = np.ascontiguousarray(np.hstack([cost, cost]).T)
    came_from = np.zeros((2 * columns, rows), dtype=np.int8)
    steps = np.arange(-largest_step, largest_step + 1)
    toll = bending * steps.astype(np.float64) ** 2
    padded = np.full(rows + 2 * largest_step, np.inf)
    middle = padded[largest_step : largest_step + rows]
    window = np.lib.stride_tricks.sliding_window_view(padded, rows)[::-1]
    middle[:] = doubled[0]
    choices = np.empty((len(steps), rows))
    for column in range(1, 2 * columns):
        np.add(window, toll[:, None], out=choices)
        best = choices.argmin(axis=0)
        came_from[column] = best - largest_step
        middle[:] = choices[best, np.arange(rows)] + doubled[column]
    path = np.empty(2 * columns, dtype=np.int64)
    row = int(np.argmin(middle))
    for column in range(2 * columns - 1, -1, -1):
        path[column] = row
        row -= int(came_from[column, row])
    half = columns // 2
    return np.concatenate([path[columns : columns + half], path[half:columns]])


def peak_offset(values: FloatArray, path: IntArray) -> FloatArray:
    """How far, in rows, does the peak of each column lie from the path's whole row?

    A parabola through three samples (common practice, no source); at most one row.
    """
    columns = np.arange(values.shape[1])
    row = np.clip(path, 1, values.shape[0] - 2)
    before, here, after = (values[row + k, columns] for k in (-1, 0, 1))
    curvature = before - 2.0 * here + after
    safe = np.where(curvature < -1e-12, curvature, -1.0)
    offset = np.where(curvature < -1e-12, 0.5 * (before - after) / safe, 0.0)
    return np.asarray(np.clip(offset, -1.0, 1.0) + (row - path))
