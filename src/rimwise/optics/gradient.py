"""How does light go through a medium whose index changes from place to place?

With the parameter τ, dτ = ds / n, a ray obeys dX/dτ = T, dT/dτ = n ∇n with |T| = n, and the
optical path grows by dS/dτ = n² (A. Sharma, D. V. Kumar, A. K. Ghatak, "Tracing rays through
graded-index media: a new method", Appl. Opt. 21, 984, 1982, cited from memory). Integrated by
the embedded pair of J. R. Dormand and P. J. Prince, "A family of embedded Runge-Kutta formulae",
J. Comput. Appl. Math. 6, 19, 1980 (coefficients cited from memory; the tests hold the order).
"""

from dataclasses import dataclass

import numpy as np

from rimwise.optics.media import Gradient
from rimwise.optics.rays import Status
from rimwise.optics.shapes import evaluate
from rimwise.terms.arrays import BoolArray, FloatArray

# Error of one step, mm and index units: a hundred steps stay near round-off.
STEP_ERROR = 1e-14
FIRST_STEP_MM = 0.05
MAX_STEPS = 4000
MAX_NEWTON = 40
HIT_MM = 4e-15

_STAGES: tuple[tuple[float, ...], ...] = (
    (1 / 5,),
    (3 / 40, 9 / 40),
    (44 / 45, -56 / 15, 32 / 9),
    (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729),
    (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656),
    (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84),
)
_ERROR = (71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40)


@dataclass(frozen=True, slots=True)
class Target:
    """The surface that ends a stretch of gradient: its kind, table row, rotation and vertex."""

    kind: int
    row: FloatArray
    rotation: FloatArray
    vertex_mm: FloatArray

    def local(self, points_mm: FloatArray) -> FloatArray:
        """Return points of the system's frame in the surface's own."""
        placed: FloatArray = (points_mm - self.vertex_mm) @ self.rotation
        return placed

    def height(self, points_mm: FloatArray, ways: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return z - sag and its slope along the rays, both in mm of the system's frame."""
        p, d = self.local(points_mm), ways @ self.rotation
        normal, residual = evaluate(max(self.kind, 1), self.row, p[:, 0], p[:, 1], p[:, 2])
        nx, ny, nz = normal
        return residual, (nx * d[:, 0] + ny * d[:, 1] + nz * d[:, 2]) / nz


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where gradient rays met the target, in the system's frame; ``status`` of each."""

    points_mm: FloatArray
    directions: FloatArray
    opl_mm: FloatArray
    status: FloatArray


def cross_gradient(
    medium: Gradient, target: Target, points_mm: FloatArray, directions: FloatArray
) -> Crossing:
    """Where do rays that run in a gradient meet the next surface?

    Parameters
    ----------
    medium : Gradient
    target : Target
        The surface that ends the stretch.
    points_mm, directions : array, shape (n, 3)
        Start in the system's frame; NaN rays are passed over.

    Returns
    -------
    Crossing
        LEFT_MEDIUM where a ray came to where the polynomial does not hold (or the index left
        1 to 5), MISSED where the surface was never met, NO_CONVERGENCE where it could not be
        pinned down.
    """
    index, _ = medium.index_and_slope(medium.pose.inward(points_mm))
    state = np.concatenate([points_mm, directions * index[:, None], np.zeros((len(index), 1))], 1)
    status = np.full(len(index), int(Status.OK))
    alive = np.isfinite(state).all(axis=1)
    before = _march(medium, target, state, status, alive)
    _pin_down(medium, target, before, status, alive)
    tangent = before[:, 3:6]
    unit = tangent / np.sqrt(np.einsum("ij,ij->i", tangent, tangent))[:, None]
    return Crossing(before[:, :3], unit, before[:, 6], status)


def _march(
    medium: Gradient, target: Target, state: FloatArray, status: FloatArray, alive: BoolArray
) -> FloatArray:
    """Step every ray until its next step would cross the surface; return the states before."""
    side = -np.sign(target.height(state[:, :3], state[:, 3:6])[1])
    side = np.where(np.isnan(side), -np.sign(state[:, 3:6] @ target.rotation[:, 2]), side)
    h = np.full(len(state), FIRST_STEP_MM)
    there = target.height(state[:, :3], state[:, 3:6])[0] * side <= 0.0
    running = np.flatnonzero(alive & ~there)
    for _ in range(MAX_STEPS):
        if not running.size:
            return state
        tried, error = _step(medium, state[running], h[running])
        good = error <= 1.0
        factor = np.clip(0.9 * np.where(error > 0.0, error, 1e-10) ** -0.2, 0.2, 4.0)
        h[running] *= np.where(np.isnan(factor), 0.2, factor)
        ahead = target.height(tried[:, :3], tried[:, 3:6])[0] * side[running]
        crosses = good & (ahead <= 0.0)
        # Keep the step that crosses as the first guess of where it does.
        h[running[crosses]] /= factor[crosses]
        goes_on = good & ~crosses
        lost = goes_on & ~_inside(medium, tried)
        lost |= h[running] < 1e-9
        status[running[lost]] = Status.LEFT_MEDIUM
        state[running[goes_on]] = tried[goes_on]
        running = running[~(crosses | lost)]
    status[running] = Status.MISSED
    return state


def _inside(medium: Gradient, state: FloatArray) -> BoolArray:
    own = medium.pose.inward(state[:, :3])
    index = medium.index(own)
    return np.asarray(medium.holds(own, 1e-9) & (index >= 1.0) & (index <= 5.0))


def _pin_down(
    medium: Gradient, target: Target, state: FloatArray, status: FloatArray, alive: BoolArray
) -> None:
    """Find the step that ends on the surface, by Newton's method, and take it."""
    open_ = np.flatnonzero(alive & (status == Status.OK))
    start = state[open_]
    h = np.zeros(len(open_))
    for _ in range(MAX_NEWTON):
        there, _ = _step(medium, start, h)
        height, slope = target.height(there[:, :3], there[:, 3:6])
        size = 1.0 + np.abs(there[:, :3]).sum(axis=1)
        if np.all(np.abs(height) <= HIT_MM * size):
            break
        change = -height / slope
        h = h + np.where(np.abs(height) <= HIT_MM * size, 0.0, change)
    state[open_] = there
    status[open_[np.isnan(height)]] = Status.MISSED
    status[open_[np.abs(height) > 4.0 * HIT_MM * size]] = Status.NO_CONVERGENCE
    left = ~_inside(medium, there) & (status[open_] == Status.OK)
    status[open_[left]] = Status.LEFT_MEDIUM


def _step(medium: Gradient, state: FloatArray, h: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Take one step of each ray's own length; return the states and error / allowed error."""
    slopes = [_slope(medium, state)]
    there = state
    for weights in _STAGES:
        rise = sum(w * k for w, k in zip(weights, slopes, strict=False) if w)
        there = state + h[:, None] * rise
        slopes.append(_slope(medium, there))
    rise = sum(w * k for w, k in zip(_ERROR, slopes, strict=True) if w)
    error = np.abs(h[:, None] * rise)[:, :6].max(axis=1) / STEP_ERROR
    return there, error


def _slope(medium: Gradient, state: FloatArray) -> FloatArray:
    """Return d(X, T, S)/dτ."""
    index, slope = medium.index_and_slope(medium.pose.inward(state[:, :3]))
    force = (index[:, None] * slope) @ medium.pose.matrix().T
    return np.concatenate([state[:, 3:6], force, (index * index)[:, None]], axis=1)
