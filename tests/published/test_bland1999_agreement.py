"""Limits of agreement, their exact intervals and repeatability of 85 blood pressures.

Source: Bland & Altman 1999, Stat Methods Med Res 8:135-160; status of what is compared:
*computed* outside this project from the paper's readings (tests/data/agreement.toml), the printed
values -16.29, 19.61, -54.7, 22.1, 16.95 and 25.27 beside them. The 765 readings themselves were not
at hand: here readings with the same numbers, means and mean squares are made up, and all that a
sum of squares can tell must follow. Tolerance: the last digit given.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rimwise.stats.agreement import (
    limits_from_summary,
    limits_of_agreement,
    repeatability,
    repeated_limits,
)

VALUES = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "agreement.toml").read_text(encoding="utf-8")
)["bland_altman"]
PRINTED = VALUES["printed"]


def with_moments(mean: float, variance: float, n: int) -> np.ndarray:
    """Draw n numbers and scale them to exactly this mean and sample variance."""
    row = np.random.default_rng(1999).standard_normal(n)
    row = (row - row.mean()) / row.std(ddof=1)
    return mean + np.sqrt(variance) * row


def triples(within: float, means: np.ndarray) -> np.ndarray:
    """Three readings of each person with these means and exactly this pooled variance."""
    scatter = np.random.default_rng(3).standard_normal((len(means), 3))
    scatter -= scatter.mean(axis=1, keepdims=True)
    scatter *= np.sqrt(within * 2 * len(means) / (scatter**2).sum())
    return means[:, None] + scatter


def test_limits_of_agreement_and_their_intervals() -> None:
    told = VALUES["sbp_J1_minus_S1"]
    found = limits_from_summary(told["n"], told["mean"], told["SD"])
    assert found.lower.value == pytest.approx(told["lower"], abs=1e-9)
    assert found.upper.value == pytest.approx(told["upper"], abs=1e-9)
    assert (found.mean.low, found.mean.high) == pytest.approx(told["ci_mean"], abs=1e-8)
    assert (found.lower.low, found.lower.high) == pytest.approx(told["exact_ci_lower"], abs=1e-7)
    assert (found.upper.low, found.upper.high) == pytest.approx(told["exact_ci_upper"], abs=1e-7)


def test_limits_as_printed() -> None:
    drawn = with_moments(PRINTED["mean"], PRINTED["SD"] ** 2, 85)
    found = limits_of_agreement(drawn)
    assert round(found.lower.value, 1) == PRINTED["lower"]
    assert round(found.upper.value, 1) == PRINTED["upper"]


@pytest.mark.parametrize("reader", ["J", "R", "S"])
def test_repeatability(reader: str) -> None:
    variance = VALUES["within_subject_variance"][reader]
    found = repeatability(triples(variance, with_moments(127.0, 900.0, 85)))
    assert found.within_sd.value**2 == pytest.approx(variance, rel=1e-12)
    expected = VALUES["repeatability_1_96_sqrt2_sw"][reader]
    assert found.limit.value == pytest.approx(expected, abs=1e-9)
    if reader != "R":
        assert round(found.limit.value, 2) == PRINTED[f"repeatability_{reader}"]


def test_limits_of_single_readings_from_means_of_three() -> None:
    told, within = VALUES["replicates_J_S"], VALUES["within_subject_variance"]
    machine = with_moments(143.0, 1000.0, 85)
    observer = machine + with_moments(told["mean"], told["var_diff_means"], 85)
    found = repeated_limits(triples(within["J"], observer), triples(within["S"], machine))
    assert found.sd**2 == pytest.approx(told["corrected_var"], rel=1e-9)
    assert found.lower.value == pytest.approx(told["lower"], abs=1e-7)
    assert found.upper.value == pytest.approx(told["upper"], abs=1e-7)
