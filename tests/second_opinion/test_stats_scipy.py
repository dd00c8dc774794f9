"""Intervals and containment against scipy's own statistics."""

import numpy as np
import pytest
from scipy import integrate, stats

from rimwise.stats.containment import ContainmentSpec, p_contained, p_not_contained
from rimwise.stats.intervals import clopper_pearson, mean_interval, sd_interval, wilson


@pytest.mark.parametrize(("successes", "trials"), [(0, 7), (1, 9), (8, 10), (96, 100), (30, 30)])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_shares_of_binomtest(successes, trials, confidence):
    """scipy.stats.binomtest(...).proportion_ci, methods "wilson" and "exact"."""
    test = stats.binomtest(successes, trials)
    for ours, method in ((wilson, "wilson"), (clopper_pearson, "exact")):
        theirs = test.proportion_ci(confidence, method)
        share = ours(successes, trials, confidence)
        # scipy finds the exact ends by a root search to 1e-12.
        assert (share.low, share.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_mean_and_sd():
    row = np.random.default_rng(1).normal(2.0, 0.3, 17)
    theirs = stats.ttest_1samp(row, 0.0).confidence_interval(0.9)
    ours = mean_interval(row, 0.9)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-12)
    spread = sd_interval(row, 0.9)
    ends = spread.value * np.sqrt(16.0 / stats.chi2.ppf([0.95, 0.05], 16))
    assert (spread.low, spread.high) == pytest.approx(tuple(ends), rel=1e-10)


@pytest.mark.parametrize("bias", [0.05, 0.1, 0.3])
@pytest.mark.parametrize("opening", [4.0, 5.0, 5.5, 5.9])
def test_fixed_size_is_a_noncentral_chi_square(bias, opening):
    """Both tails of scipy.stats.ncx2; the far one keeps its digits down to 1e-200."""
    sd = 0.06
    spec = ContainmentSpec(6.0, opening, 0.0, (sd, sd), (bias, 0.0))
    square, shift = (spec.slack_mm / sd) ** 2, (bias / sd) ** 2
    assert p_contained(spec) == pytest.approx(stats.ncx2.cdf(square, 2, shift), abs=1e-13)
    lost = stats.ncx2.sf(square, 2, shift)
    assert p_not_contained(spec) == pytest.approx(lost, rel=1e-9, abs=1e-250)


@pytest.mark.parametrize("size_sd", [0.05, 0.3])
def test_random_size_by_adaptive_quadrature(size_sd):
    """scipy.integrate.quad over the diameter of ncx2.cdf: another rule on another integral."""
    spec = ContainmentSpec(6.0, 5.2, size_sd, (0.15, 0.15), (0.1, 0.1), 0.05)

    def integrand(diameter):
        slack = max(0.0, 3.0 - 0.5 * diameter - 0.05)
        inside = stats.ncx2.cdf((slack / 0.15) ** 2, 2, 0.02 / 0.15**2)
        return stats.norm.pdf(diameter, 5.2, size_sd) * inside

    low, high = 5.2 - 9.0 * size_sd, min(5.9, 5.2 + 9.0 * size_sd)
    value, _ = integrate.quad(integrand, low, high, epsabs=1e-12, epsrel=1e-12, limit=200)
    assert p_contained(spec) == pytest.approx(value, abs=1e-10)


def test_unequal_axes_by_adaptive_quadrature():
    spec = ContainmentSpec(6.0, 5.2, 0.2, (0.2, 0.08), (0.1, -0.05))

    def integrand(y, x):
        chance = stats.norm.cdf((spec.slack_mm - np.hypot(x, y)) / 0.1)
        return stats.norm.pdf(x, 0.1, 0.2) * stats.norm.pdf(y, -0.05, 0.08) * chance

    nodes, weights = np.polynomial.legendre.leggauss(300)
    x, y = 0.1 + 1.8 * nodes, -0.05 + 0.72 * nodes
    value = 1.8 * 0.72 * weights @ integrand(y[None, :], x[:, None]) @ weights
    # 300 × 300 nodes with the cone at no offset in between: good to 1e-8.
    assert p_contained(spec) == pytest.approx(value, abs=1e-7)
