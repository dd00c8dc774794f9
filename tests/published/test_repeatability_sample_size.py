"""How many eyes a repeatability study needs: 25 measured three times, 49 measured twice.

Source: the relative half-width 1.96 / √(2n(m-1)) of a within-subject sd, set to 20 %, as studies of
repeatability in the eye clinic are planned; status *computed* (n(m-1) = 48.02, rounded up).
"""

import numpy as np
import pytest

from rimwise.stats.agreement import subjects_needed, within_sd_interval


def test_rule() -> None:
    assert subjects_needed(3) == 25
    assert subjects_needed(2) == 49


@pytest.mark.parametrize(("subjects", "repeats"), [(25, 3), (49, 2)])
def test_the_exact_interval_is_about_that_wide(subjects: int, repeats: int) -> None:
    found = within_sd_interval(1.0, subjects * (repeats - 1))
    # The rule is the large-sample one; chi-square is skewed, its mean half-width 1 % off.
    assert 0.5 * (found.high - found.low) == pytest.approx(0.20, abs=0.015)


def test_by_drawing() -> None:
    drawn = np.random.default_rng(4).standard_normal((20_000, 49, 2)).var(axis=2, ddof=1)
    within = np.sqrt(drawn.mean(axis=1))
    # 95 % of 20,000: its own sd is 0.15 %.
    assert np.mean(np.abs(within - 1.0) < 0.20) == pytest.approx(0.95, abs=0.006)
