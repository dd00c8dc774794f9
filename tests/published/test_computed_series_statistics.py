"""Statistics of series against computed and published values.

Source: tests/data/series_statistics.toml, computed outside this project by two routes; the robust
tests' entries are the outputs printed in the vignette of an R package (published and read), the
control charts Montgomery's textbook example and the chemical series of the same trade, the weights
those printed by Steiner et al. 2000. Tolerance: half the last printed digit, unless said.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rimwise.stats.bivariate import ellipse_of, hotelling, vector_mean
from rimwise.stats.circular import mean_axis, mean_direction, rayleigh
from rimwise.stats.clustered import effective_eyes
from rimwise.stats.control_charts import cusum, risk_adjusted_weights, run_length
from rimwise.stats.paired import cochran_q, friedman, holm, mcnemar, same_spread
from rimwise.stats.trimmed import trimmed_mean, yuen_paired

VALUES = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "series_statistics.toml").read_text(encoding="utf-8")
)
ERRORS = VALUES["prediction_error_tests"]
ROWS = {key: np.array(ERRORS[f"PE{key}"]) for key in (1, 2, 3)}


@pytest.mark.parametrize("pair", [(1, 2), (1, 3), (2, 3)])
def test_spreads_of_paired_errors(pair: tuple[int, int]) -> None:
    expected = ERRORS[f"HC4_{pair[0]}{pair[1]}"]
    test = same_spread(ROWS[pair[0]], ROWS[pair[1]])
    assert (test.correlation, test.se, test.t) == pytest.approx(
        (expected["r"], expected["se"], expected["t"]),
        abs=1e-10,  # cut off, not rounded, there
    )
    # Thirty digits (mpmath) give 0.01081059446588 for the second pair; printed there 1.4e-10 above.
    assert test.p == pytest.approx(expected["p"], rel=1e-10, abs=1.5e-10)


def test_holm_of_three_spreads() -> None:
    p = [ERRORS[key]["p"] for key in ("HC4_12", "HC4_13", "HC4_23")]
    assert holm(p) == pytest.approx(ERRORS["HC4_Holm"], rel=1e-9)


def test_shares_within_a_quarter_dioptre() -> None:
    expected = ERRORS["McNemar_within_0_25"]
    tables = [expected[key] for key in ("t12", "t13", "t23")]
    exact = [mcnemar(one[0][1], one[1][0]) for one in tables]
    assert exact == pytest.approx(expected["exact_p"], abs=1e-12)
    assert holm(exact) == pytest.approx(expected["holm"], abs=1e-12)
    hits = np.stack([np.abs(ROWS[key]) <= 0.25 for key in (1, 2, 3)], axis=1).astype(float)
    assert cochran_q(hits) == pytest.approx(
        (ERRORS["CochranQ"]["Q"], ERRORS["CochranQ"]["p"]), abs=6e-11
    )


def test_order_and_trimmed_means_of_absolute_errors() -> None:
    absolute = {key: np.abs(row) for key, row in ROWS.items()}
    chi2, p = friedman(np.stack([absolute[key] for key in (1, 2, 3)], axis=1))
    assert (chi2, p) == pytest.approx(
        (ERRORS["Friedman_absPE"]["chi2"], ERRORS["Friedman_absPE"]["p"]), abs=6e-11
    )
    assert [trimmed_mean(absolute[key]) for key in (1, 2, 3)] == pytest.approx(
        ERRORS["trim20_absPE"], abs=6e-11
    )
    expected = ERRORS["Yuend_abs1_abs3"]
    test = yuen_paired(absolute[1], absolute[3])
    assert (test.t, test.df, test.p, test.difference) == pytest.approx(
        (expected["t"], expected["df"], expected["p"], expected["diff"]), abs=6e-11
    )


def test_trimmed_means_of_pairs_as_printed() -> None:
    values = VALUES["wrs2_published"]
    test = yuen_paired(values["anorexia_FT_pre"], values["anorexia_FT_post"])
    expected = values["yuend_anorexia_FT"]
    assert test.t == pytest.approx(expected["t"], abs=5e-4)
    assert (test.df, round(test.p, 5)) == (expected["df"], expected["p"])
    assert test.difference == pytest.approx(expected["diff"], abs=5e-6)
    assert (test.low, test.high) == pytest.approx(tuple(expected["ci"]), abs=5e-5)


def test_centroid_and_its_ellipses() -> None:
    values = VALUES["centroid_ellipse"]
    rows = np.array(values["data"])
    doubled = np.radians(2.0 * rows[:, 1])
    summary = vector_mean(rows[:, :1] * np.stack([np.cos(doubled), np.sin(doubled)], axis=1))
    assert summary.mean.tolist() == pytest.approx(values["mean_xy"], abs=5e-9)
    assert np.sqrt(np.diag(summary.covariance)).tolist() == pytest.approx(values["sd_xy"], abs=5e-9)
    for kind, key in (
        ("confidence of the mean", "conf_centroid_95"),
        ("prediction of one more", "prediction_95"),
    ):
        ellipse = ellipse_of(summary, kind)
        expected = values[key]
        assert (ellipse.semi_major, ellipse.semi_minor) == pytest.approx(
            (expected["major"], expected["minor"]), abs=6e-11
        )
    turned = ellipse_of(summary, "confidence of the mean").angle_deg
    assert turned % 180.0 == pytest.approx(values["conf_centroid_95"]["angle_deg"], abs=6e-8)
    assert hotelling(summary) == pytest.approx(
        (values["hotelling"]["F"], values["hotelling"]["p"]), abs=6e-11
    )


def test_cusum_of_two_textbook_series() -> None:
    values = VALUES["cusum"]
    textbook = values["montgomery"]
    chart = cusum(values["montgomery_x"], textbook["target"], textbook["K"], textbook["H"])
    assert chart.upper[-2:].tolist() == pytest.approx(textbook["Cplus_last2"], abs=5e-3)
    assert chart.first_signal == textbook["first_signal_obs"] - 1
    series = values["chemical"]
    chart = cusum(values["chemical_x"], series["mu0"], series["K"], series["H"])
    assert chart.upper.tolist() == pytest.approx(series["SH"], abs=1e-12)
    assert chart.lower.tolist() == pytest.approx(series["SL"], abs=1e-12)


@pytest.mark.parametrize(
    ("limit", "shift", "key"),
    [
        (4.0, 0.0, "h4_shift0"),
        (4.0, 1.0, "h4_shift1"),
        (5.0, 0.0, "h5_shift0"),
        (5.0, 0.5, "h5_shift0_5"),
        (5.0, 1.0, "h5_shift1"),
        (5.0, 2.0, "h5_shift2"),
        (4.77, 0.0, "h4_77_shift0"),
    ],
)
def test_run_lengths(limit: float, shift: float, key: str) -> None:
    expected = VALUES["cusum"]["ARL_one_sided_k0_5"][key]
    assert run_length(0.5, limit, shift) == pytest.approx(expected, rel=1e-8)


def test_risk_adjusted_weights() -> None:
    expected = VALUES["cusum"]["risk_adjusted_weights"]
    chance = 1.0 / (1.0 + np.exp(3.68 - 0.077 * np.array([0.0, 0.0, 50.0, 50.0])))
    for ratio, name in ((2.0, "RA2"), (0.5, "RAhalf")):
        weights = risk_adjusted_weights(chance, [False, True, False, True], ratio)
        keys = [f"score{score}_y{y}_{name}" for score in (0, 50) for y in (0, 1)]
        assert weights.tolist() == pytest.approx([expected[key] for key in keys], abs=6e-7)
    printed = risk_adjusted_weights(chance, [False, True, False, True], 2.0)
    # Printed to two figures.
    assert printed.tolist() == pytest.approx(expected["printed_RA2"], abs=5e-3)


def test_directions_and_axes() -> None:
    values = VALUES["circular"]
    docs = values["astropy_docs"]
    mean = mean_direction(docs["data_deg"])
    assert mean.mean_deg == pytest.approx(docs["circmean_deg"], abs=6e-11)
    assert 1.0 - mean.resultant == pytest.approx(docs["circvar"], abs=6e-11)
    docs = values["astropy_rayleigh"]
    assert mean_direction(docs["data_deg"]).mean_deg == pytest.approx(
        docs["vonmises_mu_deg"], abs=6e-8
    )
    # Another series there, p = 0.2563; the law itself gives 0.2491 (10⁷ draws), this one 0.2547.
    assert abs(rayleigh(docs["data_deg"]) - 0.2491) < abs(docs["p"] - 0.2491)
    docs = values["pingouin_docs"]
    assert rayleigh(np.degrees(docs["data_rad"])) == pytest.approx(docs["rayleigh_p"], abs=6e-11)
    own = values["own_axial"]
    axes = mean_axis(own["deg"])
    # 0° there, 180° here: conventions write 180.
    assert axes.mean_deg == pytest.approx(180.0 + own["mean_axis_deg"], abs=1e-9)
    assert axes.resultant == pytest.approx(own["Rbar2"], abs=6e-11)
    assert axes.sd_deg == pytest.approx(own["circ_sd_deg"], abs=6e-8)
    # There with 1.96 for the normal quantile, 2e-5 of the width.
    assert axes.half_width_deg == pytest.approx(own["halfwidth95_deg"], rel=3e-5)


def test_two_eyes_are_worth_fewer_where_they_are_alike() -> None:
    values = VALUES["clustered"]["two_eye_design_effect"]
    worth = [effective_eyes(2, 1, rho) for rho in values["rho"]]
    assert worth == pytest.approx(values["effective_eyes_per_patient"], abs=6e-11)
