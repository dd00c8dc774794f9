"""How does light go through this system? One function; plain NumPy or compiled behind it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.optics.gradient import Target, cross_gradient
from rimwise.optics.media import Gradient, Medium
from rimwise.optics.rays import Int8Array, Int16Array, Rays, Record, Status, Traced
from rimwise.optics.shapes import Bundle, Normal, bend, evaluate, meet
from rimwise.optics.system import CX, INDEX, MATRIX, MU, SEMI2, SHIFT, System, Table, compile_table
from rimwise.terms.arrays import AnyArray, BoolArray, FloatArray

# So many rays fit into the first caches with all their intermediate arrays.
CHUNK = 2048
# Below so many crossings NumPy is done before the compiled kernel is loaded (0.4 s).
COMPILED_FROM = 1_000_000
# Below so many rays the parallel loop's fixed cost is larger than what it saves.
PARALLEL_FROM = 100_000

Engine = Literal["auto", "numpy", "compiled"]


def trace(
    system: System,
    rays: Rays,
    record: bool = False,
    engine: Engine = "auto",
    out: Traced | None = None,
) -> Traced:
    """Where do these rays end, in which direction, and after which optical path?

    Parameters
    ----------
    system : System
        Surfaces in the order in which light meets them.
    rays : Rays
        In the system's frame; rays that failed before stay failed.
    record : bool
        Keep every step's points, directions, path lengths and cosines too.
    engine : "auto", "numpy" or "compiled"
        Both give the same numbers to round-off. "auto" loads the compiled kernel only where
        that pays; ask for "compiled" where many small bundles follow each other. Gradients are
        always traced in NumPy, and so is everything where the compiler cannot be had.
    out : Traced, optional
        Result of an earlier trace of as many rays; the compiled kernel writes over its arrays.

    Returns
    -------
    Traced
        Positions on the last surface and directions behind it, in the system's frame, NaN for
        rays whose ``status`` is not OK; ``at_surface`` counts steps from 0. A ray never raises.

    Examples
    --------
    >>> from rimwise.optics.rays import rays as bundle
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import reflect
    >>> mirror = System((reflect(sphere(-20.0)),))
    >>> back = trace(mirror, bundle([[0.5, 0.0, -5.0]], [0.0, 0.0, 1.0]))
    >>> back.status.tolist(), round(float(back.directions[0, 0]), 6)
    ([0], -0.049984)
    """
    large = len(rays) * len(system.steps) >= COMPILED_FROM
    if engine == "numpy" or (engine == "auto" and not large) or not system.uniform:
        return trace_numpy(system, rays, record)
    try:
        from rimwise.optics import compiled  # noqa: PLC0415 - half a second, only where it pays
    except (ImportError, RuntimeError):  # not installed, or nowhere to keep what it compiles
        return trace_numpy(system, rays, record)
    fits = out is not None and len(out) == len(rays) and (out.record is not None) == record
    target = out if out is not None and fits else _empty(len(rays), len(system.steps), record)
    table = compile_table(system)
    source, goal = _columns(rays), _columns(target)
    if target.record is not None:
        kept = target.record
        compiled.run_record(
            table, source, goal, (kept.points_mm, kept.directions, kept.opl_mm, kept.cosines)
        )
    elif len(rays) >= PARALLEL_FROM:
        compiled.run_parallel(table, source, goal, compiled.SHARE)
    else:
        compiled.run(table, source, goal, 0, len(rays))
    return target


def _columns(rays: Rays) -> tuple[AnyArray, ...]:
    """Return a bundle's arrays in the order in which the compiled kernel knows them."""
    return rays.positions_mm, rays.directions, rays.opl_mm, rays.status, rays.at_surface


def _empty(n: int, steps: int, record: bool) -> Traced:
    """Return a result with room for so many rays."""
    kept = None
    if record:
        shape = (steps, n)
        kept = Record(
            np.empty((*shape, 3)), np.empty((*shape, 3)), np.empty(shape), np.empty(shape)
        )
    return Traced(
        np.empty((n, 3)),
        np.empty((n, 3)),
        np.empty(n),
        np.empty(n, dtype=np.int8),
        np.empty(n, dtype=np.int16),
        kept,
    )


def trace_numpy(
    system: System, rays: Rays, record: bool = False, indices: FloatArray | None = None
) -> Traced:
    """Trace in plain NumPy, whatever the size of the bundle; see :func:`trace`.

    ``indices`` (media, n) gives each ray its own index in each medium: many colours at once.

    Examples
    --------
    >>> from rimwise.optics.rays import rays as bundle
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import refract
    >>> lens = System((refract(sphere(20.0), 1.5),))
    >>> two = bundle([[1.0, 0.0, -5.0], [1.0, 0.0, -5.0]], [0.0, 0.0, 1.0])
    >>> indices = np.array([[1.0, 1.0], [1.5, 1.6]])
    >>> trace_numpy(lens, two, indices=indices).directions[:, 0].round(4).tolist()
    [-0.0167, -0.0188]
    """
    parts = []
    with np.errstate(all="ignore"):
        for start in range(0, max(len(rays), 1), CHUNK):
            part = _Walk.of(rays, slice(start, start + CHUNK), indices)
            parts.append(part.run(system, compile_table(system), record))
    if len(parts) == 1:
        return parts[0]
    records = [part.record for part in parts if part.record is not None]
    joined = None
    if records:
        joined = Record(
            np.concatenate([r.points_mm for r in records], axis=1),
            np.concatenate([r.directions for r in records], axis=1),
            np.concatenate([r.opl_mm for r in records], axis=1),
            np.concatenate([r.cosines for r in records], axis=1),
        )
    return Traced(
        np.concatenate([part.positions_mm for part in parts]),
        np.concatenate([part.directions for part in parts]),
        np.concatenate([part.opl_mm for part in parts]),
        np.concatenate([part.status for part in parts]),
        np.concatenate([part.at_surface for part in parts]),
        joined,
    )


@dataclass(slots=True)
class _Walk:
    """A part of the rays on its way through the system, in the frame of the last surface met."""

    bundle: Bundle
    opl: FloatArray
    status: Int8Array
    at_surface: Int16Array
    indices: FloatArray | None

    @classmethod
    def of(cls, rays: Rays, part: slice, indices: FloatArray | None) -> "_Walk":
        x, y, z = rays.positions_mm[part].T
        dx, dy, dz = rays.directions[part].T
        return cls(
            Bundle(x, y, z, dx, dy, dz),
            rays.opl_mm[part].copy(),
            rays.status[part].copy(),
            rays.at_surface[part].copy(),
            None if indices is None else indices[:, part],
        )

    def run(self, system: System, table: Table, record: bool) -> Traced:
        steps = []
        cosine = np.ones_like(self.opl)
        for i in range(len(table.codes)):
            normal = self.reach(system.media[i], table, i)
            cosine, under = bend(
                int(table.codes[i, 1]), self.mu(system, table, i), normal, self.bundle
            )
            self.fail(i, Status.TOTAL_REFLECTION, ~(under >= 0.0))
            if record or i == len(table.codes) - 1:
                steps.append((*self.outside(table, i), self.masked(self.opl), self.masked(cosine)))
        points, ways, opl, _ = steps[-1]
        kept = Record(*(np.stack(column) for column in zip(*steps, strict=True)))
        return Traced(points, ways, opl, self.status, self.at_surface, kept if record else None)

    def reach(self, medium: Medium, table: Table, i: int) -> Normal:
        """Move on to surface i; return its unnormalised normals."""
        row, kind, b = table.rows[i], int(table.codes[i, 0]), self.bundle
        if isinstance(medium, Gradient):
            normal = self.curve(medium, table, i)
        else:
            b.enter(row[MATRIX:SHIFT], row[SHIFT:CX])
            distance, normal, residual = meet(kind, row, b)
            self.opl += (row[INDEX] if self.indices is None else self.indices[i]) * distance
            self.fail(i, Status.MISSED, ~((normal[2] > 0.0) & (normal[2] < np.inf)))
            self.fail(i, Status.NO_CONVERGENCE, ~(residual <= 0.0))
        self.fail(i, Status.CLIPPED, ~(b.x * b.x + b.y * b.y <= row[SEMI2]))
        return normal

    def curve(self, medium: Gradient, table: Table, i: int) -> Normal:
        """Move on to surface i through a gradient."""
        pose, kind, row = table.poses[i], int(table.codes[i, 0]), table.rows[i]
        target = Target(kind, row, pose[:9].reshape(3, 3), pose[9:])
        points, ways = self.outside(table, i - 1)
        met = cross_gradient(medium, target, points, ways)
        self.opl += met.opl_mm
        for status in (Status.MISSED, Status.LEFT_MEDIUM, Status.NO_CONVERGENCE):
            self.fail(i, status, met.status == status)
        x, y, z = target.local(met.points_mm).T
        dx, dy, dz = (met.directions @ target.rotation).T
        self.bundle = Bundle(x, y, z, dx, dy, dz)
        return evaluate(max(kind, 1), row, x, y, z)[0]

    def mu(self, system: System, table: Table, i: int) -> FloatArray | float:
        """Return index before / index behind surface i where the rays met it."""
        if self.indices is not None:
            return np.asarray(self.indices[i] / self.indices[i + 1])
        before, behind = system.media[i], system.media[i + 1]
        if not isinstance(before, Gradient) and not isinstance(behind, Gradient):
            return float(table.rows[i, MU])
        points, _ = self.outside(table, i)
        return _index_there(before, points) / _index_there(behind, points)

    def fail(self, i: int, status: Status, bad: BoolArray) -> None:
        new = bad & (self.status == Status.OK)
        self.status[new] = status
        self.at_surface[new] = i

    def masked(self, values: FloatArray) -> FloatArray:
        return np.where(self.status == Status.OK, values, np.nan)

    def outside(self, table: Table, i: int) -> tuple[FloatArray, FloatArray]:
        """Return points and directions in the system's frame, NaN for failed rays."""
        b = self.bundle
        points = np.stack([self.masked(b.x), b.y, b.z], axis=1)
        ways = np.stack([self.masked(b.dx), b.dy, b.dz], axis=1)
        points[self.status != Status.OK] = np.nan
        ways[self.status != Status.OK] = np.nan
        if i < 0:
            return points, ways
        rotation = table.poses[i, :9].reshape(3, 3)
        return points @ rotation.T + table.poses[i, 9:], ways @ rotation.T


def _index_there(medium: Medium, points_mm: FloatArray) -> FloatArray | float:
    if isinstance(medium, Gradient):
        return medium.index(medium.pose.inward(points_mm))
    return medium
