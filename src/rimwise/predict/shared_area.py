"""The area that a pupil shares with itself shifted: nodes, weights, differences of the modes.

The area is symmetric in x and in y. Mirrored in x the two pupils change places, so that a mode's
difference turns its sign but for the mode's own parity: only the right half is kept, split into
modes that are the same on the left and modes that turn their sign there.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.optics.zernike import basis, mode_count, order_of
from rimwise.predict.sight import ORDER
from rimwise.terms.arrays import FloatArray

Float32Array = NDArray[np.float32]
IntArray = NDArray[np.int64]
MODES = mode_count(ORDER)
_ODD_M = np.array([order_of(j)[1] % 2 == 1 for j in range(MODES)])
_SINE = np.array([order_of(j)[1] < 0 for j in range(MODES)])
SAME = np.flatnonzero(_ODD_M ^ _SINE)
TURNS_SIGN = np.flatnonzero(~(_ODD_M ^ _SINE))
_IN_Y = np.where(_SINE, -1.0, 1.0).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class SharedArea:
    """The right half of the area shared by two unit discs, one shifted along x.

    Parameters
    ----------
    same, turned : arrays of float32, shape (along * across, modes)
        Differences of the modes ``SAME`` and ``TURNS_SIGN`` between the two discs.
    share : array of float32, shape (along * across,)
        Weights, in shares of a disc; the left half has the same.
    x : array, shape (along,)
        Of each line of ``across`` nodes.
    """

    same: Float32Array
    turned: Float32Array
    share: Float32Array
    x: FloatArray


@lru_cache(maxsize=1024)
def shared_area(shift: float, along: int, across: int) -> SharedArea | None:
    """Which nodes cover the area that two unit discs share, shifted by this along x?

    Parameters
    ----------
    shift : float
        In radii; None is returned from 2 on, where nothing is shared.
    along, across : int
        Gauss's nodes over half of the area, and across it; the latter even.

    Examples
    --------
    >>> half = shared_area(0.0, 8, 12)
    >>> half.same.shape[0], round(2.0 * float(half.share.sum()), 3)
    (96, 1.0)
    """
    if shift >= 2.0:
        return None
    u, wu = _gauss(along)
    v, wv = _gauss(across)
    upper = v > 0.0
    q = 0.5 * (u + 1.0)
    reach = 1.0 - 0.5 * shift
    # The width falls as a square root towards the tip; in q it does so straight.
    t = reach * (1.0 - q * q)
    half = np.sqrt(np.maximum(0.0, 1.0 - (t + 0.5 * shift) ** 2))
    area = (wu * reach * q * half)[:, None] * wv[upper] / math.pi
    in_x = _powers(t + 0.5 * shift) - _powers(t - 0.5 * shift)
    in_y = _powers(half[:, None] * v[upper]).astype(np.float32)
    found = []
    for modes, of_x, of_y, to_modes in _products():
        along_x = in_x[:, None, of_x].astype(np.float32)
        gap = (along_x * in_y[:, :, of_y]).reshape(-1, len(of_x)) @ to_modes
        gap = gap.reshape(along, -1, len(modes))
        both = np.empty((along, 2, gap.shape[1], len(modes)), dtype=np.float32)
        both[:, 0], both[:, 1] = gap, gap * _IN_Y[modes]
        found.append(both.reshape(-1, len(modes)))
    share = np.concatenate([area, area], axis=1).ravel().astype(np.float32)
    return SharedArea(found[0], found[1], share, t)


@lru_cache(maxsize=64)
def _gauss(count: int) -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(count)


def _powers(places: FloatArray) -> FloatArray:
    """Return 1, x, x² ... up to the order along a last axis."""
    return np.vander(places.ravel(), ORDER + 1, increasing=True).reshape(*places.shape, -1)


@lru_cache(maxsize=1)
def _products() -> tuple[tuple[IntArray, IntArray, IntArray, Float32Array], ...]:
    """Return for each parity its modes, powers of x and of y, and what makes modes of products.

    The matrix solves for the modes' polynomials at places of the disc. Single precision leaves
    1e-4 of a mode of eighth order and 1e-7 of defocus, which no contrast shows.
    Differences along x of even powers are odd.
    """
    pairs = np.array([(n - k, k) for n in range(ORDER + 1) for k in range(n + 1)])
    r = np.sqrt((np.arange(12) + 0.5) / 12.0)[:, None]
    turn = 2.0 * math.pi * np.arange(24) / 24.0
    x, y = (r * np.cos(turn)).ravel(), (r * np.sin(turn)).ravel()
    found = []
    for modes, parity in ((SAME, 1), (TURNS_SIGN, 0)):
        a, b = pairs[pairs[:, 0] % 2 == parity].T
        products = x[:, None] ** a * y[:, None] ** b
        solved = np.linalg.lstsq(products, basis(ORDER, x, y)[:, modes], rcond=None)[0]
        found.append((modes, a, b, solved.astype(np.float32)))
    return tuple(found)
