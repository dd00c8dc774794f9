"""The opening's edge through points that a hand placed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.fourier import fourier_terms
from rimwise.measure.width import SETTINGS as WIDTH
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import MeasurementRefused

_JOIN_DEG = 45.0  # two points at most so far apart speak for the arc between them
_BESIDE_DEG = 5  # a point speaks for so much on either side
_DROPPED_DEG = 12  # a contradicted edge is not believed so near to the point
_CONTRADICTS_SD = 2.0
_WAVINESS_RADIUS_MM = 3.0  # of the optic that the waviness is told for
_SIZE_SD = 0.5  # of the radius, in rim radii: no size is preferred
_LOCAL_DEG = 12.0
_FADES_DEG = 4.0  # a third of a departure's length: found edges beside a tag are no tag
_ROUGH = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16)  # in rim radii
ROUGHEST = _ROUGH[-1]  # sd of the largest departures that the curve can follow, in rim radii
_FEWEST = 6  # points where no edge was found


@dataclass(frozen=True, slots=True)
class Placed:
    """Points by the examiner's direction about the rim's centre, radii in rim radii.

    Parameters
    ----------
    at_deg, radius, sd : array (n,)
    """

    at_deg: FloatArray
    radius: FloatArray
    sd: FloatArray

    def some(self, which: Sequence[int]) -> "Placed":
        """Return these points alone."""
        chosen = np.asarray(which, dtype=np.int64)
        return Placed(self.at_deg[chosen], self.radius[chosen], self.sd[chosen])


@dataclass(frozen=True, slots=True)
class FoundEdge:
    """The edge as the picture shows it.

    Parameters
    ----------
    radius, sd : array (360,)
        In rim radii.
    kept : array (360,) of bool
        Where it was found.
    """

    radius: FloatArray
    kept: BoolArray
    sd: FloatArray


@dataclass(frozen=True, slots=True)
class HandEdge:
    """The edge with what a hand placed.

    Parameters
    ----------
    radius : array (360,)
        In rim radii.
    told : array (360,) of bool
        Directions for which the points speak.
    dropped : array (360,) of bool
        Directions in which the found edge is no longer believed.
    errors : array (m, 360)
        Equally likely errors of the radius where the points alone carry it.
    """

    radius: FloatArray
    told: BoolArray
    dropped: BoolArray
    errors: FloatArray


def edge_through(placed: Placed, found: FoundEdge, draws: FloatArray) -> HandEdge:
    """Which edge runs through these points and, where they agree, along the found one?

    Parameters
    ----------
    placed : Placed
    found : FoundEdge
    draws : array (m, 360)
        Standard normal numbers.

    Notes
    -----
    A point more than two sd from the found edge contradicts it: there, and as far as the next
    points, the found edge is dropped. Points and what is left of the found edge then carry one
    normal process: the usual waviness of openings, and what departs from it over some 12°, by as
    much as makes the found edge most likely, and where the points alone speak by as much as makes
    them most likely: a tag that a hand follows is no measure of the rest of the edge, nor the
    other way round. Its covariance is the ± where the points alone speak.

    Raises
    ------
    MeasurementRefused
        Nothing was found and fewer than six points were placed.
    """
    if not found.kept.any() and len(placed.at_deg) < _FEWEST:
        raise MeasurementRefused(
            "opening-points-few",
            f"No edge of the opening was found, and {len(placed.at_deg)} points on it were placed; "
            f"place at least {_FEWEST}, spread all round.",
        )
    placed = placed.some(np.argsort(placed.at_deg).tolist())
    told, dropped = _told_and_dropped(placed, found)
    left = _what_is_left(found, told, dropped)
    by_hand = told & ~left.kept
    course = _course(placed, left, np.flatnonzero(by_hand))
    radius, errors = found.radius.copy(), np.zeros_like(draws)
    radius[by_hand] = course.radius
    errors[:, by_hand] = _errors(course, draws)
    return HandEdge(radius, told, dropped & ~told, errors)


def expected_at(placed: Placed, found: FoundEdge, at_deg: float) -> tuple[float, float]:
    """Where would these points and the found edge put the edge in this direction, with which sd?

    Both in rim radii; ``placed`` is what is left without a point that is asked about.
    """
    placed = placed.some(np.argsort(placed.at_deg).tolist())
    left = _what_is_left(found, *_told_and_dropped(placed, found))
    course = _course(placed, left, np.array([round(at_deg) % 360]))
    return float(course.radius[0]), float(np.sqrt(max(course.covariance[0, 0], 0.0)))


def _told_and_dropped(placed: Placed, found: FoundEdge) -> tuple[BoolArray, BoolArray]:
    near = np.round(placed.at_deg).astype(np.int64) % 360
    apart = np.abs(placed.radius - found.radius[near])
    against = found.kept[near] & (apart > _CONTRADICTS_SD * np.hypot(placed.sd, found.sd[near]))
    told, dropped = _arcs(placed.at_deg, against)
    return told, dropped & found.kept


def _what_is_left(found: FoundEdge, told: BoolArray, dropped: BoolArray) -> "_Left":
    believed = found.kept & ~dropped
    by_hand = told & ~believed
    return _Left(found.radius, found.sd, believed, _apart(dropped | by_hand))


def _arcs(at_deg: FloatArray, against: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Return the directions for which points speak, and those where the found edge is dropped."""
    every = np.arange(360.0)
    told, dropped = np.zeros(360, dtype=np.bool_), np.zeros(360, dtype=np.bool_)
    for index, start in enumerate(at_deg):
        after = (index + 1) % len(at_deg)
        gap = (at_deg[after] - start) % 360.0
        away = np.abs((every - start + 180.0) % 360.0 - 180.0)
        told |= away <= _BESIDE_DEG
        if against[index]:
            dropped |= away <= _DROPPED_DEG
        if 0.0 < gap <= _JOIN_DEG:
            between = (every - start) % 360.0 <= gap
            told |= between
            if against[index] or against[after]:
                dropped |= between
    return told, dropped


@dataclass(frozen=True, slots=True)
class _Course:
    """Mean (k,) and covariance (k, k) of the radius in the directions asked for, in rim radii."""

    radius: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left of the found edge, and where (360,), 0 to 1, the points alone speak."""

    radius: FloatArray
    sd: FloatArray
    kept: BoolArray
    apart: FloatArray


def _apart(by_points: BoolArray) -> FloatArray:
    """Return 1 where the points alone speak, falling to 0 beside as departures fade."""
    if by_points.all() or not by_points.any():
        return by_points.astype(np.float64)
    every = np.arange(360.0)
    away = np.abs((every[:, None] - every[by_points][None, :] + 180.0) % 360.0 - 180.0)
    return np.asarray(np.exp(-0.5 * (away.min(axis=1) / _FADES_DEG) ** 2))


def _course(placed: Placed, left: _Left, asked: IntArray) -> _Course:
    """Return the course through points and what is left of the found edge."""
    # Errors of the found edge's neighbours go together: one number for each such arc.
    chosen = np.flatnonzero(left.kept)[:: round(WIDTH.edge_arc_deg)]
    at = np.radians(np.concatenate([chosen, placed.at_deg]))
    radii = np.concatenate([left.radius[chosen], placed.radius])
    noise = np.concatenate([left.sd[chosen], placed.sd]) ** 2
    every = np.radians(asked)
    away = radii - float(np.median(radii))
    smooth, local = _waves(at, at), _nearby(at, at)
    found, more = slice(0, len(chosen)), np.interp(at, np.radians(np.arange(360.0)), left.apart)
    usual = 0.0
    if len(chosen):
        usual = _likeliest(
            lambda sd: (smooth + sd**2 * local)[found, found], noise[found], away[found]
        )
    freer = np.outer(more, more) * local
    best = _likeliest(lambda sd: smooth + usual**2 * local + sd**2 * freer, noise, away)
    both = smooth + usual**2 * local + best**2 * freer + np.diag(noise)
    near, free = _nearby(every, at), left.apart[asked]
    across = _waves(every, at) + (usual**2 + best**2 * np.outer(free, more)) * near
    weights = np.linalg.solve(both, across.T).T
    spread = _waves(every, every) - weights @ across.T
    spread += (usual**2 + best**2 * np.outer(free, free)) * _nearby(every, every)
    return _Course(float(np.median(radii)) + weights @ away, np.asarray(spread))


def _likeliest(prior: Callable[[float], FloatArray], noise: FloatArray, away: FloatArray) -> float:
    return max(_ROUGH, key=lambda sd: _likelihood(prior(sd), noise, away))


def _waves(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the prior covariance of radii: the usual waviness of openings, size unknown."""
    one, two, rest = WIDTH.waviness_mm
    sds = np.array([one, two, *(rest / k**2 for k in range(3, WIDTH.harmonics + 1))])
    variance = np.concatenate([[_SIZE_SD**2], np.repeat((sds / _WAVINESS_RADIUS_MM) ** 2, 2)])
    rows = fourier_terms(first, WIDTH.harmonics) * variance
    return np.asarray(rows @ fourier_terms(second, WIDTH.harmonics).T)


def _nearby(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the correlation of what departs from these waves: tags, folds, tears."""
    apart = np.sin(0.5 * (first[:, None] - second[None, :]))
    return np.asarray(np.exp(-2.0 * (apart / np.radians(_LOCAL_DEG)) ** 2))


def _likelihood(prior: FloatArray, noise: FloatArray, away: FloatArray) -> float:
    root = np.linalg.cholesky(prior + np.diag(noise))
    white = np.linalg.solve(root, away)
    return float(-0.5 * white @ white - np.log(np.diag(root)).sum())


def _errors(course: _Course, draws: FloatArray) -> FloatArray:
    count = len(course.covariance)
    if not count:
        return np.zeros((len(draws), 0))
    # Neighbours are nearly the same number; a ten-thousandth of an sd keeps the root real.
    ease = 1e-8 * float(np.trace(course.covariance)) / count
    root = np.linalg.cholesky(course.covariance + ease * np.eye(count))
    return np.asarray(draws[:, :count] @ root.T)
