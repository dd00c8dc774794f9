"""Several ways of doing one thing to the same eyes: spreads, shares and orders compared."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """Whether two paired rows scatter alike."""

    correlation: float
    se: float
    t: float
    p: float


def holm(p_values: Sequence[float]) -> list[float]:
    """What are these p values after Holm's correction for having tested several?

    Notes
    -----
    Holm 1979, Scand J Statist 6:65: step down, kept monotone, at most 1.

    Examples
    --------
    >>> [round(p, 6) for p in holm([0.0625, 0.125, 0.00634765625])]
    [0.125, 0.125, 0.019043]
    """
    order = sorted(range(len(p_values)), key=lambda one: p_values[one])
    corrected = [0.0] * len(p_values)
    so_far = 0.0
    for rank, one in enumerate(order):
        so_far = max(so_far, min(1.0, (len(p_values) - rank) * p_values[one]))
        corrected[one] = so_far
    return corrected


def same_spread(first: FloatArray, second: FloatArray) -> SpreadTest:
    """Do two prediction errors of the same eyes scatter alike, whatever their tails?

    The slope of standardized sums on standardized differences, with an error (HC4) that does not
    need equal variances. Positive: the first scatters more.

    Parameters
    ----------
    first, second : array, shape (n,), n >= 4

    Notes
    -----
    Morgan and Pitman 1939 with Cribari-Neto's HC4 (2004) as Wilcox proposed: r of x + y with
    x - y; residual leverage to the power min(4, n h / 2).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> same_spread(rng.normal(0, 1, 200), rng.normal(0, 1, 200)).p > 0.05
    True
    """
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1 or len(x) < 4:
        raise WrongInput(f"spreads of pairs need equal rows of 4 or more, got {len(x)}, {len(y)}")
    sums, differences = _standard(x + y), _standard(x - y)
    n = len(x)
    # With an intercept the rows are centred already.
    size = float(differences @ differences)
    slope = float(sums @ differences) / size
    leverage = 1.0 / n + differences**2 / size
    residuals = sums - slope * differences
    power = np.minimum(4.0, n * leverage / 2.0)
    weighted = residuals**2 / (1.0 - leverage) ** power
    se = math.sqrt(float((differences**2 * weighted).sum())) / size
    t = slope / se
    return SpreadTest(slope, se, t, _two_sided(t, n - 2))


def _standard(row: FloatArray) -> FloatArray:
    sd = float(row.std(ddof=1))
    if not sd > 0.0:
        raise WrongInput("the two rows differ by a constant, so their spreads cannot be compared")
    return np.asarray((row - row.mean()) / sd)


def _two_sided(t: float, df: float) -> float:
    from scipy.special import stdtr  # noqa: PLC0415  scipy is loaded late

    return 2.0 * float(stdtr(df, -abs(t)))


def mcnemar(only_first: int, only_second: int) -> float:
    """Is one of two ways more often successful in the same eyes (exact p)?

    Parameters
    ----------
    only_first, only_second : int
        Eyes where only the first, or only the second, succeeded.

    Notes
    -----
    McNemar 1947, exact by the binomial law; eyes where both or none succeeded say nothing.

    Examples
    --------
    >>> mcnemar(0, 5)
    0.0625
    """
    from scipy.special import bdtr  # noqa: PLC0415  scipy is loaded late

    n = only_first + only_second
    if n == 0:
        return 1.0
    return min(1.0, 2.0 * float(bdtr(float(min(only_first, only_second)), n, 0.5)))


def cochran_q(successes: FloatArray) -> tuple[float, float]:
    """Do several ways succeed equally often in the same eyes: Q and p?

    Parameters
    ----------
    successes : array of 0 and 1, shape (eyes, ways)

    Notes
    -----
    Cochran 1950, Biometrika 37:256.

    Examples
    --------
    >>> q, p = cochran_q(np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 0.0], [1.0, 1.0]]))
    >>> q
    2.0
    """
    from scipy.special import chdtrc  # noqa: PLC0415  scipy is loaded late

    ways = successes.shape[1]
    columns, rows = successes.sum(axis=0), successes.sum(axis=1)
    below = float((ways * rows - rows**2).sum())
    if below <= 0.0:
        return 0.0, 1.0
    q = (ways - 1) * float(ways * (columns**2).sum() - columns.sum() ** 2) / below
    return q, float(chdtrc(ways - 1, q))


def friedman(values: FloatArray) -> tuple[float, float]:
    """Do several ways differ in order in the same eyes: χ² (corrected for ties) and p?

    Parameters
    ----------
    values : array, shape (eyes, ways)

    Notes
    -----
    Friedman 1937, with the correction for ties of Hollander and Wolfe.

    Examples
    --------
    >>> chi2, p = friedman(np.array([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [1.0, 3.0, 2.0]]))
    >>> round(chi2, 3)
    4.667
    """
    from scipy.stats import friedmanchisquare  # noqa: PLC0415  scipy is loaded late

    test = friedmanchisquare(*np.asarray(values, dtype=np.float64).T)
    return float(test.statistic), float(test.pvalue)
