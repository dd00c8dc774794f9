"""How does light go through a medium whose index changes from place to place?

With the parameter τ, dτ = ds / n, a ray obeys dX/dτ = T, dT/dτ = n ∇n with |T| = n, and the
optical path grows by dS/dτ = n² (A. Sharma, D. V. Kumar, A. K. Ghatak, "Tracing rays through
graded-index media: a new method", Appl. Opt. 21, 984, 1982, cited from memory). Integrated in
the medium's own frame by extrapolated midpoint steps of order 12 (W. B. Gragg; R. Bulirsch and
J. Stoer, Numer. Math. 8, 1, 1966, cited from memory) with a step length for every ray.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.optics.media import Gradient
from rimwise.optics.rays import Int8Array, Status
from rimwise.optics.shapes import evaluate
from rimwise.terms.arrays import BoolArray, FloatArray

# Error of one step, mm and index units; a lens takes some five steps.
STEP_ERROR = 4e-15
FIRST_STEP_MM = 0.5
LEAST_STEP_MM = 1e-6
MAX_STEPS = 2000
MAX_NEWTON = 30
HIT_MM = 2e-15
MIDPOINTS = (2, 4, 6, 8, 10, 12)


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
    status: Int8Array


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
    turn = medium.pose.matrix()
    vertex = medium.pose.inward(target.vertex_mm)
    own = Target(target.kind, target.row, turn.T @ target.rotation, vertex)
    start = medium.pose.inward(points_mm)
    tangent = (directions @ turn) * medium.index(start)[:, None]
    state = np.concatenate([start, tangent, np.zeros((len(start), 1))], axis=1)
    walk = _Stretch(medium, own, state, np.zeros(len(state), dtype=np.int8), np.zeros(len(state)))
    alive = np.isfinite(state).all(axis=1)
    walk.march(alive)
    walk.pin_down(alive)
    unit = walk.state[:, 3:6] / np.sqrt(np.sum(walk.state[:, 3:6] ** 2, axis=1))[:, None]
    points = medium.pose.outward(walk.state[:, :3])
    return Crossing(points, unit @ turn.T, walk.state[:, 6], walk.status)


@dataclass(slots=True)
class _Stretch:
    """Rays (place, n · direction, path) on their way through a gradient, in its own frame."""

    medium: Gradient
    target: Target
    state: FloatArray
    status: Int8Array
    guess: FloatArray

    def march(self, alive: BoolArray) -> None:
        """Step every ray until its next step would cross the surface; guess that step."""
        height, slope = self.target.height(self.state[:, :3], self.state[:, 3:6])
        upright = self.state[:, 3:6] @ self.target.rotation[:, 2]
        side = -np.sign(np.where(np.isnan(slope), upright, slope))
        h = np.full(len(self.state), FIRST_STEP_MM)
        running = np.flatnonzero(alive & ~(height * side <= 0.0))
        for _ in range(MAX_STEPS):
            if not running.size:
                return
            tried, error = _step(self.medium, self.state[running], h[running])
            good = error <= 1.0
            ahead, _ = self.target.height(tried[:, :3], tried[:, 3:6])
            crosses = good & (ahead * side[running] <= 0.0)
            at = running[crosses]
            before, _ = self.target.height(self.state[at, :3], self.state[at, 3:6])
            share = before / (before - ahead[crosses])
            self.guess[at] = h[at] * np.where(np.isfinite(share), share, 0.5)
            factor = np.clip(0.8 * np.maximum(error, 1e-12) ** (-1.0 / 11.0), 0.2, 3.0)
            h[running] *= np.where(np.isnan(factor), 0.2, factor)
            on = good & ~crosses
            lost = (on & ~_inside(self.medium, tried)) | (h[running] < LEAST_STEP_MM)
            self.status[running[lost]] = Status.LEFT_MEDIUM
            self.state[running[on]] = tried[on]
            running = running[~(crosses | lost)]
        self.status[running] = Status.MISSED

    def pin_down(self, alive: BoolArray) -> None:
        """Find the step that ends on the surface, by Newton's method, and take it."""
        chosen = np.flatnonzero(alive & (self.status == Status.OK))
        start, h = self.state[chosen], self.guess[chosen]
        for _ in range(MAX_NEWTON):
            there, _ = _step(self.medium, start, h)
            height, slope = self.target.height(there[:, :3], there[:, 3:6])
            allowed = HIT_MM * (1.0 + np.abs(there[:, :3]).sum(axis=1))
            off = np.abs(height) > allowed
            if not off.any():
                break
            h = np.where(off, h - height / slope, h)
        self.state[chosen] = there
        self.status[chosen[np.isnan(height)]] = Status.MISSED
        self.status[chosen[np.abs(height) > 4.0 * allowed]] = Status.NO_CONVERGENCE
        left = ~_inside(self.medium, there) & (self.status[chosen] == Status.OK)
        self.status[chosen[left]] = Status.LEFT_MEDIUM


def _inside(medium: Gradient, state: FloatArray) -> BoolArray:
    index = medium.index(state[:, :3])
    return np.asarray(medium.holds(state[:, :3], 1e-9) & (index >= 1.0) & (index <= 5.0))


def _step(medium: Gradient, state: FloatArray, h: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Take one step of each ray's own length; return the states and error / allowed error.

    Changes, not states, are extrapolated: that keeps the round-off of a small step small.
    """
    first = _slope(medium, state)
    last: list[FloatArray] = []
    for k, parts in enumerate(MIDPOINTS):
        row = [_midpoint(medium, state, first, h, parts)]
        for j in range(1, k + 1):
            ratio = (parts / MIDPOINTS[k - j]) ** 2 - 1.0
            row.append(row[-1] + (row[-1] - last[j - 1]) / ratio)
        last = row
    error = np.abs(last[-1] - last[-2])[:, :6].max(axis=1) / STEP_ERROR
    return state + last[-1], error


def _midpoint(
    medium: Gradient, state: FloatArray, first: FloatArray, h: FloatArray, parts: int
) -> FloatArray:
    """Return the change by Gragg's modified midpoint rule with so many parts."""
    small = (h / parts)[:, None]
    before, here = np.zeros_like(state), small * first
    for _ in range(parts - 1):
        before, here = here, before + 2.0 * small * _slope(medium, state + here)
    change: FloatArray = 0.5 * (before + here + small * _slope(medium, state + here))
    return change


def _slope(medium: Gradient, state: FloatArray) -> FloatArray:
    """Return d(X, T, S)/dτ."""
    index, slope = medium.index_and_slope(state[:, :3])
    found = np.empty_like(state)
    found[:, :3] = state[:, 3:6]
    found[:, 3:6] = index[:, None] * slope
    found[:, 6] = index * index
    return found
