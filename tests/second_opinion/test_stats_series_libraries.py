"""Models of paired eyes and times to events against statsmodels, on the open data it carries.

dietox (pigs weighed weekly), a simulated series of its GEE tests, and bmt (bone marrow
transplants): read from the installed package at test time, nothing is copied.
"""

from pathlib import Path

import numpy as np
import pytest
import statsmodels

from rimwise.stats.clustered import clustered_fit, mixed_fit, persons_of
from rimwise.stats.order_statistics import quantile_interval
from rimwise.stats.time_to_event import event_free, log_rank

CARRIED = Path(statsmodels.__file__).parent


def column(name: str, path: str) -> list[str]:
    rows = [line.replace('"', "").split(",") for line in (CARRIED / path).read_text().splitlines()]
    index = rows[0].index(name) + len(rows[1]) - len(rows[0])  # R leaves row names untitled
    return [row[index] for row in rows[1:]]


def test_mixed_model_on_the_weekly_weights() -> None:
    path = "regression/tests/results/dietox.csv"
    weight, week = (np.array(column(name, path), float) for name in ("Weight", "Time"))
    fit = mixed_fit(
        weight, np.column_stack([np.ones(len(week)), week]), persons_of(column("Pig", path))
    )
    # Printed by statsmodels 0.15 for Weight ~ Time, groups = Pig; its search ends at 1e-6.
    assert fit.coefficients.tolist() == pytest.approx([15.7235230684, 6.9425050053], rel=1e-7)
    assert fit.se.tolist() == pytest.approx([0.78805305, 0.03338728], rel=1e-6)
    assert fit.person_variance == pytest.approx(40.39387312, rel=3e-6)
    assert fit.eye_variance == pytest.approx(11.3669205, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-2404.7753371395, abs=1e-7)


@pytest.mark.filterwarnings("ignore")
def test_generalized_equations_on_their_own_test_series() -> None:
    from statsmodels.genmod.cov_struct import Exchangeable, Independence  # noqa: PLC0415
    from statsmodels.genmod.generalized_estimating_equations import GEE  # noqa: PLC0415

    rows = np.loadtxt(CARRIED / "genmod/tests/results/gee_linear_1.csv", delimiter=",")
    y, design = rows[:, 0], rows[:, 2:]
    person = np.unique(rows[:, 1], return_inverse=True)[1]
    theirs = GEE(y, design, person, cov_struct=Exchangeable()).fit()
    ours = clustered_fit(y, design, person, correct_bias=False)
    # Their iteration ends when the score falls below 1e-6.
    assert ours.coefficients.tolist() == pytest.approx(theirs.params.tolist(), rel=1e-6)
    assert ours.se.tolist() == pytest.approx(theirs.bse.tolist(), rel=1e-6)
    theirs = GEE(y, design[:, :1], person, cov_struct=Independence()).fit()
    one = clustered_fit(y[:: len(y) // 13], design[:: len(y) // 13, :1], np.arange(len(y))[:14])
    assert one.way == "independence"
    assert "too few persons have two eyes" in one.note


def test_impossible_correlation_falls_back() -> None:
    # Alike within persons beyond what one common variance allows: the moment estimate passes 1.
    y = np.array([9.0, 9.0, -9.0, -9.0, 0.1, -0.1, 0.2, -0.3, 0.1, -0.2])
    fit = clustered_fit(y, np.ones((10, 1)), np.array([0, 0, 1, 1, 2, 3, 4, 5, 6, 7]))
    assert fit.way == "independence"
    assert "impossible" in fit.note


@pytest.mark.filterwarnings("ignore")
def test_event_free_share_and_log_rank_on_transplants() -> None:
    from statsmodels.duration.survfunc import SurvfuncRight, survdiff  # noqa: PLC0415

    path = "duration/tests/results/bmt.csv"
    groups = column("Group", path)
    time = np.array(column("T", path), float)
    happened = np.array(column("Status", path), float) > 0.5
    theirs = SurvfuncRight(time, happened.astype(float))
    ours = event_free(time, happened)
    wanted = [float(theirs.surv_prob[theirs.surv_times == t][0]) for t in ours.time]
    assert ours.share.tolist() == pytest.approx(wanted, abs=1e-12)
    pair = np.array([one in {"ALL", "AML-Low Risk"} for one in groups])
    group = np.array([one == "ALL" for one in groups])[pair]
    for kind, weighted in ((None, False), ("gb", True)):
        chi2, p = survdiff(
            time[pair], happened[pair].astype(int), group.astype(int), weight_type=kind
        )
        assert log_rank(time[pair], happened[pair], group, weighted) == pytest.approx(
            (chi2, p), rel=1e-9
        )


def test_interval_of_a_median_holds_it_as_often_as_it_says() -> None:
    rng = np.random.default_rng(20260301)
    series = rng.standard_t(3, (4000, 61))
    held = np.mean(
        [one.low <= 0.0 <= one.high for one in (quantile_interval(row) for row in series)]
    )
    # Ranks come in steps: never below 95 %, at most 2.5 points above at n = 61; three standard
    # errors of 4,000 series are 1 point.
    assert 0.94 < held < 0.985
    # Pairs fully alike: the worth of 31 eyes, told or not told.
    pairs = np.repeat(rng.standard_normal((4000, 31)), 2, axis=1)
    told = [quantile_interval(row, effective=31.0) for row in pairs]
    assert np.mean([one.low <= 0.0 <= one.high for one in told]) > 0.94
    naive = [quantile_interval(row) for row in pairs]
    assert np.mean([one.low <= 0.0 <= one.high for one in naive]) < 0.90
