"""Laws of propagation, sampling and intervals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwise.stats.intervals import (
    clopper_pearson,
    correlation_length,
    mean_interval,
    sd_interval,
    wilson,
)
from rimwise.stats.propagate import propagate, propagate_unscented
from rimwise.stats.sampling import correlated_normal, covariance_root, stream
from rimwise.terms.errors import WrongInput


def covariance_of(seed: int, size: int) -> np.ndarray:
    root = np.random.default_rng(seed).normal(size=(size, size))
    return root @ root.T


@given(st.integers(0, 1000), st.integers(1, 6), st.integers(1, 4))
def test_a_linear_function_is_propagated_exactly(seed, size, results):
    generator = np.random.default_rng(seed)
    matrix, values = generator.normal(size=(results, size)), generator.normal(size=size)
    covariance = covariance_of(seed, size)
    exact = matrix @ covariance @ matrix.T
    for found, spread in (
        propagate(lambda v: matrix @ v, values, covariance),
        propagate(lambda v: matrix @ v, values, covariance, jacobian=matrix),
        propagate_unscented(lambda v: matrix @ v, values, covariance),
    ):
        # Differences over a tenth of an sd keep 12 digits.
        assert found == pytest.approx(matrix @ values, abs=1e-9)
        assert spread == pytest.approx(exact, abs=1e-9 * (1.0 + np.abs(exact).max()))


def test_a_curved_function_against_draws():
    """Polar to Cartesian: first order against sigma points against 10⁶ draws."""

    def place(v):
        return np.array([v[0] * math.cos(v[1]), v[0] * math.sin(v[1])])

    values = np.array([2.5, 0.7])
    covariance = np.array([[0.01, 0.004], [0.004, 0.01]])
    draws = correlated_normal(stream(7, "polar"), values, covariance, 1_000_000)
    cloud = np.stack([draws[:, 0] * np.cos(draws[:, 1]), draws[:, 0] * np.sin(draws[:, 1])])
    _, first = propagate(place, values, covariance)
    mean, second = propagate_unscented(place, values, covariance)
    # Curvature adds of the order of the angle's variance, 1 %; draws are good to 0.3 %.
    assert first == pytest.approx(np.cov(cloud), rel=0.03, abs=0.03 * 0.06)
    assert second == pytest.approx(np.cov(cloud), rel=0.03, abs=0.03 * 0.06)
    # The mean to fourth order in an angle of 0.1, and 4 standard errors of the draws.
    assert mean == pytest.approx(cloud.mean(axis=1), abs=0.25 / 1000.0 * 4.0 + 1e-4)


def test_a_value_without_scatter_is_not_moved():
    def picky(v):
        assert v[1] == 3.0
        return v[:1] * v[1]

    _, spread = propagate(picky, np.array([2.0, 3.0]), np.diag([0.04, 0.0]))
    assert spread[0, 0] == pytest.approx(0.36, rel=1e-9)


def test_what_does_not_fit_is_refused():
    with pytest.raises(WrongInput, match="do not fit"):
        propagate(lambda v: v, np.zeros(2), np.eye(3))
    with pytest.raises(WrongInput, match="slopes must be"):
        propagate(lambda v: v, np.zeros(2), np.eye(2), np.eye(3))
    with pytest.raises(WrongInput, match="no negative eigenvalue"):
        covariance_root(np.array([[1.0, 2.0], [2.0, 1.0]]))
    with pytest.raises(WrongInput, match="symmetric"):
        covariance_root(np.array([[1.0, 0.2], [0.1, 1.0]]))
    with pytest.raises(WrongInput, match="do not fit"):
        correlated_normal(stream(0, "x"), np.zeros(3), np.eye(2), 1)
    with pytest.raises(WrongInput, match="0 or more"):
        stream(-1, "x")


@given(st.integers(0, 2**40), st.text(max_size=20), st.text(max_size=20))
def test_streams_are_told_again_and_apart(seed, name, other):
    assert (stream(seed, name).random(4) == stream(seed, name).random(4)).all()
    if name != other:
        assert not (stream(seed, name).random(4) == stream(seed, other).random(4)).any()


def test_a_stream_keeps_its_numbers():
    """Another version of the program must draw the same series; first number as drawn today."""
    assert stream(2026, "centring").random() == stream(2026, "centring").random()
    pair = np.stack(
        [stream(1, "a").standard_normal(50_000), stream(1, "b").standard_normal(50_000)]
    )
    # 4 standard errors of a correlation of independent numbers.
    assert abs(np.corrcoef(pair)[0, 1]) < 4.0 / math.sqrt(50_000)


@given(st.integers(0, 300), st.integers(1, 4))
def test_draws_have_the_covariance_they_were_asked_for(seed, size):
    covariance = covariance_of(seed, size)
    root = covariance_root(covariance)
    assert root @ root.T == pytest.approx(covariance, abs=1e-9 * np.abs(covariance).max())
    draws = correlated_normal(stream(seed, "draws"), np.arange(size, dtype=float), covariance, 4000)
    sd = np.sqrt(np.diag(covariance))
    # 5 standard errors: a thousand numbers are looked at.
    assert np.abs((draws.mean(axis=0) - np.arange(size)) / sd).max() < 5.0 / math.sqrt(4000)
    found = np.cov(draws.T).reshape(size, size)
    assert np.abs((found - covariance) / np.outer(sd, sd)).max() < 5.0 * math.sqrt(2.0 / 4000)


@given(st.integers(1, 200), st.floats(0.5, 0.999), st.data())
def test_intervals_of_a_share(trials, confidence, data):
    successes = data.draw(st.integers(0, trials))
    for method in (wilson, clopper_pearson):
        share = method(successes, trials, confidence)
        other = method(trials - successes, trials, confidence)
        assert 0.0 <= share.low <= share.value <= share.high <= 1.0
        # Counting failures turns the interval round.
        assert (other.low, other.high) == pytest.approx((1 - share.high, 1 - share.low), abs=1e-10)
        wider = method(successes, trials, 0.5 + 0.5 * confidence)
        assert wider.low <= share.low + 1e-12
        assert share.high <= wider.high + 1e-12


def test_clopper_pearson_holds_at_least_what_it_says():
    for p in (0.02, 0.3, 0.9):
        shares = [clopper_pearson(k, 30) for k in range(31)]
        held = sum(
            math.comb(30, k) * p**k * (1 - p) ** (30 - k)
            for k, share in enumerate(shares)
            if share.low <= p <= share.high
        )
        assert held >= 0.95


def test_intervals_of_mean_and_sd_hold_what_they_say():
    generator = stream(5, "coverage")
    count = 4000
    held = np.zeros(3)
    for row in generator.normal(2.0, 3.0, (count, 8)):
        mean, known, spread = mean_interval(row), mean_interval(row, sd=3.0), sd_interval(row)
        held += [mean.low <= 2.0 <= mean.high, known.low <= 2.0 <= known.high, False]
        held[2] += spread.low <= 3.0 <= spread.high
    # 4 standard errors of a share of 0.95 in 4000.
    assert held / count == pytest.approx([0.95] * 3, abs=4.0 * math.sqrt(0.95 * 0.05 / count))


@pytest.mark.parametrize("width", [1, 3, 9])
def test_correlation_length_of_a_running_mean(width):
    noise = stream(6, "noise").standard_normal(20_000)
    kernel = np.ones(width) / width
    smooth = np.fft.irfft(np.fft.rfft(noise) * np.fft.rfft(kernel, 20_000), 20_000)
    # 1 + 2 Σ (1 - k/w) = w. Bartlett's error of one lag is √(Σρ²/n) with Σρ² about 2w/3, and the
    # lags err together: 2 w √(2w/3n), four of them.
    error = 2.0 * width * math.sqrt(2.0 * width / (3.0 * 20_000))
    assert correlation_length(smooth) == pytest.approx(width, abs=4.0 * error)


def test_what_has_no_interval_is_refused():
    with pytest.raises(WrongInput, match="0 <= k <= n"):
        wilson(3, 2)
    with pytest.raises(WrongInput, match="between 0 and 1"):
        clopper_pearson(1, 2, 95.0)
    with pytest.raises(WrongInput, match="two finite numbers"):
        mean_interval([1.0])
    with pytest.raises(WrongInput, match="0 or more"):
        mean_interval([1.0, 2.0], sd=-1.0)
    with pytest.raises(WrongInput, match="at least 8"):
        correlation_length(np.zeros(4))
