"""The closed path is the cheapest of all: against every path there is, in small strips."""

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.picture.paths import closed_path


def _cost_of(path, cost, bending):
    steps = np.diff(np.r_[path, path[0]])
    return cost[path, np.arange(len(path))].sum() + bending * (steps**2).sum()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_no_closed_path_of_a_small_strip_costs_less(seed, compiled):
    """Own brute force over all 3^6 closed paths; a clear valley, as an edge is one."""
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.0, 1.0, (3, 6))
    valley = rng.integers(0, 3)
    cost[valley] -= 3.0
    found = closed_path(cost, 1, 0.2, compiled)
    best = min(
        _cost_of(np.array(path), cost, 0.2)
        for path in itertools.product(range(3), repeat=6)
        if np.abs(np.diff(np.r_[path, path[0]])).max() <= 1
    )
    assert np.isclose(_cost_of(found, cost, 0.2), best, atol=1e-12)


def test_a_path_closes_upon_itself():
    rng = np.random.default_rng(1)
    path = closed_path(rng.normal(size=(40, 90)), 1, 0.1)
    assert np.abs(np.diff(np.r_[path, path[0]])).max() <= 1


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_the_compiled_search_finds_the_same_path(seed, largest_step):
    cost = np.random.default_rng(seed).normal(size=(23, 60))
    plain = closed_path(cost, largest_step, 0.07, compiled=False)
    assert np.array_equal(closed_path(cost, largest_step, 0.07, compiled=True), plain)
