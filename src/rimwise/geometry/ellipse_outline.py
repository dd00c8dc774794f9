"""The ellipse through a closed smooth outline: many times in a clip, and without its covariance."""

import numpy as np

from rimwise.geometry.ellipse import Ellipse
from rimwise.geometry.ellipse_settling import settled
from rimwise.terms.arrays import FloatArray


def outline_ellipse(points: FloatArray, compiled: bool = False) -> Ellipse:
    """Which ellipse runs through an outline told in even directions all round?

    The same as :func:`rimwise.geometry.ellipse.fit_ellipse` finds with all of the points, without
    its covariance.

    Parameters
    ----------
    points : array, shape (n, 2), n >= 6
        Any plane unit, in even directions about a middle that lies well inside.
    compiled : bool
        Whether to load the compiler, for many ellipses; they are the same.

    Raises
    ------
    WrongInput
        The points run round no ellipse.

    Notes
    -----
    The start is a circle with the second wave of the outline, which is an ellipse's to the first
    order of its flatness.

    Examples
    --------
    >>> turn = 2.0 * np.pi * np.arange(40) / 40
    >>> found = outline_ellipse(Ellipse(10.0, 20.0, 5.0, 4.0, 0.3).points(turn))
    >>> round(found.cx, 6), round(found.cy, 6), round(found.a, 6), round(found.angle_rad, 6)
    (10.0, 20.0, 5.0, 0.3)
    """
    middle = points.mean(axis=0)
    local = points - middle
    x, y = local.T
    square = x * x + y * y
    radius = np.sqrt(square)
    wave = [2.0 * float((radius * one / square).mean()) for one in (x * x - y * y, 2.0 * x * y)]
    start = np.array([0.0, 0.0, float(radius.mean()), *wave])
    shape, _ = settled(local, np.ones(len(local)), start, False, compiled)
    m, p, q = shape[2:]
    centre = middle[0] + shape[0], middle[1] + shape[1]
    return Ellipse.from_matrix(
        (float(centre[0]), float(centre[1])), np.array([[m + p, q], [q, m - p]])
    )
