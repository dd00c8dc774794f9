"""Numbers of an audit against printed and computed ones.

Sources: counts and percentages printed in Brogan et al., Br J Ophthalmol 2019; the European
registry's report, J Cataract Refract Surg 2018; Abell et al. (anterior capsule tears); a paper in
BMC Ophthalmology 2018 whose percentages do not match its counts: all as quoted in the field,
published and read. Prediction errors, induced astigmatism and centroid:
tests/data/series_statistics.toml (computed outside this project; synthetic, no patients).
Tolerance: half the last printed digit.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rimwise.audit.compare import fisher
from rimwise.audit.recount import recount
from rimwise.audit.refraction import (
    acuity_chapter,
    astigmatism_chapter,
    error_figures,
    refraction_chapter,
)
from rimwise.exchange.tables import series_from_bytes
from rimwise.records.series import Series

VALUES = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "series_statistics.toml").read_text(encoding="utf-8")
)


@pytest.mark.parametrize(
    ("count", "total", "printed"),
    [
        (7938, 8943, "88.76"),
        (5577, 8943, "62.36"),
        (205675, 282811, "72.7"),
        (263015, 282811, "93.0"),
    ],
)
def test_printed_percentages_agree_with_their_counts(count: int, total: int, printed: str) -> None:
    assert recount(count, total, printed).agrees


@pytest.mark.parametrize(
    ("count", "total", "printed", "right"), [(60, 94, "67", "64"), (81, 89, "86", "91")]
)
def test_printed_percentages_that_do_not_agree_are_flagged(
    count: int, total: int, printed: str, right: str
) -> None:
    told = recount(count, total, printed)
    assert not told.agrees
    assert told.right == right


def test_tears_by_two_ways_of_opening() -> None:
    assert fisher((15, 804), (1, 822)) == pytest.approx(0.00023, abs=5e-6)


@pytest.mark.parametrize("index", [0, 1, 2])
def test_prediction_errors(index: int) -> None:
    expected = VALUES["prediction_error_tests"]
    errors = np.array(expected[f"PE{index + 1}"])
    told = {
        one.name.split(",")[0]: one for one in error_figures(errors, np.arange(len(errors)), "x")
    }
    for name, key in (
        ("standard deviation", "SD"),
        ("mean absolute error", "MAE"),
        ("median absolute error", "MedAE"),
        ("root mean square error", "RMS"),
        ("trimmed mean absolute error (20 %)", "trim20_absPE"),
    ):
        assert told[name].value == pytest.approx(expected[key][index], abs=6e-11), name
    share = told["within 0.25 dpt"].value
    assert share is not None
    assert 100.0 * share == pytest.approx(expected["pct_within_0_25"][index])


@pytest.mark.parametrize("case", VALUES["sia"]["cases"], ids=lambda case: str(case["pre"]))
def test_induced_astigmatism_of_one_eye(case: dict[str, list[float]]) -> None:
    columns = {
        "before_cylinder_dpt": np.array([case["pre"][0]]),
        "before_steep_deg": np.array([case["pre"][1]]),
        "after_cylinder_dpt": np.array([case["post"][0]]),
        "after_steep_deg": np.array([case["post"][1]]),
    }
    part = astigmatism_chapter(Series(columns, {}, np.arange(1)), "induced")
    assert part is not None
    assert part.figures[0].value == pytest.approx(case["sia"][0], abs=5e-7)
    assert part.figures[1].value == pytest.approx(case["sia"][1], abs=5e-7)


def test_centroid_of_a_series() -> None:
    expected = VALUES["centroid_ellipse"]
    rows = np.array(expected["data"])
    zero = np.zeros(len(rows))
    columns = {
        "before_cylinder_dpt": zero,
        "before_steep_deg": zero,
        "after_cylinder_dpt": rows[:, 0],
        "after_steep_deg": rows[:, 1],
    }
    part = astigmatism_chapter(Series(columns, {}, np.arange(len(rows))), "induced")
    assert part is not None
    told = {one.name: one.value for one in part.figures}
    assert (told["centroid, size"], told["centroid, axis"]) == pytest.approx(
        tuple(expected["centroid"]), abs=6e-11
    )
    assert part.ellipses[0].semi_major == pytest.approx(
        expected["conf_centroid_95"]["major"], abs=6e-11
    )
    assert part.ellipses[1].semi_minor == pytest.approx(
        expected["prediction_95"]["minor"], abs=6e-11
    )
    means = [one.value for one in part.figures if one.name == "size, mean"]
    assert means[0] == pytest.approx(expected["mean_magnitude"], abs=1e-12)


def test_acuity_is_averaged_on_the_logarithmic_scale() -> None:
    # Holladay, editorial, J Cataract Refract Surg 2004: 20/20 and 20/200 average to 20/63.
    expected = VALUES["visual_acuity"]["geometric_mean_20_20_and_20_200"]
    part = acuity_chapter(Series({"acuity_logmar": np.array([0.0, 1.0])}, {}, np.arange(2)))
    assert part is not None
    mean = part.figures[1].value
    assert mean == expected["logMAR"]
    assert 20.0 * 10.0**mean == pytest.approx(expected["snellen20"], abs=5e-8)


def test_fractions_of_letters_are_averaged_as_logarithms() -> None:
    # 20/20 and 20/40 average to 20/28, not to 20/27 (the mean of the decimals): same editorial.
    expected = VALUES["visual_acuity"]["geometric_mean_20_20_and_20_40"]
    table = series_from_bytes(b"Snellen,Least cover\n20/20,0.1\n20/40,0.1\n", "t.csv")
    part = acuity_chapter(table.series)
    assert part is not None
    mean = part.figures[1].value
    assert mean == pytest.approx(expected["logMAR"], abs=6e-11)
    assert 20.0 * 10.0**mean == pytest.approx(expected["snellen20"], abs=5e-8)


def test_error_is_achieved_less_predicted() -> None:
    columns = {"achieved_dpt": np.array([-0.50]), "predicted_dpt": np.array([-0.25])}
    part = refraction_chapter(Series(columns, {}, np.arange(1)))
    assert part is not None
    assert part.figures[0].value == -0.25
