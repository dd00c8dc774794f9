"""The exact path of a reflex through any eye, gradients included, by the general ray trace.

Slower than the kernel and with the same columns; it serves eyes that the kernel does not know and
checks it on those that both know.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.optics.fresnel import shares
from rimwise.optics.media import Gradient, Medium
from rimwise.optics.rays import Record, rays
from rimwise.optics.system import System
from rimwise.optics.trace import trace
from rimwise.purkinje.kernel import (
    CXX,
    CYX,
    GX,
    INX,
    JXX,
    LIGHT,
    LXX,
    LYX,
    MAX_TURNS,
    MISSED,
    NEAR,
    PROBE,
    SHIFT,
    STATUS,
    STUCK,
    TURNS,
    U,
)  # fmt: skip
from rimwise.terms.arrays import FloatArray

GRADIENT_NEAR = 1e-11


@dataclass(frozen=True, slots=True)
class Path:
    """A path in, back and out of an eye: its system, mirroring step, and pupil.

    Parameters
    ----------
    system : System
        In the eye's frame.
    mirror : int
        Step that mirrors.
    corneal : int
        Corneal surfaces before the lens.
    stop_z_mm : float
        Plane of the pupil.
    behind_mirror : float or Gradient
        The medium that the mirroring surface bounds.
    """

    system: System
    mirror: int
    corneal: int
    stop_z_mm: float
    behind_mirror: Medium = 1.0

    def misses(
        self, cameras: FloatArray, axes: FloatArray, lamps: FloatArray, slopes: FloatArray
    ) -> tuple[FloatArray, Record]:
        """By which slopes do rays from these cameras, (n, 3), miss their lamps? NaN where lost."""
        ways = np.column_stack([slopes, -np.ones(len(slopes))]) @ axes
        # A step that went astray (NaN) is sent along the axis and marked as missed afterwards.
        lost = ~np.isfinite(ways).all(axis=1)
        ways[lost] = -axes[2]
        out = trace(self.system, rays(cameras, ways), record=True, engine="numpy")
        ahead = lamps - out.positions_mm
        with np.errstate(invalid="ignore", divide="ignore"):
            gap = out.directions[:, :2] / out.directions[:, 2:] - ahead[:, :2] / ahead[:, 2:]
            gap[lost | ~(out.directions[:, 2] > 0.0) | ~(ahead[:, 2] > 0.0)] = np.nan
        if out.record is None:
            raise ValueError("a trace that was asked to keep its record came without one")
        return gap, out.record

    @property
    def near(self) -> float:
        """Which miss is round-off? A gradient is integrated to about 1e-12."""
        return NEAR if self.system.uniform else GRADIENT_NEAR


def solve_path(path: Path, view: FloatArray, lamps: FloatArray, rows: FloatArray) -> FloatArray:
    """Which slopes lead from the camera by the mirror to each lamp?

    Parameters
    ----------
    path : Path
    view : array, shape (14,)
    lamps : array, shape (n, 3)
        Both in the eye's frame.
    rows : array, shape (n, COLUMNS)
        With a start in U and V; not changed.

    Returns
    -------
    array, shape (n, COLUMNS)
        As the kernel writes them.

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import reflect
    >>> path = Path(System((reflect(sphere(-10.0)),)), 0, 1, -3.0)
    >>> view = np.array([0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, -3.0, 1])
    >>> found = solve_path(path, view, np.array([[10.0, 0.0, 50.0]]), np.zeros((1, 23)))
    >>> round(float(found[0, U]), 6)
    0.016463
    """
    rows = rows.copy()
    slopes = rows[:, U : U + 2]
    gap, by = _miss_and_slopes(path, view, lamps, slopes)
    share = np.ones(len(rows))
    step = _solve(by, -gap)
    for _ in range(MAX_TURNS):
        going = (np.hypot(*gap.T) > path.near) & (share > 1e-4)
        if not going.any():
            break
        trial = slopes[going] + share[going, None] * step[going]
        new, new_by = _miss_and_slopes(path, view, lamps[going], trial)
        gain = np.hypot(*new.T) < np.hypot(*gap[going].T)
        share[going] = np.where(gain, 1.0, 0.5 * share[going])
        better = np.flatnonzero(going)[gain]
        slopes[better], gap[better], by[better] = trial[gain], new[gain], new_by[gain]
        step[better] = _solve(by[better], -gap[better])
        rows[better, TURNS] += 1.0
    size = np.hypot(*gap.T)
    failed = np.where(size <= 100.0 * path.near, 0.0, STUCK)
    rows[:, STATUS] = np.where(np.isnan(size), MISSED, failed)
    rows[:, GX : GX + 2] = gap
    rows[:, JXX : JXX + 4] = by.reshape(-1, 4)
    return _describe(path, view, lamps, rows)


def _miss_and_slopes(
    path: Path, view: FloatArray, lamps: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the miss (n, 2) and its Jacobians (n, 2, 2), central differences, in one trace."""
    probes = PROBE * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    bundle = (slopes[None] + probes[:, None]).reshape(-1, 2)
    axes = view[3:12].reshape(3, 3)
    gaps, _ = path.misses(view[:3], axes, np.tile(lamps, (5, 1)), bundle)
    here, *around = gaps.reshape(5, len(lamps), 2)
    columns = [(around[k] - around[k + 1]) / (2.0 * PROBE) for k in (0, 2)]
    return here, np.stack(columns, axis=2)


def _describe(path: Path, view: FloatArray, lamps: FloatArray, rows: FloatArray) -> FloatArray:
    """Fill in light, pupil crossings, and how the slopes follow moves of lamp and camera."""
    n, slopes = len(lamps), rows[:, U : U + 2]
    axes, by = view[3:12].reshape(3, 3), rows[:, JXX : JXX + 4].reshape(-1, 2, 2)
    lamp_step = SHIFT * np.abs(lamps).sum(axis=1)[:, None]
    camera_step = np.full((n, 1), SHIFT * np.abs(view[:3]).sum())
    cameras, moved = [np.tile(view[:3], (n, 1))], [lamps]
    for k in range(2):
        for sign in (1.0, -1.0):
            cameras += [cameras[0], cameras[0] + sign * camera_step * axes[k]]
            moved += [lamps + sign * lamp_step * axes[k], lamps]
    gaps, record = path.misses(
        np.concatenate(cameras), axes, np.concatenate(moved), np.tile(slopes, (9, 1))
    )
    parts = gaps.reshape(9, n, 2)
    for k in range(2):
        first = 1 + 4 * k
        for j, (column, lower, step) in enumerate(((LXX, LYX, lamp_step), (CXX, CYX, camera_step))):
            change = (parts[first + j] - parts[first + 2 + j]) / (2.0 * step)
            rows[:, column + k], rows[:, lower + k] = _solve(by, -change).T
    points, cosines = record.points_mm[:, :n], record.cosines[:, :n]
    rows[:, LIGHT] = _light(path, points, cosines)
    rows[:, INX : INX + 4] = _at_stop(path, points)
    return rows


def _solve(by: FloatArray, right: FloatArray) -> FloatArray:
    det = by[:, 0, 0] * by[:, 1, 1] - by[:, 0, 1] * by[:, 1, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (right[:, 0] * by[:, 1, 1] - by[:, 0, 1] * right[:, 1]) / det
        y = (by[:, 0, 0] * right[:, 1] - by[:, 1, 0] * right[:, 0]) / det
    return np.stack([x, y], axis=1)


def _index(medium: Medium, points_mm: FloatArray) -> FloatArray | float:
    if isinstance(medium, Gradient):
        return medium.index(medium.pose.inward(points_mm))
    return medium


def _light(path: Path, points_mm: FloatArray, cosines: FloatArray) -> FloatArray:
    """Follow both polarisations through all crossings; see ``kernel.light``."""
    media = path.system.media
    across: FloatArray | float = 1.0
    along: FloatArray | float = 1.0
    for i, points in enumerate(points_mm):
        before = _index(media[i], points)
        behind = _index(media[i + 1], points)
        if i == path.mirror:
            behind = _index(path.behind_mirror, points)
        share = shares(cosines[i], before, behind)
        mirrored = i == path.mirror
        across = across * (share.reflected_s if mirrored else share.transmitted_s)
        along = along * (share.reflected_p if mirrored else share.transmitted_p)
    return np.asarray(0.5 * (across + along))


def _at_stop(path: Path, points_mm: FloatArray) -> FloatArray:
    found = np.full((points_mm.shape[1], 4), np.nan)
    if path.mirror < path.corneal:
        return found
    for out, first in ((0, path.corneal - 1), (1, 2 * path.mirror - path.corneal)):
        a, b = points_mm[first], points_mm[first + 1]
        share = (path.stop_z_mm - a[:, 2]) / (b[:, 2] - a[:, 2])
        found[:, 2 * out : 2 * out + 2] = a[:, :2] + share[:, None] * (b - a)[:, :2]
    return found
