"""Medians against NumPy's own, to the last bit: few and many, even and odd, ties, none at all."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.geometry.medians import median, median_deviation, row_medians


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10_000),
    st.integers(1, 12_000),
    st.sampled_from([np.float32, np.float64]),
    st.sampled_from(["plain", "tied", "in order", "two heaps"]),
)
def test_medians_are_numpys(seed: int, count: int, kind: type, looks: str) -> None:
    values = np.random.default_rng(seed).normal(0.0, 3.0, count)
    if looks == "tied":
        values = np.rint(values)
    elif looks == "in order":
        values = np.sort(values)
    elif looks == "two heaps":
        values = np.where(values > 0.0, 1e6, values)
    values = values.astype(kind)
    assert median(values) == np.median(values)
    assert median_deviation(values) == np.median(np.abs(values - np.median(values)))
    rows = values[: count // 7 * 7].reshape(-1, 7) if count >= 7 else values[None]
    assert np.array_equal(row_medians(rows), np.median(rows, axis=1))
    assert np.array_equal(row_medians(rows.T), np.median(rows, axis=0))


@pytest.mark.parametrize("count", [3, 4, 9000])
def test_what_holds_no_number_has_no_median(count: int) -> None:
    values = np.arange(float(count))
    values[1] = np.nan
    assert np.isnan(median(values))
    assert np.isnan(median(values[:0]))


def test_endless_numbers_are_numbers() -> None:
    values = np.arange(9000.0)
    values[:3000], values[-3000:] = -np.inf, np.inf
    assert median(values) == np.median(values)
