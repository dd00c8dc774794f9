"""The optic's rim through points that a hand placed."""

import math
from collections.abc import Sequence

import numpy as np

from rimwise.measure.curves import ellipse_of, oval_of, picture_rad, rim_basis
from rimwise.picture.rim import SETTINGS as RIM
from rimwise.records.cover import FoundRim
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused

_ROUNDS = 6  # of making the model linear about the moved centre
_FREE = 0.3  # of a rim about which nothing is known: sd of size and place, in its radius
_FEWEST = 5
_UNSURE = 0.03  # sd of the rim's radius, in itself: 0.1 mm of an optic, and no cover is told


def rim_through(points_px: FloatArray, sd_px: float, found: FoundRim | None) -> FoundRim:
    """Which rim runs through these points, given the one that the program found?

    Parameters
    ----------
    points_px : array (n, 2)
        Stored pixels.
    sd_px : float
        Of each point across the rim.
    found : FoundRim or None

    Returns
    -------
    FoundRim
        The found rim drawn towards the points where both agree; where they contradict each
        other, or nothing was found, the ellipse of a tilted circle through the points alone.

    Raises
    ------
    MeasurementRefused
        The points do not settle an ellipse.

    Notes
    -----
    r(θ) = R + x cos θ + y sin θ + e₂ cos 2θ + e₃ sin 2θ is linear in its five numbers; the found
    rim enters as a normal prior, a contradicted one only as a prior 30 % wide. The ovalness keeps
    its prior of a nearly round optic (0.8 %) in every case.
    """
    start = circle_through(points_px) if found is None else _state(found)
    if found is not None:
        covariance = np.asarray(found.covariance_px2)
        if agrees(points_px, sd_px, found):
            return _settled(points_px, sd_px, start, covariance)
    wide = np.diag([_FREE, _FREE, _FREE, RIM.ovalness_sd, RIM.ovalness_sd]) * start[0]
    rim = _settled(points_px, sd_px, start, wide**2)
    radius = rim_basis(np.radians(np.arange(0.0, 360.0, 5.0)))
    spread = np.einsum("ni,ij,nj->n", radius, np.asarray(rim.covariance_px2), radius)
    if float(np.sqrt(spread.max())) > _UNSURE * 0.5 * (rim.ellipse_px.a + rim.ellipse_px.b):
        raise MeasurementRefused(
            "optic-points-few",
            f"The {len(points_px)} points on the optic's edge do not settle its circle; place at "
            f"least {_FEWEST}, spread all round.",
        )
    return rim


def agrees(points_px: FloatArray, sd_px: float, found: FoundRim) -> bool:
    """Do these points agree with the found rim, within what both leave open together?

    One point may be 2.3 sd away, sixteen 1.4 sd on the root of their mean square: about one true
    rim in a hundred is called wrong.
    """
    state = _state(found)
    basis, target = _rows(points_px, state)
    spread = np.einsum("ni,ij,nj->n", basis, np.asarray(found.covariance_px2), basis)
    squares = float(((target - basis @ state) ** 2 / (spread + sd_px**2)).sum())
    count = len(points_px)
    return squares <= count + 3.0 * math.sqrt(2.0 * count)


def rim_misses(
    points_px: FloatArray, others_px: FloatArray, sd_px: float, found: FoundRim | None
) -> tuple[FloatArray, FloatArray]:
    """How far outside of the rim through the others do points lie, in its radii, with which sd?

    Raises
    ------
    MeasurementRefused
        The others do not settle a rim.
    """
    rim = rim_through(others_px, sd_px, found)
    state = _state(rim)
    basis, target = _rows(points_px, state)
    spread = np.einsum("ni,ij,nj->n", basis, np.asarray(rim.covariance_px2), basis)
    return (target - basis @ state) / state[0], np.sqrt(spread + sd_px**2) / state[0]


def circle_through(points_px: FloatArray) -> FloatArray:
    """Which circle of least algebraic error runs through these points: (R, u, -v, 0, 0)?

    Raises
    ------
    MeasurementRefused
        Fewer than five points.

    Examples
    --------
    >>> around = np.radians(np.arange(0, 360, 60))
    >>> ring = np.column_stack([9 + 5 * np.cos(around), 7 + 5 * np.sin(around)])
    >>> circle_through(ring).round(6).tolist()
    [5.0, 9.0, -7.0, 0.0, 0.0]
    """
    if len(points_px) < _FEWEST:
        raise MeasurementRefused(
            "points-few",
            f"{len(points_px)} points were placed where nothing was found; place at least "
            f"{_FEWEST}, spread all round.",
        )
    middle = points_px.mean(axis=0)
    away = points_px - middle
    design = np.column_stack([2.0 * away, np.ones(len(away))])
    terms, *_ = np.linalg.lstsq(design, (away**2).sum(axis=1), rcond=None)
    radius = float(np.sqrt(max(terms[2] + terms[:2] @ terms[:2], 1.0)))
    centre = middle + terms[:2]
    return np.array([radius, centre[0], -centre[1], 0.0, 0.0])


def rim_of_curve(points_px: FloatArray, sd_px: float, correlated: float) -> FoundRim:
    """Which rim runs through a followed curve whose neighbours' errors go together?"""
    return rim_through(points_px, sd_px * float(np.sqrt(correlated)), None)


def _state(rim: FoundRim) -> FloatArray:
    radius, second, third = oval_of(rim.ellipse_px)
    return np.array([radius, rim.ellipse_px.cx, -rim.ellipse_px.cy, second, third])


def _rows(points_px: FloatArray, state: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return design and target of the points about a state's centre, linear in the state."""
    away = points_px - [state[1], -state[2]]
    basis = rim_basis(picture_rad(away))
    return basis, np.hypot(away[:, 0], away[:, 1]) + basis[:, 1:3] @ state[1:3]


def _settled(
    points_px: FloatArray, sd_px: float, start: FloatArray, covariance: FloatArray
) -> FoundRim:
    prior = np.linalg.inv(covariance)
    state = start
    # A wide prior stays about its own first guess, a narrow one about the found rim.
    for _ in range(_ROUNDS):
        basis, target = _rows(points_px, state)
        spread = np.linalg.inv(prior + basis.T @ basis / sd_px**2)
        state = spread @ (prior @ start + basis.T @ target / sd_px**2)
    ellipse = ellipse_of(np.array([state[1], -state[2]]), state[[0, 3, 4]])
    return FoundRim(ellipse, tuple(tuple(float(v) for v in row) for row in spread))


def points_of(pairs: Sequence[tuple[float, float]]) -> FloatArray:
    """Return points (n, 2) of these pairs."""
    return np.asarray(pairs, dtype=np.float64).reshape(-1, 2)
