"""Angles and arcs that wrap round."""

import math

import numpy as np
from scipy.ndimage import label

from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

Arc = tuple[float, float]


def turn_between_rad(start_rad: FloatArray, end_rad: FloatArray) -> FloatArray:
    """By which turn in [-π, π) does one direction become the other?

    Examples
    --------
    >>> turn_between_rad(np.array([0.1]), np.array([2 * np.pi - 0.1])).round(9).tolist()
    [-0.2]
    """
    return np.asarray((end_rad - start_rad + math.pi) % (2.0 * math.pi) - math.pi)


def axis_turn_between_rad(start_rad: FloatArray, end_rad: FloatArray) -> FloatArray:
    """By which turn in [-π/2, π/2) does one axis become the other?

    Examples
    --------
    >>> axis_turn_between_rad(np.array([0.1]), np.array([np.pi - 0.1])).round(9).tolist()
    [-0.2]
    """
    return np.asarray((end_rad - start_rad + math.pi / 2.0) % math.pi - math.pi / 2.0)


def arc_span_deg(arc: Arc) -> float:
    """How many degrees does an arc [from, to] span counter-clockwise?

    [0, 360] is the whole circle; equal ends are an empty arc.

    Examples
    --------
    >>> arc_span_deg((350.0, 10.0)), arc_span_deg((0.0, 360.0)), arc_span_deg((5.0, 5.0))
    (20.0, 360.0, 0.0)
    """
    start, end = arc
    if end - start >= 360.0:
        return 360.0
    return (end - start) % 360.0


def in_arc(direction_deg: float, arc: Arc) -> bool:
    """Does a direction lie in an arc [from, to] run through counter-clockwise?

    Examples
    --------
    >>> in_arc(5.0, (350.0, 10.0)), in_arc(180.0, (350.0, 10.0))
    (True, False)
    """
    return (direction_deg - arc[0]) % 360.0 <= arc_span_deg(arc)


def runs_round(flags: BoolArray) -> list[IntArray]:
    """Which places, in order, does each run of true flags hold? The last place adjoins the first.

    Examples
    --------
    >>> flags = np.array([True, False, True, True, False, True])
    >>> [run.tolist() for run in runs_round(flags)]
    [[2, 3], [5, 0]]
    """
    if flags.all():
        return [np.arange(len(flags))]
    start = int(np.argmin(flags))
    runs, count = label(np.roll(flags, -start))
    return [(np.flatnonzero(runs == run) + start) % len(flags) for run in range(1, count + 1)]
