"""Where does a straight ray meet a surface, and how does it go on? In plain NumPy.

Every formula works in the surface's own frame. A ray is first moved to its point of closest
approach to the vertex, x0 with x0·d = 0; there the quadratic of a conic has the coefficients
A = c (1 + k N²), B = N (1 - c k z0), C = c (r0² + (1 + k) z0²) - 2 z0 and the wanted root is
t = C / (B ± √(B² - A C)), the sign that of N (own derivation from G. H. Spencer and
M. V. R. K. Murty, "General ray-tracing procedure", J. Opt. Soc. Am. 52, 672, 1962, cited from
memory). Newton's equation is multiplied through by q (1 + q), which leaves one division and
one root a step.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.optics.system import CX, CY, KX, KY, TERMS, WIDTH
from rimwise.terms.arrays import FloatArray

MAX_NEWTON = 50
LEAST_NEWTON = 2
# A distance this small (times the size of the coordinates) is round-off.
TOLERANCE_MM = 1.5e-15

Normal = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(slots=True)
class Bundle:
    """Rays in a surface's own frame, one array a component; the working store of a trace."""

    x: FloatArray
    y: FloatArray
    z: FloatArray
    dx: FloatArray
    dy: FloatArray
    dz: FloatArray

    def enter(self, matrix: FloatArray, shift: FloatArray) -> None:
        """Go over to the frame reached by this matrix (9 numbers) and shift (3)."""
        a, b, c, d, e, f, g, h, i = matrix
        x, y, z = self.x, self.y, self.z
        self.x = a * x + b * y + c * z + shift[0]
        self.y = d * x + e * y + f * z + shift[1]
        self.z = g * x + h * y + i * z + shift[2]
        x, y, z = self.dx, self.dy, self.dz
        self.dx = a * x + b * y + c * z
        self.dy = d * x + e * y + f * z
        self.dz = g * x + h * y + i * z

    def advance(self, t: FloatArray) -> None:
        """Move every ray along its direction."""
        self.x = self.x + t * self.dx
        self.y = self.y + t * self.dy
        self.z = self.z + t * self.dz


def to_closest(bundle: Bundle) -> FloatArray:
    """Move the rays to their closest approach to the vertex; return how far they went, mm."""
    t = -(bundle.x * bundle.dx + bundle.y * bundle.dy + bundle.z * bundle.dz)
    bundle.advance(t)
    return t


def conic_distance(bundle: Bundle, c: float, k: float) -> FloatArray:
    """How far from the closest approach is the conic? NaN where it is missed."""
    z, dz = bundle.z, bundle.dz
    b = dz * (1.0 - c * k * z)
    cc = c * (bundle.x * bundle.x + bundle.y * bundle.y + (1.0 + k) * z * z) - 2.0 * z
    root = np.copysign(np.sqrt(b * b - c * (1.0 + k * dz * dz) * cc), dz)
    return np.asarray(cc / (b + root))


def evaluate(
    kind: int, row: FloatArray, x: FloatArray, y: FloatArray, z: FloatArray
) -> tuple[Normal, FloatArray]:
    """What are the unnormalised normal (z part = q or 1) and the residual z - sag?

    Parameters
    ----------
    kind : int
        1 even asphere, 2 biconic, 3 toric.
    row : array
        The surface's row of the compiled table.
    x, y, z : array
        Points near the surface.
    """
    if kind == 1:
        return _even_asphere(row, x, y, z)
    return _biconic(row, x, y, z) if kind == 2 else _toric(row, x, y, z)


def _even_asphere(
    row: FloatArray, x: FloatArray, y: FloatArray, z: FloatArray
) -> tuple[Normal, FloatArray]:
    c, k = row[CX], row[KX]
    r2 = x * x + y * y
    q = np.sqrt(1.0 - (1.0 + k) * c * c * r2)
    value, slope = np.zeros_like(r2), np.zeros_like(r2)
    for power in range(WIDTH - TERMS - 1, -1, -1):
        factor = row[TERMS + power]
        value = value * r2 + factor
        slope = slope * r2 + (power + 2) * factor
    bend = c + 2.0 * q * (slope * r2)
    residual = z - (c * r2 / (1.0 + q) + value * r2 * r2)
    return (-x * bend, -y * bend, q), residual


def _biconic(
    row: FloatArray, x: FloatArray, y: FloatArray, z: FloatArray
) -> tuple[Normal, FloatArray]:
    cx, cy = row[CX], row[CY]
    bx, by = (1.0 + row[KX]) * cx * cx, (1.0 + row[KY]) * cy * cy
    q = np.sqrt(1.0 - bx * x * x - by * y * y)
    top = cx * x * x + cy * y * y
    residual = z - top / (1.0 + q)
    # n is scaled by q (1 + q)² / 2 and then by 2 / (1 + q)², which keeps its z part near 1.
    scale = 1.0 / ((1.0 + q) * (1.0 + q))
    nx = -x * (2.0 * cx * q * (1.0 + q) + top * bx) * scale
    ny = -y * (2.0 * cy * q * (1.0 + q) + top * by) * scale
    return (nx, ny, q), residual


def _toric(
    row: FloatArray, x: FloatArray, y: FloatArray, z: FloatArray
) -> tuple[Normal, FloatArray]:
    cx, cy, ky = row[CX], row[CY], row[KY]
    qy = np.sqrt(1.0 - (1.0 + ky) * cy * cy * y * y)
    profile = cy * y * y / (1.0 + qy)
    u = 1.0 - cx * profile
    q = np.sqrt(u * u - cx * cx * x * x)
    residual = z - (cx * x * x + profile * (2.0 - cx * profile)) / (1.0 + q)
    return (-cx * x * qy, -cy * y * u, q * qy), residual


def meet(kind: int, row: FloatArray, bundle: Bundle) -> tuple[FloatArray, Normal, FloatArray]:
    """Where do the rays meet the surface?

    Moves the bundle onto the surface.

    Returns
    -------
    distance : array
        How far the rays went, mm; NaN where the surface is missed.
    normal : tuple of 3 arrays
        Unnormalised; its z part is positive where the sag's branch is met.
    residual : array
        What is left of the surface's equation beyond round-off (0 where nothing is).
    """
    t = to_closest(bundle)
    if kind == 0:
        c, k = row[CX], row[KX]
        step = conic_distance(bundle, c, k)
        bundle.advance(step)
        q = 1.0 - (1.0 + k) * c * bundle.z
        return t + step, (-c * bundle.x, -c * bundle.y, q), np.zeros_like(t)
    c = 0.5 * (row[CX] + row[CY])
    step = conic_distance(bundle, c, 0.5 * (row[KX] + row[KY]))
    step = np.where(np.isnan(step), 0.0, step)
    bundle.advance(step)
    t = t + step
    for turn in range(MAX_NEWTON + 1):
        normal, residual = evaluate(kind, row, bundle.x, bundle.y, bundle.z)
        size = 1.0 + np.abs(bundle.x) + np.abs(bundle.y) + np.abs(bundle.z)
        left = np.abs(residual) * np.minimum(normal[2], 1.0) - TOLERANCE_MM * size
        if turn == MAX_NEWTON or (turn >= LEAST_NEWTON and not np.any(left > 0.0)):
            break
        nx, ny, nz = normal
        step = -residual * nz / (nx * bundle.dx + ny * bundle.dy + nz * bundle.dz)
        bundle.advance(step)
        t = t + step
    return t, normal, np.where(left > 0.0, left, 0.0)


def bend(
    action: int, mu: FloatArray | float, normal: Normal, bundle: Bundle
) -> tuple[FloatArray, FloatArray]:
    """Refract (0), reflect (1) or pass (2): give the bundle its new directions.

    Returns
    -------
    cosine : array
        |cos| of the angle of incidence.
    under_root : array
        Negative where light is totally reflected.

    Notes
    -----
    With an unnormalised N, nn = N·N and ci = N·d the new direction is μ d + γ N with
    γ = (±√(nn - μ² (nn - ci²)) - μ ci) / nn, the sign that of ci (Snell's law in vector form).
    """
    nx, ny, nz = normal
    nn = nx * nx + ny * ny + nz * nz
    ci = nx * bundle.dx + ny * bundle.dy + nz * bundle.dz
    cosine = np.abs(ci) / np.sqrt(nn)
    if action == 2:
        return cosine, nn
    if action == 1:
        gamma = -2.0 * ci / nn
        under = nn
        mu = 1.0
    else:
        under = nn - mu * mu * (nn - ci * ci)
        gamma = (np.copysign(np.sqrt(under), ci) - mu * ci) / nn
    bundle.dx = mu * bundle.dx + gamma * nx
    bundle.dy = mu * bundle.dy + gamma * ny
    bundle.dz = mu * bundle.dz + gamma * nz
    return cosine, under
