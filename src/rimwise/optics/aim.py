"""Which rays of a source pass through given points of a stop? And what of a pupil is real?"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rimwise.optics.pose import Vec3
from rimwise.optics.rays import Rays, Status, rays
from rimwise.optics.system import System
from rimwise.optics.trace import trace
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

HIT_MM = 1e-12
NEAR_MM = 1e-10  # what still counts as hit where round-off of a long path hides more
PROBE = 1e-5
MAX_ROUNDS = 30
MAX_HALVINGS = 8


@dataclass(frozen=True, slots=True)
class FromPoint:
    """Light from one point; the first guess looks at ``towards_mm``."""

    point_mm: Vec3
    towards_mm: Vec3

    def launch(self, free: FloatArray) -> Rays:
        """Return rays whose slopes about the guess are the free numbers, shape (n, 2)."""
        guess = np.subtract(self.towards_mm, self.point_mm)
        across, up = _basis(guess)
        unit = guess / np.linalg.norm(guess)
        ways = unit + free[:, :1] * across + free[:, 1:] * up
        return rays(np.array(self.point_mm), ways)

    def scale(self) -> float:
        """Return how far a slope of 1 leads at the first guess, mm."""
        return float(np.linalg.norm(np.subtract(self.towards_mm, self.point_mm)))


@dataclass(frozen=True, slots=True)
class Collimated:
    """Light of one direction; rays start in the plane across it through ``through_mm``."""

    direction: Vec3
    through_mm: Vec3

    def launch(self, free: FloatArray) -> Rays:
        """Return rays whose offsets in the plane are the free numbers, mm, shape (n, 2)."""
        across, up = _basis(np.array(self.direction))
        start = np.array(self.through_mm) + free[:, :1] * across + free[:, 1:] * up
        return rays(start, np.array(self.direction))

    def scale(self) -> float:
        """Return 1: the free numbers are millimetres."""
        return 1.0


Source = FromPoint | Collimated


@dataclass(frozen=True, slots=True)
class Aimed:
    """Rays at their source, and where each meets the plane of launch.

    Parameters
    ----------
    rays : Rays
        ``status`` is NO_CONVERGENCE where no ray reaches the stop's point.
    free : array, shape (n, 2)
        Slopes (from a point) or offsets in mm (collimated) about the source's first guess.
    """

    rays: Rays
    free: FloatArray


def aim(system: System, stop: int, source: Source, points_mm: ArrayLike) -> Aimed:
    """Which rays of the source pass through these points of the stop?

    Parameters
    ----------
    system : System
    stop : int
        The step that is the stop; it may be tilted and decentred.
    source : FromPoint or Collimated
    points_mm : array_like, shape (n, 2)
        x and y in the stop's own frame.

    Returns
    -------
    Aimed
        Newton's method with a Jacobian by differences; clipping is ignored on the way.

    Examples
    --------
    >>> from rimwise.optics.pose import Pose
    >>> from rimwise.optics.surface import plane, sphere
    >>> from rimwise.optics.system import pass_through, refract
    >>> eye = System(
    ...     (refract(sphere(-7.8), 1.336), pass_through(plane(Pose.at(0.0, 0.0, -3.6))))
    ... )
    >>> found = aim(eye, 1, Collimated((0.0, 0.0, -1.0), (0.0, 0.0, 5.0)), [[1.5, 0.0]])
    >>> round(float(found.free[0, 0]), 4)
    1.6897
    """
    wanted = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
    if wanted.shape[-1] != 2 or not np.all(np.isfinite(wanted)):
        raise WrongInput("points of a stop are finite pairs x, y in mm; give shape (n, 2)")
    front = System(system.steps[: stop + 1], system.start).unclipped()
    pose = system.steps[stop].surface.pose
    probe_x, probe_y = np.eye(2) * PROBE / source.scale()

    def miss(free: FloatArray) -> FloatArray:
        hit = pose.inward(trace(front, source.launch(free)).positions_mm)
        return hit[:, :2] - wanted

    free = np.zeros_like(wanted)
    gap = miss(free)
    for _ in range(MAX_ROUNDS):
        if not np.any(np.abs(gap) > HIT_MM):
            break
        by_x = (miss(free + probe_x) - gap) / probe_x[0]
        by_y = (miss(free + probe_y) - gap) / probe_y[1]
        free, gap = _descend(miss, free, gap, _solve(by_x, by_y, gap))
    start = source.launch(np.where(np.isfinite(free), free, 0.0))
    lost = ~(np.abs(gap).max(axis=1) <= NEAR_MM)
    start.status[lost] = Status.NO_CONVERGENCE
    start.at_surface[lost] = stop
    return Aimed(start, free)


def pupil_outline(
    system: System, stop: int, source: Source, radius_mm: float, count: int = 36
) -> FloatArray:
    """What outline does the round stop show to a source, by real rays?

    Parameters
    ----------
    system : System
    stop : int
        The step that is the stop; it may be tilted and decentred.
    source : FromPoint or Collimated
    radius_mm : float
        Of the stop.
    count : int
        Points of the outline.

    Returns
    -------
    array, shape (count, 3)
        Where the rays through the rim, prolonged, cross the plane across the source's own
        direction through the point it looks at; NaN where the rim cannot be reached.

    Examples
    --------
    >>> from rimwise.optics.pose import Pose
    >>> from rimwise.optics.surface import plane, sphere
    >>> from rimwise.optics.system import pass_through, refract
    >>> eye = System(
    ...     (refract(sphere(-7.8), 1.336), pass_through(plane(Pose.at(0.0, 0.0, -3.6))))
    ... )
    >>> rim = pupil_outline(eye, 1, Collimated((0.0, 0.0, -1.0), (0.0, 0.0, 0.0)), 1.5, 4)
    >>> [round(float(v), 4) for v in rim[0]]
    [1.6897, 0.0, 0.0]
    """
    if not radius_mm > 0.0:
        raise WrongInput(f"a stop of radius_mm = {radius_mm} came; a radius above 0 is needed")
    turn = 2.0 * np.pi * np.arange(count) / count
    found = aim(system, stop, source, radius_mm * np.column_stack([np.cos(turn), np.sin(turn)]))
    if isinstance(source, Collimated):
        outline = found.rays.positions_mm.copy()
    else:
        axis = np.subtract(source.towards_mm, source.point_mm)
        reach = (axis @ axis) / (found.rays.directions @ axis)
        outline = found.rays.advanced(reach).positions_mm
    outline[~found.rays.ok] = np.nan
    return outline


def _descend(
    miss: Callable[[FloatArray], FloatArray], free: FloatArray, gap: FloatArray, step: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Take Newton's step, halved for every ray that would fall off the system or miss by more."""
    share = np.ones((len(free), 1))
    here = np.abs(gap).max(axis=1)
    for _ in range(MAX_HALVINGS):
        tried = free - share * step
        there = miss(tried)
        worse = ~(np.abs(there).max(axis=1) <= np.maximum(here, HIT_MM))
        if not worse.any():
            break
        share[worse] *= 0.5
    return np.where(worse[:, None], free, tried), np.where(worse[:, None], gap, there)


def _solve(by_x: FloatArray, by_y: FloatArray, gap: FloatArray) -> FloatArray:
    """Solve each 2 × 2 system J step = gap."""
    det = by_x[:, 0] * by_y[:, 1] - by_y[:, 0] * by_x[:, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        sx = (gap[:, 0] * by_y[:, 1] - by_y[:, 0] * gap[:, 1]) / det
        sy = (by_x[:, 0] * gap[:, 1] - gap[:, 0] * by_x[:, 1]) / det
    return np.stack([sx, sy], axis=1)


def _basis(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors across a direction, the first as near +x as can be."""
    unit = direction / np.linalg.norm(direction)
    lead = np.array([1.0, 0.0, 0.0]) if abs(unit[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    across = lead - unit * (lead @ unit)
    across /= np.linalg.norm(across)
    up = np.cross(unit, across)
    # For light along -z as for +z the second vector shall point to +y.
    return across, up if up[1] >= 0.0 else -up
