"""Limits of a funnel against a general library's binomial law."""

import numpy as np
import pytest
from scipy.stats import binom

from rimwise.audit.funnel import TAILS, binomial_limit, funnel_of
from rimwise.records.series import Names, Series


@pytest.mark.parametrize("target", [0.62, 0.9, 0.985])
@pytest.mark.parametrize("eyes", [5, 40, 400, 8943])
def test_outside_a_limit_lies_what_the_exact_law_says(target: float, eyes: int) -> None:
    """Beyond each limit lies at most its chance; with one count more it would be more."""
    for tail in TAILS:
        low = round(binomial_limit(target, eyes, tail) * eyes)
        assert binom.cdf(low - 1, eyes, target) <= tail
        assert binom.cdf(low, eyes, target) > tail
        high = round(binomial_limit(target, eyes, 1.0 - tail) * eyes)
        assert binom.sf(high, eyes, target) <= tail
        assert binom.sf(high - 1, eyes, target) > tail


def test_many_eyes_reach_the_normal_law() -> None:
    """At 10^6 eyes the limit is 1.96 standard errors off, one eye apart."""
    error = np.sqrt(0.9 * 0.1 / 1e6)
    assert binomial_limit(0.9, 1e6, 0.975) == pytest.approx(0.9 + 1.95996 * error, abs=2e-6)


def test_surgeons_alike_are_outside_as_seldom_as_stated() -> None:
    """Of 20 equal surgeons in 200 clinics, two eyes alike: at most 5 % outside 95 %."""
    rng = np.random.default_rng(11)
    out = total = 0
    person = np.arange(1600) // 2
    names = Names.of([f"S-{k}" for k in person % 20])
    for _ in range(200):
        skill = rng.normal(size=800)[person] * np.sqrt(0.6) + rng.normal(size=1600) * np.sqrt(0.4)
        series = Series({"complete": (skill > -1.2).astype(float)}, {"surgeon": names}, person)
        told = funnel_of(series)
        out += sum(one.outside > 0 for one in told.points)
        total += len(told.points)
    # 4,000 surgeons: 5 % within 3 standard errors of such a share (0.35 points).
    assert 0.02 <= out / total <= 0.061
