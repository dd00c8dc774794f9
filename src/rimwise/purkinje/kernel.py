"""The exact path of a reflex, one ray at a time, in plain numbers.

Written so that the same functions run as they stand (lists of floats) and compiled
(:mod:`rimwise.purkinje.compiled`, arrays). The ray is sent backwards, from the camera's entrance
pupil into the eye, to the mirroring surface, out again, and must then point at the lamp: two
unknown slopes, two equations, Newton's method. Formulas of meeting and bending as in
:mod:`rimwise.optics.shapes`, which the tests hold this against. All of it stands in one file
because the compiler's cache on disk watches only the file of the function that was asked for.

Flat tables
-----------
surfaces : ``WIDTH`` numbers each: kind (0 conic, 2 biconic), curvatures and conics of the two
    meridians, index before and behind, rotation (9, rows), vertex (3).
view : 14 numbers: the camera's entrance pupil, its right, its up, the way from the eye to it (3
    each), height of the pupil's plane, number of corneal surfaces.
ray : position, direction, then for every crossing the cosine of incidence and the point.
found : see the column numbers below.
"""

import math
from collections.abc import MutableSequence
from typing import Any

# Lists of floats in plain Python, arrays when compiled.
Numbers = Any
Store = MutableSequence[float] | Any

WIDTH = 19
RAY = 6 + 4 * 24
U, V, GX, GY, JXX, JXY, JYX, JYY, STATUS, TURNS = range(10)
LIGHT, LXX, LXY, LYX, LYY, CXX, CXY, CYX, CYY = range(10, 19)
INX, INY, OUTX, OUTY = range(19, 23)
COLUMNS = 23

MISSED, TOTAL, STUCK = 1, 3, 4
MAX_TURNS = 40
# An angle between the ray that left the eye and the lamp of 1e-13 is 2e-11 mm at 200 mm.
NEAR = 1e-13
PROBE = 1e-6
# Of the distance of what is moved.
SHIFT = 1e-6
LEAST_SLOPE = 1e-9


def biconic_normal(
    surface: Numbers, x: float, y: float, z: float
) -> tuple[float, float, float, float]:
    """Give the unnormalised normal of a biconic and the residual z - sag; z part 0 if missed.

    Examples
    --------
    >>> biconic_normal((2, -0.1, -0.1, 0.0, 0.0), 0.0, 0.0, 0.5)
    (0.0, 0.0, 1.0, 0.5)
    """
    cx, cy, kx, ky = surface[1], surface[2], surface[3], surface[4]
    bx, by = (1.0 + kx) * cx * cx, (1.0 + ky) * cy * cy
    under = 1.0 - bx * x * x - by * y * y
    if not under > 0.0:
        return 0.0, 0.0, 0.0, 0.0
    q = math.sqrt(under)
    top = cx * x * x + cy * y * y
    scale = 1.0 / ((1.0 + q) * (1.0 + q))
    nx = -x * (2.0 * cx * q * (1.0 + q) + top * bx) * scale
    ny = -y * (2.0 * cy * q * (1.0 + q) + top * by) * scale
    return nx, ny, q, z - top / (1.0 + q)


def meet(
    surface: Numbers, point: Numbers, way: Numbers
) -> tuple[float, float, float, float, float, float]:
    """Where does a ray of the surface's own frame meet it, and with which unnormalised normal?

    The z part of the normal is 0 where the surface is missed.

    Examples
    --------
    >>> meet((0.0, -0.1, -0.1, 0.0, 0.0), (0.0, 0.0, 50.0), (0.0, 0.0, -1.0))[2:]
    (0.0, 0.0, 0.0, 1.0)
    """
    x, y, z = point
    dx, dy, dz = way
    t = -(x * dx + y * dy + z * dz)
    x, y, z = x + t * dx, y + t * dy, z + t * dz
    curve, k = 0.5 * (surface[1] + surface[2]), 0.5 * (surface[3] + surface[4])
    half = dz * (1.0 - curve * k * z)
    cc = curve * (x * x + y * y + (1.0 + k) * z * z) - 2.0 * z
    under = half * half - curve * (1.0 + k * dz * dz) * cc
    if not under > 0.0 or dz == 0.0:
        return x, y, z, 0.0, 0.0, 0.0
    root = math.sqrt(under)
    t = cc / (half + (root if dz >= 0.0 else -root))
    x, y, z = x + t * dx, y + t * dy, z + t * dz
    if surface[0] != 2.0:
        return x, y, z, -curve * x, -curve * y, 1.0 - curve * (1.0 + k) * z
    nx, ny, nz = 0.0, 0.0, 0.0
    for _ in range(8):
        nx, ny, nz, left = biconic_normal(surface, x, y, z)
        slope = nx * dx + ny * dy + nz * dz
        if not nz > 0.0 or slope == 0.0:
            return x, y, z, 0.0, 0.0, 0.0
        t = -left * nz / slope
        x, y, z = x + t * dx, y + t * dy, z + t * dz
        if abs(t) < 1e-15:
            break
    return x, y, z, nx, ny, nz


def cross(ray: Store, surface: Numbers, way: int, slot: int) -> int:
    """Carry the ray on to a surface and across (way 0 inwards, 1 outwards) or back (way 2).

    Returns 0, or why the ray failed.

    Examples
    --------
    >>> mirror = (0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0)
    >>> ray = [0.0, 0.0, 50.0, 0.0, 0.0, -1.0] + [0.0] * 96
    >>> cross(ray, mirror, 2, 0), ray[2], ray[5]
    (0, 0.0, 1.0)
    """
    a, b, c = surface[7], surface[8], surface[9]
    d, e, f = surface[10], surface[11], surface[12]
    g, h, i = surface[13], surface[14], surface[15]
    px, py, pz = ray[0] - surface[16], ray[1] - surface[17], ray[2] - surface[18]
    point = (a * px + d * py + g * pz, b * px + e * py + h * pz, c * px + f * py + i * pz)
    px, py, pz = ray[3], ray[4], ray[5]
    dx, dy, dz = a * px + d * py + g * pz, b * px + e * py + h * pz, c * px + f * py + i * pz
    x, y, z, nx, ny, nz = meet(surface, point, (dx, dy, dz))
    if not nz > 0.0:
        return MISSED
    nn = nx * nx + ny * ny + nz * nz
    ci = nx * dx + ny * dy + nz * dz
    mu, gamma = 1.0, -2.0 * ci / nn
    if way != 2:
        mu = surface[5] / surface[6] if way == 0 else surface[6] / surface[5]
        under = nn - mu * mu * (nn - ci * ci)
        if not under > 0.0:
            return TOTAL
        root = math.sqrt(under)
        gamma = ((root if ci >= 0.0 else -root) - mu * ci) / nn
    dx, dy, dz = mu * dx + gamma * nx, mu * dy + gamma * ny, mu * dz + gamma * nz
    ray[0] = a * x + b * y + c * z + surface[16]
    ray[1] = d * x + e * y + f * z + surface[17]
    ray[2] = g * x + h * y + i * z + surface[18]
    ray[3] = a * dx + b * dy + c * dz
    ray[4] = d * dx + e * dy + f * dz
    ray[5] = g * dx + h * dy + i * dz
    at = 6 + 4 * slot
    ray[at] = abs(ci) / math.sqrt(nn)
    for k in range(3):
        ray[at + 1 + k] = ray[k]
    return 0


def walk(ray: Store, surfaces: Numbers, mirror: int) -> int:
    """Send the ray in to the mirroring surface and out again; 0 or why it failed.

    Examples
    --------
    >>> mirror = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> ray = [0.0, 0.0, 50.0, 0.0, 0.0, -1.0] + [0.0] * 96
    >>> walk(ray, mirror, 0), ray[5]
    (0, 1.0)
    """
    for k in range(mirror):
        bad = cross(ray, surfaces[k * WIDTH : (k + 1) * WIDTH], 0, k)
        if bad != 0:
            return bad
    bad = cross(ray, surfaces[mirror * WIDTH : (mirror + 1) * WIDTH], 2, mirror)
    for k in range(mirror - 1, -1, -1):
        if bad != 0:
            return bad
        bad = cross(ray, surfaces[k * WIDTH : (k + 1) * WIDTH], 1, 2 * mirror - k)
    return bad


def land(
    view: Numbers, point: Numbers, surfaces: Numbers, mirror: int, found: Store, ray: Store
) -> int:
    """By how much, in mm, does the ray pass a point behind the cornea (mirror -1) or in air (-2)?

    Examples
    --------
    >>> found, view = [0.0] * COLUMNS, [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, -3.0, 1]
    >>> land(view, [0.5, 0.0, -3.0], [], -2, found, [0.0, 0, 50.0, 0, 0, -1.0]), found[GX]
    (0, -0.5)
    """
    if mirror == -1:
        for k in range(int(view[13])):
            bad = cross(ray, surfaces[k * WIDTH : (k + 1) * WIDTH], 0, k)
            if bad != 0:
                return bad
    if not ray[5] < -LEAST_SLOPE:
        return MISSED
    t = (point[2] - ray[2]) / ray[5]
    found[GX] = ray[0] + t * ray[3] - point[0]
    found[GY] = ray[1] + t * ray[4] - point[1]
    return 0


def miss(
    view: Numbers, lamp: Numbers, surfaces: Numbers, mirror: int, found: Store, ray: Store
) -> int:
    """By which slopes does the ray leaving the camera with slopes (U, V) miss the lamp?

    With ``mirror`` -1 or -2 the "lamp" is a point of the eye; see :func:`land`.

    Examples
    --------
    >>> surface = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> found, view = [0.0] * COLUMNS, [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1]
    >>> miss(view, [0.0, 0.0, 40.0], surface, 0, found, [0.0] * RAY), found[GX]
    (0, 0.0)
    """
    u, v = found[U], found[V]
    scale = 1.0 / math.sqrt(u * u + v * v + 1.0)
    for k in range(3):
        ray[k] = view[k]
        ray[3 + k] = (u * view[3 + k] + v * view[6 + k] - view[9 + k]) * scale
    if mirror < 0:
        return land(view, lamp, surfaces, mirror, found, ray)
    bad = walk(ray, surfaces, mirror)
    if bad != 0:
        return bad
    ahead = lamp[2] - ray[2]
    if not ray[5] > LEAST_SLOPE or not ahead > LEAST_SLOPE:
        return MISSED
    found[GX] = ray[3] / ray[5] - (lamp[0] - ray[0]) / ahead
    found[GY] = ray[4] / ray[5] - (lamp[1] - ray[1]) / ahead
    return 0


def slope_by_slope(
    view: Numbers, lamp: Numbers, surfaces: Numbers, mirror: int, found: Store, ray: Store
) -> int:
    """How does the miss change with U and V? Central differences into JXX to JYY.

    Examples
    --------
    >>> surface = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> found, view = [0.0] * COLUMNS, [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1]
    >>> slope_by_slope(view, [0.0, 0.0, 50.0], surface, 0, found, [0.0] * RAY), found[JXY]
    (0, 0.0)
    """
    for k in range(2):
        start = found[k]
        found[k] = start + PROBE
        bad = miss(view, lamp, surfaces, mirror, found, ray)
        gx, gy = found[GX], found[GY]
        found[k] = start - PROBE
        bad += miss(view, lamp, surfaces, mirror, found, ray)
        found[k] = start
        if bad != 0:
            return MISSED
        found[JXX + k] = (gx - found[GX]) / (2.0 * PROBE)
        found[JYX + k] = (gy - found[GY]) / (2.0 * PROBE)
    return miss(view, lamp, surfaces, mirror, found, ray)


def solve(
    view: Numbers, lamp: Numbers, surfaces: Numbers, mirror: int, found: Store, ray: Store
) -> int:
    """Find the slopes (U, V) of the ray that reaches the lamp, from those given as a start.

    Steps that miss the eye or make matters worse are halved. STATUS and TURNS are written; 0 is
    returned where the path was found.

    Examples
    --------
    >>> surface = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> found, view = [0.0] * COLUMNS, [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1]
    >>> solve(view, [10.0, 0.0, 50.0], surface, 0, found, [0.0] * RAY), round(found[U], 6)
    (0, 0.016463)
    """
    found[TURNS] = 0.0
    bad = miss(view, lamp, surfaces, mirror, found, ray)
    now = math.hypot(found[GX], found[GY]) if bad == 0 else math.inf
    while bad == 0 and now > NEAR and found[TURNS] < MAX_TURNS:
        found[TURNS] += 1.0
        bad = slope_by_slope(view, lamp, surfaces, mirror, found, ray)
        det = found[JXX] * found[JYY] - found[JXY] * found[JYX]
        if bad != 0 or det == 0.0:
            bad = STUCK
            break
        su = (found[JXY] * found[GY] - found[JYY] * found[GX]) / det
        sv = (found[JYX] * found[GX] - found[JXX] * found[GY]) / det
        u, v, share, new = found[U], found[V], 1.0, math.inf
        while share > 1e-4:
            found[U], found[V] = u + share * su, v + share * sv
            if miss(view, lamp, surfaces, mirror, found, ray) == 0:
                new = math.hypot(found[GX], found[GY])
                if new < now:
                    break
            share *= 0.5
        if not new < now:
            # Round-off is reached, or there is no way on; the size of the miss tells which.
            found[U], found[V] = u, v
            bad = miss(view, lamp, surfaces, mirror, found, ray)
            break
        now = new
    if bad == 0 and not now <= 100.0 * NEAR:
        bad = STUCK
    found[STATUS] = float(bad)
    return bad


def light(surfaces: Numbers, mirror: int, ray: Store) -> float:
    """Which share of unpolarised light comes back along the path that ``ray`` has recorded?

    Fresnel's shares at every crossing, each for both polarisations, followed s and p apart.

    Examples
    --------
    >>> cornea = [0.0, -0.1, -0.1, 0, 0, 1.0, 1.376, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> round(light(cornea, 0, [0.0] * 6 + [1.0] + [0.0] * 95), 6)
    0.025043
    """
    s_share, p_share = 1.0, 1.0
    for slot in range(2 * mirror + 1):
        k = slot if slot <= mirror else 2 * mirror - slot
        n, m = surfaces[k * WIDTH + 5], surfaces[k * WIDTH + 6]
        if slot > mirror:
            n, m = m, n
        ci = ray[6 + 4 * slot]
        under = 1.0 - (n / m) * (n / m) * (1.0 - ci * ci)
        ct = math.sqrt(under) if under > 0.0 else 0.0
        rs, rp = (n * ci - m * ct) / (n * ci + m * ct), (m * ci - n * ct) / (m * ci + n * ct)
        s_share *= rs * rs if slot == mirror else 1.0 - rs * rs
        p_share *= rp * rp if slot == mirror else 1.0 - rp * rp
    return 0.5 * (s_share + p_share)


def describe(
    view: Numbers, lamp: Numbers, surfaces: Numbers, mirror: int, found: Store, ray: Store
) -> int:
    """How does a solved reflex move with its lamp and with the camera, and how bright is it?

    Writes LIGHT; slope per mm of the lamp's move along the camera's right and up (LXX to LYY) and
    of the camera's own (CXX to CYY). ``ray`` is left holding the path. Both moves follow from the
    condition that the ray meets the lamp (implicit function theorem).

    Examples
    --------
    >>> surface = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.3, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> found, view = [0.0] * COLUMNS, [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1]
    >>> describe(view, [0.0, 0.0, 50.0], surface, 0, found, [0.0] * RAY)
    0
    >>> round(-1.0 / found[CXX], 4), round(found[LXX] * 54.5455, 4)  # depth 50 + 50/11, size 1/11
    (54.5455, 0.0909)
    """
    bad = slope_by_slope(view, lamp, surfaces, mirror, found, ray)
    det = found[JXX] * found[JYY] - found[JXY] * found[JYX]
    if bad != 0 or det == 0.0:
        return STUCK
    found[LIGHT] = light(surfaces, mirror, ray)
    for k in range(2):
        for column, moved in ((LXX, lamp), (CXX, view)):
            x, y, z = moved[0], moved[1], moved[2]
            step = SHIFT * (abs(x) + abs(y) + abs(z))
            across = (step * view[3 + 3 * k], step * view[4 + 3 * k], step * view[5 + 3 * k])
            moved[0], moved[1], moved[2] = x + across[0], y + across[1], z + across[2]
            bad = miss(view, lamp, surfaces, mirror, found, ray)
            gx, gy = found[GX], found[GY]
            moved[0], moved[1], moved[2] = x - across[0], y - across[1], z - across[2]
            bad += miss(view, lamp, surfaces, mirror, found, ray)
            moved[0], moved[1], moved[2] = x, y, z
            if bad != 0:
                return STUCK
            gx, gy = (gx - found[GX]) / (2.0 * step), (gy - found[GY]) / (2.0 * step)
            found[column + k] = (found[JXY] * gy - found[JYY] * gx) / det
            found[column + 2 + k] = (found[JYX] * gx - found[JXX] * gy) / det
    return miss(view, lamp, surfaces, mirror, found, ray)


def at_stop(view: Numbers, mirror: int, found: Store, ray: Store) -> None:
    """Where does the recorded path cross the plane of the pupil, on its way in and out?

    Writes INX to OUTY; a reflex of the cornea does not come there and gets NaN.

    Examples
    --------
    >>> found = [0.0] * COLUMNS
    >>> at_stop([0.0] * 12 + [-3.0, 1.0], 0, found, [0.0] * RAY)
    >>> found[INX]
    nan
    """
    corneal = int(view[13])
    for out in range(2):
        found[INX + 2 * out], found[INY + 2 * out] = math.nan, math.nan
        if mirror < corneal:
            continue
        first = 2 * mirror - corneal if out else corneal - 1
        at = 6 + 4 * first
        dz = ray[at + 7] - ray[at + 3]
        share = (view[12] - ray[at + 3]) / dz if dz != 0.0 else 0.0
        found[INX + 2 * out] = ray[at + 1] + share * (ray[at + 5] - ray[at + 1])
        found[INY + 2 * out] = ray[at + 2] + share * (ray[at + 6] - ray[at + 2])


def solve_all(
    view: Numbers, lamps: Numbers, surfaces: Numbers, mirrors: Numbers, found: Any, ray: Store
) -> None:
    """Solve and describe every lamp in every mirror, lamp by lamp; one row of ``found`` each.

    Examples
    --------
    >>> surface = [0.0, -0.1, -0.1, 0.0, 0.0, 1.0, 1.3, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0.0, 0.0, 0.0]
    >>> found = [[0.0] * COLUMNS, [0.0] * COLUMNS]
    >>> view = [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, -3.0, 1]
    >>> solve_all(view, [[9.0, 0.0, 50.0], [-9.0, 0.0, 50.0]], surface, [0], found, [0.0] * RAY)
    >>> found[0][U] == -found[1][U], found[0][STATUS]
    (True, 0.0)
    """
    row = 0
    for j in range(len(lamps)):
        lamp = lamps[j]
        for mirror in mirrors:
            if solve(view, lamp, surfaces, mirror, found[row], ray) == 0:
                bad = describe(view, lamp, surfaces, mirror, found[row], ray)
                found[row][STATUS] = float(bad)
                at_stop(view, mirror, found[row], ray)
            row += 1


def follow(
    views: Numbers, targets: Any, surfaces: Any, mirrors: Numbers, found: Any, moves: Any
) -> None:
    """How do solved paths move when eye, camera or target change a little?

    Path p is solved in the first scene, from the start in its row of ``found``; for every other
    scene i its slopes move by ``moves[p][i]``, from the condition that the ray still meets its
    target (implicit function theorem; good to the first order in the change).

    Parameters
    ----------
    views, surfaces : sequences over the scenes
    targets : sequence over the scenes, of sequences over the paths, of 3 numbers
    mirrors : sequence over the paths
        A part that mirrors, or -1 or -2 for a point behind the cornea or in air.
    found, moves : written
        Rows of the kernel, one more as the ray's store (all as long as it); [path][scene] pairs
        of slopes.

    Examples
    --------
    >>> view = [0, 0, 50.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, -3.0, 1]
    >>> found, moves = [[0.0] * RAY, [0.0] * RAY], [[[0.0, 0.0], [0.0, 0.0]]]
    >>> points = [[[0.5, 0.0, 0.0]], [[0.6, 0.0, 0.0]]]
    >>> follow([view, view], points, [[], []], [-2], found, moves)
    >>> round(found[0][0], 6), round(moves[0][1][0], 6)
    (0.01, 0.002)
    """
    ray = found[len(mirrors)]
    for path in range(len(mirrors)):
        mirror, row = mirrors[path], found[path]
        bad = solve(views[0], targets[0][path], surfaces[0], mirror, row, ray)
        if bad == 0:
            bad = slope_by_slope(views[0], targets[0][path], surfaces[0], mirror, row, ray)
        det = row[JXX] * row[JYY] - row[JXY] * row[JYX]
        row[STATUS] = float(bad)
        if bad != 0 or det == 0.0:
            row[STATUS] = float(STUCK)
            continue
        for i in range(1, len(views)):
            if miss(views[i], targets[i][path], surfaces[i], mirror, row, ray) != 0:
                row[STATUS] = float(STUCK)
                break
            moves[path][i][0] = (row[JXY] * row[GY] - row[JYY] * row[GX]) / det
            moves[path][i][1] = (row[JYX] * row[GX] - row[JXX] * row[GY]) / det
