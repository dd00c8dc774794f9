"""A pattern of lamps is found where it is, whatever way the search is thinned out."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.picture.patterns import Wanted, closeness, nearby, pattern_places, pattern_score


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_the_thinned_search_ends_where_the_full_one_does(seed):
    """Against the score of every pixel: no pixel is worth more than the place that is told."""
    rng = np.random.default_rng(seed)
    level = np.zeros((90, 110), dtype=np.float32)
    offsets = rng.uniform(-18.0, 18.0, (3, 2))
    place = np.array([55.0, 45.0]) + rng.uniform(-15.0, 15.0, 2)
    v, u = np.indices(level.shape)
    for x, y in place + offsets:
        level += 9.0 * np.exp(-0.5 * ((u - x) ** 2 + (v - y) ** 2) / 2.5**2).astype(np.float32)
    near = nearby(level, 8.0, 1)
    awaited, sd = np.array([55.0, 45.0]), 20.0
    every = pattern_score(near, offsets) * closeness(near.shape, awaited, sd)
    x, y, plain, worth = next(pattern_places(near, offsets, (awaited, sd, 1), Wanted(1, 5.0)))
    assert worth >= float(every.max()) * (1.0 - 1e-5)
    # Half a pixel of rounding each way, and the pixel by which each spot may lie off.
    assert np.hypot(x - place[0], y - place[1]) < 2.2
    assert plain >= worth


def test_what_leaves_the_picture_is_no_pattern():
    near = np.full((20, 20), 5.0, dtype=np.float32)
    assert pattern_score(near, np.array([[-30.0, 0.0], [0.0, 0.0]])).max() == 0.0
