"""The same trace as :mod:`rimwise.optics.shapes`, compiled: blocks of 64 rays, all surfaces.

A block stays in the first cache while it goes through the whole system. Its store is one flat
array with constant offsets, so that the compiler sees that lanes do not overlap and works on
eight of them at once. Numba's cache on disk ignores ``parallel``: the serial and the parallel
loops are therefore functions of their own; it also ignores the files that constants come from:
see ``_forget_stale``. This module costs half a second to import; only
:mod:`rimwise.optics.trace` imports it, when the bundle is large.
"""

import math
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit, prange

from rimwise.optics.shapes import LEAST_NEWTON, MAX_NEWTON, TOLERANCE_MM
from rimwise.optics.system import (
    CX,
    CY,
    INDEX,
    KX,
    KY,
    MATRIX,
    MU,
    SEMI2,
    SHIFT,
    TERMS,
    WIDTH,
    Table,
)  # fmt: skip
from rimwise.terms.arrays import AnyArray, FloatArray

LANES = 64
SHARE = 64 * LANES  # rays that one turn of the parallel loop takes
X, Y, Z, DX, DY, DZ, OPL, STATUS, AT, NX, NY, NZ, LEFT, COS = (i * LANES for i in range(14))
STORE = 14 * LANES
MISSED, CLIPPED, TOTAL_REFLECTION, NO_CONVERGENCE = 1.0, 2.0, 3.0, 4.0

Columns = tuple[AnyArray, ...]

F = TypeVar("F", bound=Callable[..., Any])

# Everything from other files that is frozen into the compiled code (a hash of plain numbers).
_COLUMNS = (MATRIX, SHIFT, CX, CY, KX, KY, INDEX, MU, SEMI2, TERMS, WIDTH)
LAYOUT = hash((*_COLUMNS, LEAST_NEWTON, MAX_NEWTON, TOLERANCE_MM))
_KERNEL: list[Any] = []


def _compile(function: F, parallel: bool = False) -> F:
    options = {"cache": True, "error_model": "numpy", "fastmath": {"contract"}, "nogil": True}
    _KERNEL.append(njit(parallel=parallel, **options)(function))
    return cast(F, _KERNEL[-1])


@_compile
def _layout() -> int:
    """Which constants was this compiled with?"""
    return LAYOUT


def _forget_stale() -> None:
    """Drop compiled code that holds constants of another day.

    Numba's cache looks at this file's date alone; the constants come from other files.
    """
    if _layout() == LAYOUT:
        return
    for function in _KERNEL:
        function._cache.flush()
    _KERNEL[0].recompile()


@_compile
def _enter(b: FloatArray, row: FloatArray) -> None:
    """Go over to the surface's frame and on to the closest approach to its vertex."""
    m0, m1, m2 = row[MATRIX], row[MATRIX + 1], row[MATRIX + 2]
    m3, m4, m5 = row[MATRIX + 3], row[MATRIX + 4], row[MATRIX + 5]
    m6, m7, m8 = row[MATRIX + 6], row[MATRIX + 7], row[MATRIX + 8]
    s0, s1, s2, index = row[SHIFT], row[SHIFT + 1], row[SHIFT + 2], row[INDEX]
    for i in range(LANES):
        u, v, w = b[X + i], b[Y + i], b[Z + i]
        x = m0 * u + m1 * v + m2 * w + s0
        y = m3 * u + m4 * v + m5 * w + s1
        z = m6 * u + m7 * v + m8 * w + s2
        u, v, w = b[DX + i], b[DY + i], b[DZ + i]
        dx = m0 * u + m1 * v + m2 * w
        dy = m3 * u + m4 * v + m5 * w
        dz = m6 * u + m7 * v + m8 * w
        t = -(x * dx + y * dy + z * dz)
        b[X + i], b[Y + i], b[Z + i] = x + t * dx, y + t * dy, z + t * dz
        b[DX + i], b[DY + i], b[DZ + i] = dx, dy, dz
        b[OPL + i] += index * t


@_compile
def _conic_step(c: float, k: float, r2: float, z: float, dz: float) -> float:
    """Return the way from the closest approach to a conic; NaN where it is missed."""
    h = dz * (1.0 - c * k * z)
    cc = c * (r2 + (1.0 + k) * z * z) - 2.0 * z
    root = math.sqrt(h * h - c * (1.0 + k * dz * dz) * cc)
    return cc / (h + (root if dz >= 0.0 else -root))


@_compile
def _meet_conic(b: FloatArray, row: FloatArray) -> None:
    """Move on to a conic in closed form; on it the normal's q needs no root."""
    c, k, index = row[CX], row[KX], row[INDEX]
    for i in range(LANES):
        x, y, z, dz = b[X + i], b[Y + i], b[Z + i], b[DZ + i]
        t = _conic_step(c, k, x * x + y * y, z, dz)
        x, y, z = x + t * b[DX + i], y + t * b[DY + i], z + t * dz
        b[X + i], b[Y + i], b[Z + i] = x, y, z
        b[NX + i], b[NY + i], b[NZ + i] = -c * x, -c * y, 1.0 - c * (1.0 + k) * z
        b[OPL + i] += index * t
        b[COS + i] = 0.0


@_compile
def _start(b: FloatArray, row: FloatArray) -> None:
    """Move on to the base conic, or stay at the closest approach where it is missed."""
    c, k, index = 0.5 * (row[CX] + row[CY]), 0.5 * (row[KX] + row[KY]), row[INDEX]
    for i in range(LANES):
        x, y, z, dz = b[X + i], b[Y + i], b[Z + i], b[DZ + i]
        t = _conic_step(c, k, x * x + y * y, z, dz)
        t = t if t == t else 0.0  # noqa: PLR0124 - only NaN differs from itself
        b[X + i], b[Y + i], b[Z + i] = x + t * b[DX + i], y + t * b[DY + i], z + t * dz
        b[OPL + i] += index * t


@_compile
def _polynomial(row: FloatArray, r2: float) -> tuple[float, float]:
    """Return a4 + a6 r² + ... and 2 a4 + 3 a6 r² + ..., all eight terms."""
    value, slope = row[TERMS + 7], 9.0 * row[TERMS + 7]
    value, slope = value * r2 + row[TERMS + 6], slope * r2 + 8.0 * row[TERMS + 6]
    value, slope = value * r2 + row[TERMS + 5], slope * r2 + 7.0 * row[TERMS + 5]
    value, slope = value * r2 + row[TERMS + 4], slope * r2 + 6.0 * row[TERMS + 4]
    value, slope = value * r2 + row[TERMS + 3], slope * r2 + 5.0 * row[TERMS + 3]
    value, slope = value * r2 + row[TERMS + 2], slope * r2 + 4.0 * row[TERMS + 2]
    value, slope = value * r2 + row[TERMS + 1], slope * r2 + 3.0 * row[TERMS + 1]
    return value * r2 + row[TERMS], slope * r2 + 2.0 * row[TERMS]


@_compile
def _asphere_parts(
    c: float, bent: float, r2: float, z: float, value: float, slope: float
) -> tuple[float, float, float]:
    """Return q, the normal's bend c + 2 q P', and the residual times 1 + q."""
    q = math.sqrt(1.0 - bent * r2)
    return q, c + 2.0 * q * (slope * r2), (z - value * r2 * r2) * (1.0 + q) - c * r2


@_compile
def _newton_short(b: FloatArray, row: FloatArray) -> None:
    """Take one Newton step on an even asphere of up to three terms."""
    c, bent, index = row[CX], (1.0 + row[KX]) * row[CX] * row[CX], row[INDEX]
    a, a2, a3 = row[TERMS], row[TERMS + 1], row[TERMS + 2]
    for i in range(LANES):
        x, y, z, dx, dy = b[X + i], b[Y + i], b[Z + i], b[DX + i], b[DY + i]
        r2, dz = x * x + y * y, b[DZ + i]
        value, slope = a + r2 * (a2 + r2 * a3), 2.0 * a + r2 * (3.0 * a2 + r2 * (4.0 * a3))
        q, bend, left = _asphere_parts(c, bent, r2, z, value, slope)
        t = -left * q / ((1.0 + q) * (q * dz - (x * dx + y * dy) * bend))
        b[X + i], b[Y + i], b[Z + i] = x + t * dx, y + t * dy, z + t * dz
        b[OPL + i] += index * t


@_compile
def _normal_short(b: FloatArray, row: FloatArray) -> None:
    """Give normals and residuals of an even asphere of up to three terms."""
    c, bent = row[CX], (1.0 + row[KX]) * row[CX] * row[CX]
    a, a2, a3 = row[TERMS], row[TERMS + 1], row[TERMS + 2]
    for i in range(LANES):
        x, y = b[X + i], b[Y + i]
        r2 = x * x + y * y
        value, slope = a + r2 * (a2 + r2 * a3), 2.0 * a + r2 * (3.0 * a2 + r2 * (4.0 * a3))
        q, bend, left = _asphere_parts(c, bent, r2, b[Z + i], value, slope)
        b[NX + i], b[NY + i], b[NZ + i] = -x * bend, -y * bend, q
        b[LEFT + i] = left / (1.0 + q)


@_compile
def _normal_long(b: FloatArray, row: FloatArray) -> None:
    """Give normals and residuals of an even asphere of up to eight terms."""
    c, bent = row[CX], (1.0 + row[KX]) * row[CX] * row[CX]
    for i in range(LANES):
        x, y = b[X + i], b[Y + i]
        r2 = x * x + y * y
        value, slope = _polynomial(row, r2)
        q, bend, left = _asphere_parts(c, bent, r2, b[Z + i], value, slope)
        b[NX + i], b[NY + i], b[NZ + i] = -x * bend, -y * bend, q
        b[LEFT + i] = left / (1.0 + q)


@_compile
def _normal_biconic(b: FloatArray, row: FloatArray) -> None:
    """Give normals and residuals of a biconic; see shapes._biconic."""
    cx, cy = row[CX], row[CY]
    bx, by = (1.0 + row[KX]) * cx * cx, (1.0 + row[KY]) * cy * cy
    for i in range(LANES):
        x, y = b[X + i], b[Y + i]
        q = math.sqrt(1.0 - bx * x * x - by * y * y)
        top, scale = cx * x * x + cy * y * y, 1.0 / (1.0 + q)
        b[NX + i] = -x * (2.0 * cx * q * (1.0 + q) + top * bx) * scale * scale
        b[NY + i] = -y * (2.0 * cy * q * (1.0 + q) + top * by) * scale * scale
        b[NZ + i] = q
        b[LEFT + i] = b[Z + i] - top * scale


@_compile
def _normal_toric(b: FloatArray, row: FloatArray) -> None:
    """Give normals and residuals of a torus; see shapes._toric."""
    cx, cy = row[CX], row[CY]
    bent = (1.0 + row[KY]) * cy * cy
    for i in range(LANES):
        x, y = b[X + i], b[Y + i]
        qy = math.sqrt(1.0 - bent * y * y)
        profile = cy * y * y / (1.0 + qy)
        u = 1.0 - cx * profile
        q = math.sqrt(u * u - cx * cx * x * x)
        sag = (cx * x * x + profile * (2.0 - cx * profile)) / (1.0 + q)
        b[NX + i], b[NY + i], b[NZ + i] = -cx * x * qy, -cy * y * u, q * qy
        b[LEFT + i] = b[Z + i] - sag


@_compile
def _newton(b: FloatArray, row: FloatArray) -> None:
    """Take one Newton step with the normals and residuals at hand."""
    index = row[INDEX]
    for i in range(LANES):
        dx, dy, dz = b[DX + i], b[DY + i], b[DZ + i]
        nx, ny, nz = b[NX + i], b[NY + i], b[NZ + i]
        t = -b[LEFT + i] * nz / (nx * dx + ny * dy + nz * dz)
        b[X + i], b[Y + i], b[Z + i] = b[X + i] + t * dx, b[Y + i] + t * dy, b[Z + i] + t * dz
        b[OPL + i] += index * t


@_compile
def _settle(b: FloatArray) -> int:
    """Note what is left of the residuals beyond round-off; how many lanes have any?"""
    count = 0
    for i in range(LANES):
        size = 1.0 + abs(b[X + i]) + abs(b[Y + i]) + abs(b[Z + i])
        flat = b[NZ + i] if b[NZ + i] < 1.0 else 1.0
        over = abs(b[LEFT + i]) * flat - TOLERANCE_MM * size
        b[COS + i] = over if over > 0.0 else 0.0
        count += 1 if over > 0.0 else 0
    return count


@_compile
def _normal(kind: int, b: FloatArray, row: FloatArray) -> None:
    if kind == 1:
        if row[TERMS + 3] == 0.0 and row[TERMS + 4] == 0.0 and row[TERMS + 5] == 0.0:
            _normal_short(b, row)
        else:
            _normal_long(b, row)
    elif kind == 2:
        _normal_biconic(b, row)
    else:
        _normal_toric(b, row)


@_compile
def _meet(kind: int, b: FloatArray, row: FloatArray) -> None:
    """Move the block on to the surface; leave normals and what is left of the residuals."""
    _enter(b, row)
    if kind == 0:
        _meet_conic(b, row)
        return
    _start(b, row)
    short = kind == 1 and not row[TERMS + 3 : WIDTH].any()
    for _ in range(LEAST_NEWTON):
        if short:
            _newton_short(b, row)
        else:
            _normal(kind, b, row)
            _newton(b, row)
    _normal(kind, b, row)
    for _ in range(MAX_NEWTON - LEAST_NEWTON):
        if _settle(b) == 0:
            return
        _newton(b, row)
        _normal(kind, b, row)
    _settle(b)


@_compile
def _bend(action: int, step: int, b: FloatArray, row: FloatArray) -> None:
    """Clip, then refract, reflect or pass; note the first failure of each lane."""
    # The new direction is mu d + (by_root root + by_ci ci) N / nn: see shapes.bend.
    mu, root_mu, by_root, by_ci = 1.0, 0.0, 0.0, -2.0 if action == 1 else 0.0
    if action == 0:
        mu, root_mu, by_root, by_ci = row[MU], row[MU], 1.0, -row[MU]
    semi2, at = row[SEMI2], float(step)
    for i in range(LANES):
        x, y, dx, dy, dz = b[X + i], b[Y + i], b[DX + i], b[DY + i], b[DZ + i]
        nx, ny, nz = b[NX + i], b[NY + i], b[NZ + i]
        nn = nx * nx + ny * ny + nz * nz
        ci = nx * dx + ny * dy + nz * dz
        under = nn - root_mu * root_mu * (nn - ci * ci)
        root = math.sqrt(under)
        gamma = (by_root * (root if ci >= 0.0 else -root) + by_ci * ci) / nn
        b[DX + i] = mu * dx + gamma * nx
        b[DY + i] = mu * dy + gamma * ny
        b[DZ + i] = mu * dz + gamma * nz
        fate = 0.0 if under >= 0.0 else TOTAL_REFLECTION
        fate = fate if x * x + y * y <= semi2 else CLIPPED
        fate = fate if b[COS + i] <= 0.0 else NO_CONVERGENCE
        fate = fate if nz < math.inf else MISSED
        fate = fate if nz > 0.0 else MISSED
        fresh = fate if b[STATUS + i] == 0.0 else 0.0
        b[STATUS + i] += fresh
        b[AT + i] = at if fresh > 0.0 else b[AT + i]
        b[COS + i], b[LEFT + i] = ci, nn


@_compile
def _load(b: FloatArray, source: Columns, start: int, count: int) -> None:
    """Fill a block; lanes beyond the last ray repeat it."""
    positions, ways, opl, status, at = source
    for i in range(LANES):
        j = start + min(i, count - 1)
        b[X + i], b[Y + i], b[Z + i] = positions[j, 0], positions[j, 1], positions[j, 2]
        b[DX + i], b[DY + i], b[DZ + i] = ways[j, 0], ways[j, 1], ways[j, 2]
        b[OPL + i], b[STATUS + i], b[AT + i] = opl[j], float(status[j]), float(at[j])


@_compile
def _outside(b: FloatArray, pose: FloatArray, out: Columns, start: int, count: int) -> None:
    """Write a block's points, directions and paths in the system's frame."""
    positions, ways, opl = out[0], out[1], out[2]
    for i in range(count):
        lost = math.nan if b[STATUS + i] != 0.0 else 0.0
        x, y, z = b[X + i] + lost, b[Y + i], b[Z + i]
        dx, dy, dz = b[DX + i] + lost, b[DY + i], b[DZ + i]
        j = start + i
        for axis in range(3):
            a, c, e = pose[3 * axis], pose[3 * axis + 1], pose[3 * axis + 2]
            positions[j, axis] = a * x + c * y + e * z + pose[9 + axis] + lost
            ways[j, axis] = a * dx + c * dy + e * dz + lost
        opl[j] = b[OPL + i] + lost


@_compile
def _fates(b: FloatArray, out: Columns, start: int, count: int) -> None:
    """Write a block's status codes and the steps they belong to."""
    for i in range(count):
        out[3][start + i] = int(b[STATUS + i])
        out[4][start + i] = int(b[AT + i])


@_compile
def run(table: Table, source: Columns, out: Columns, first: int, last: int) -> None:
    """Carry the rays first to last through the system, block by block."""
    b = np.empty(STORE)
    steps = table.codes.shape[0]
    for start in range(first, last, LANES):
        count = min(LANES, last - start)
        _load(b, source, start, count)
        for s in range(steps):
            _meet(table.codes[s, 0], b, table.rows[s])
            _bend(table.codes[s, 1], s, b, table.rows[s])
        _outside(b, table.poses[steps - 1], out, start, count)
        _fates(b, out, start, count)


@_compile
def run_record(table: Table, source: Columns, out: Columns, kept: Columns) -> None:
    """Do the same for all rays and keep what happened at every step."""
    b = np.empty(STORE)
    n, steps = source[0].shape[0], table.codes.shape[0]
    for start in range(0, n, LANES):
        count = min(LANES, n - start)
        _load(b, source, start, count)
        for s in range(steps):
            _meet(table.codes[s, 0], b, table.rows[s])
            _bend(table.codes[s, 1], s, b, table.rows[s])
            _outside(b, table.poses[s], (kept[0][s], kept[1][s], kept[2][s]), start, count)
            for i in range(count):
                lost = math.nan if b[STATUS + i] != 0.0 else 0.0
                kept[3][s, start + i] = abs(b[COS + i]) / math.sqrt(b[LEFT + i]) + lost
        _outside(b, table.poses[steps - 1], out, start, count)
        _fates(b, out, start, count)


@partial(_compile, parallel=True)
def run_parallel(table: Table, source: Columns, out: Columns, share: int) -> None:
    """Do what ``run`` does for all rays, in shares for several threads."""
    n = source[0].shape[0]
    for part in prange((n + share - 1) // share):
        run(table, source, out, part * share, min(n, (part + 1) * share))


_forget_stale()
