"""Zernike values against two general-purpose libraries, written by others."""

import numpy as np
import pytest

from rimwise.optics.zernike import basis, mode_count, order_of

prysm = pytest.importorskip("prysm.polynomials")
zernike = pytest.importorskip("zernike")

ORDER = 8


@pytest.fixture(name="polar")
def _polar() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    return np.sqrt(rng.uniform(0.0, 1.0, 400)), rng.uniform(-np.pi, np.pi, 400)


# Values are of the order of 5; round-off of an eighth-order polynomial stays below 1e-12.


def test_values_agree_with_prysm(polar: tuple[np.ndarray, np.ndarray]) -> None:
    r, t = polar
    mine = basis(ORDER, r * np.cos(t), r * np.sin(t))
    for j in range(mode_count(ORDER)):
        n, m = order_of(j)
        theirs = prysm.zernike_nm(n, m, r, t, norm=True)
        assert np.abs(mine[:, j] - theirs).max() < 1e-12


def test_values_agree_with_zernike(polar: tuple[np.ndarray, np.ndarray]) -> None:
    r, t = polar
    mine = basis(ORDER, r * np.cos(t), r * np.sin(t))
    theirs = zernike.RZern(ORDER)
    pairs = {
        (int(n), int(m)): k for k, (n, m) in enumerate(zip(theirs.ntab, theirs.mtab, strict=True))
    }
    for j in range(mode_count(ORDER)):
        values = theirs.Zk(pairs[order_of(j)], r, t)
        assert np.abs(mine[:, j] - values).max() < 1e-12
