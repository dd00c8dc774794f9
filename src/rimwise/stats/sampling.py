"""Random streams that can be told again, and correlated draws."""

import hashlib

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


def stream(seed: int, name: str) -> np.random.Generator:
    """Which random stream belongs to this seed and this name?

    Same seed and name: same numbers, on any machine, in any order of calls. Another name: an
    independent stream.

    Parameters
    ----------
    seed : int
        0 or more.
    name : str
        What the numbers are for.

    Examples
    --------
    >>> bool(stream(1, "centring").random() == stream(1, "centring").random())
    True
    >>> bool(stream(1, "centring").random() == stream(1, "size").random())
    False
    """
    if seed < 0:
        raise WrongInput(f"a seed is 0 or more, got {seed}")
    digest = hashlib.sha256(name.encode()).digest()
    words = [int.from_bytes(digest[i : i + 4], "little") for i in range(0, 16, 4)]
    return np.random.Generator(
        np.random.PCG64(np.random.SeedSequence(entropy=seed, spawn_key=tuple(words)))
    )


def correlated_normal(
    generator: np.random.Generator, mean: FloatArray, covariance: FloatArray, count: int
) -> FloatArray:
    """Which draws (count, k) follow the normal law with this mean and covariance?

    Parameters
    ----------
    generator : numpy Generator
    mean : array, shape (k,)
    covariance : array, shape (k, k)
        Symmetric, no negative eigenvalue; singular is allowed.
    count : int

    Raises
    ------
    WrongInput
        The covariance does not fit the mean, is not symmetric or has a negative eigenvalue.

    Examples
    --------
    >>> draws = correlated_normal(np.random.default_rng(0), np.zeros(2), np.ones((2, 2)), 3)
    >>> bool(np.allclose(draws[:, 0], draws[:, 1]))
    True
    """
    mean = np.asarray(mean, dtype=np.float64)
    root = covariance_root(covariance)
    if mean.shape != (len(root),):
        raise WrongInput(f"mean {mean.shape} and covariance {root.shape} do not fit")
    return np.asarray(mean + generator.standard_normal((count, len(mean))) @ root.T)


def covariance_root(covariance: FloatArray) -> FloatArray:
    """Which matrix L has L Lᵀ equal to this covariance?

    Symmetric root, so that singular covariances are no exception.

    Examples
    --------
    >>> covariance_root(np.diag([4.0, 0.0])).round(12).tolist()
    [[2.0, 0.0], [0.0, 0.0]]
    """
    matrix = np.asarray(covariance, dtype=np.float64)
    square = matrix.ndim == 2 and matrix.shape[0] == matrix.shape[1]
    if not (square and np.isfinite(matrix).all() and np.allclose(matrix, matrix.T, rtol=1e-8)):
        raise WrongInput(f"a covariance is finite, square and symmetric, got {matrix.shape}")
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    # A correlation of ±1 leaves eigenvalues that are negative by rounding only.
    if values.min() < -1e-9 * max(abs(float(values.max())), 1e-300):
        raise WrongInput("a covariance has no negative eigenvalue; check the correlations")
    return np.asarray((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)
