"""The cheapest closed path around a strip: a globally optimal curve, no starting guess."""

import itertools

import numpy as np

from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

_PLAIN_PATHS = 24
_asked = itertools.count()


def closed_path(
    cost: FloatArray, largest_step: int, bending: float, compiled: bool | None = None
) -> IntArray:
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
    compiled : bool, optional
        Whether to search with compiled code, which takes half a second to load; unless told, from
        where so many paths were asked for in this process that it pays. The path is the same.

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
    columns = cost.shape[1]
    doubled = np.ascontiguousarray(np.hstack([cost, cost]).T)
    toll = bending * np.arange(-largest_step, largest_step + 1, dtype=np.float64) ** 2
    if compiled is None:
        compiled = next(_asked) >= _PLAIN_PATHS
    if compiled:
        from rimwise.picture.compiled_paths import cheapest  # noqa: PLC0415 - half a second

        path = cheapest(doubled, toll, largest_step)
    else:
        path = _cheapest(doubled, toll.tolist(), largest_step)
    half = columns // 2
    return np.concatenate([path[columns : columns + half], path[half:columns]])


def steep_path(cost: FloatArray, ends: tuple[int, int], largest_step: int, toll: float) -> IntArray:
    """Which open path from one row to another costs least, however steep it is?

    Parameters
    ----------
    cost : array (rows, n)
    ends : (int, int)
        Rows in the first column and in the last.
    largest_step : int
        Most rows from one column to the next.
    toll : float
        Cost of each row of a step.

    Returns
    -------
    array (n,) of int

    Examples
    --------
    >>> cost = np.ones((5, 5)); cost[4, 2] = -9.0
    >>> steep_path(cost, (0, 0), 3, 0.1).tolist()
    [0, 3, 4, 1, 0]
    """
    rows, columns = cost.shape
    step = np.arange(-largest_step, largest_step + 1)
    before = np.arange(rows)[:, None] + step  # (rows, steps): where a row may come from
    off = (before < 0) | (before >= rows)
    before = np.clip(before, 0, rows - 1)
    tolls = np.where(off, np.inf, toll * np.abs(step))
    least = np.full(rows, np.inf)
    least[ends[0]] = cost[ends[0], 0]
    came = np.zeros((columns, rows), dtype=np.int64)
    for column in range(1, columns):
        trial = least[before] + tolls
        choice = trial.argmin(axis=1)
        came[column] = before[np.arange(rows), choice]
        least = trial[np.arange(rows), choice] + cost[:, column]
    path = [ends[1]]
    for column in range(columns - 1, 0, -1):
        path.append(int(came[column, path[-1]]))
    return np.array(path[::-1], dtype=np.int64)


def flanks(level: FloatArray, path: IntArray, least: float) -> BoolArray:
    """Over which rows does what a path runs along fall off to both sides?

    A second path through these would be the other side of the first one's blur.

    Parameters
    ----------
    level : array (rows, n)
        What the path gains in each sample, in noise levels.
    path : array (n,) of int
        Its row in each column.
    least : float
        From this level on there is nothing left to fall.

    Returns
    -------
    array (rows, n) of bool

    Notes
    -----
    Own derivation: seen from its middle, blur only falls; a rise by more than one noise level is
    something else's.

    Examples
    --------
    >>> level = np.array([4.0, 0.0, 2.0, 5.0, 3.0, 5.0])[:, None]
    >>> flanks(level, np.array([3]), 1.0)[:, 0].tolist()
    [False, False, True, True, True, False]
    """
    columns = np.arange(level.shape[1])
    falling = np.zeros(level.shape, dtype=np.bool_)
    last = len(level) - 1
    for way in (-1, 1):
        row, lowest = path.copy(), level[path, columns]
        falls = np.ones(len(path), dtype=np.bool_)
        while falls.any():
            falling[row[falls], columns[falls]] = True
            falls &= (row + way >= 0) & (row + way <= last)
            row = np.clip(row + way, 0, last)
            here = level[row, columns]
            falls &= (here > least) & (here <= lowest + 1.0)
            lowest = np.minimum(lowest, here)
    return falling


def _cheapest(doubled: FloatArray, tolls: list[float], largest_step: int) -> IntArray:
    """Return the row of the cheapest path in each column, from (columns, rows) of cost."""
    columns, rows = doubled.shape
    # Least cost up to each sample, with a margin of infinite cost on both sides.
    least = np.full((columns, rows + 2 * largest_step), np.inf)
    middle = slice(largest_step, largest_step + rows)
    least[0, middle] = doubled[0]
    trial = np.empty(rows)
    for column in range(1, columns):
        before, here = least[column - 1], least[column, middle]
        here[:] = before[middle]
        for step in range(1, largest_step + 1):
            # Up and down cost the same: one toll on the cheaper of the two.
            below, above = largest_step - step, largest_step + step
            np.minimum(before[below : below + rows], before[above : above + rows], out=trial)
            trial += tolls[above]
            np.minimum(here, trial, out=here)
        here += doubled[column]
    row = int(np.argmin(least[-1, middle]))
    path = [row]
    for before in least[-2::-1]:
        near = before[row : row + len(tolls)].tolist()
        choices = [cost + toll for cost, toll in zip(near, tolls, strict=True)]
        row += choices.index(min(choices)) - largest_step
        path.append(row)
    return np.array(path[::-1], dtype=np.int64)


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
