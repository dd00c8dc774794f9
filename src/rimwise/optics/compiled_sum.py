"""The direct sum of :mod:`rimwise.optics.direct_sum`, compiled, with phases in turns.

Sine and cosine are polynomials of the phase in turns, so that eight lanes run without a call.
Sixty-four partial sums stand side by side: the order of addition is fixed, and no unsafe
arithmetic is needed.
"""

import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from numba import njit, prange

from rimwise.terms.arrays import FloatArray

F = TypeVar("F", bound=Callable[..., Any])
LANES = 64
X, Y, Z, TURNS, WEIGHT = (i * LANES for i in range(5))


def _factors(of_square: Callable[[FloatArray], FloatArray], degree: int) -> tuple[float, ...]:
    """Return a polynomial's factors, lowest first, through Chebyshev's places on 0 to 1/16."""
    fit = np.polynomial.Chebyshev.interpolate(of_square, degree, domain=[0.0, 0.0625])
    return tuple(fit.convert(kind=np.polynomial.Polynomial).coef.tolist())


# sin(2πt) / t and cos(2πt) as functions of t². On |t| ≤ 1/4 they are off by less than 3e-11, less
# than the round-off of a phase of some 10⁵ waves (1e-10 of a turn).
S0, S1, S2, S3, S4, S5 = _factors(lambda u: 2.0 * np.pi * np.sinc(2.0 * np.sqrt(u)), 5)
C0, C1, C2, C3, C4, C5, C6 = _factors(lambda u: np.cos(2.0 * np.pi * np.sqrt(u)), 6)
# Adding and taking away 1.5 · 2⁵² rounds to the nearest whole number (|x| < 2⁵¹).
ROUND = 6755399441055744.0

_compile: Callable[[F], F] = njit(
    cache=True, error_model="numpy", fastmath={"contract"}, nogil=True
)
_compile_parallel: Callable[[F], F] = njit(
    cache=True, error_model="numpy", fastmath={"contract"}, nogil=True, parallel=True
)


@_compile
def _add(e: FloatArray, point: FloatArray, per_mm: float, sums: FloatArray) -> None:
    """Add the waves of a block of emitters to the partial sums."""
    px, py, pz = point[0], point[1], point[2]
    for i in range(LANES):
        x, y, z = px - e[X + i], py - e[Y + i], pz - e[Z + i]
        r = math.sqrt(x * x + y * y + z * z)
        turns = e[TURNS + i] + per_mm * r
        turns -= (turns + ROUND) - ROUND
        t = 0.5 * turns
        u = t * t
        s = t * (S0 + u * (S1 + u * (S2 + u * (S3 + u * (S4 + u * S5)))))
        c = C0 + u * (C1 + u * (C2 + u * (C3 + u * (C4 + u * (C5 + u * C6)))))
        # Sine and cosine of half the phase, and from them those of the whole.
        w = e[WEIGHT + i] / r
        ws = w * s
        sums[i] += w - 2.0 * ws * s
        sums[LANES + i] += 2.0 * ws * c


@_compile_parallel
def _sum_all(blocks: FloatArray, image: FloatArray, per_mm: float, field: FloatArray) -> None:
    for k in prange(image.shape[0]):
        sums = np.zeros(2 * LANES)
        for block in range(blocks.shape[0]):
            _add(blocks[block], image[k], per_mm, sums)
        field[k, 0] = sums[:LANES].sum()
        field[k, 1] = sums[LANES:].sum()


def run(table: FloatArray, image_mm: FloatArray, waves_per_mm: float) -> FloatArray:
    """Return real and imaginary parts, (m, 2), of the field at image points.

    ``table`` (5, n): x, y, z in mm, phase in turns, weight of every emitter; ``waves_per_mm`` in
    the medium between.
    """
    n = table.shape[1]
    count = -(-n // LANES)
    # Emitters that only fill the last block stand far off and send nothing.
    full = np.zeros((5, count * LANES))
    full[2] = 1e3
    full[:, :n] = table
    blocks = np.ascontiguousarray(full.reshape(5, count, LANES).transpose(1, 0, 2))
    field = np.empty((len(image_mm), 2))
    image = np.ascontiguousarray(image_mm, dtype=np.float64)
    _sum_all(blocks.reshape(count, 5 * LANES), image, waves_per_mm, field)
    return field
