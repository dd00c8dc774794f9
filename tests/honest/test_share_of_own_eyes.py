"""The trace's own constant: recovered from invented series whose eyes were traced ray by ray."""

import csv
import json

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.plan.formulas import Biometry
from rimwise.plan.lens_series import LensSeries
from rimwise.plan.make import make_plan
from rimwise.plan.share_series import share_table
from rimwise.plan.traced import trace_power
from rimwise.plan.traced_eye import traced_eye
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet
from rimwise.terms.errors import WrongInput

TRUE_SHARE, SCATTER_DPT = 0.46, 0.35


def invented(count: int, seed: int) -> list[dict[str, float]]:
    """Draw eyes, trace each with the implant at the true share, add what nobody can foresee."""
    rng, rows = np.random.default_rng(seed), []
    for _ in range(count):
        axial = 23.6 + 1.1 * rng.standard_normal()
        chamber = 3.1 + 0.3 * rng.standard_normal()
        thickness = 4.5 + 0.35 * rng.standard_normal()
        radius = 7.75 + 0.2 * rng.standard_normal()
        power = float(np.clip(round(2.0 * (21.0 - 2.6 * (axial - 23.6))) / 2.0, 6.0, 32.0))
        case = CaseSheet(
            "E-1",
            "right",
            "none",
            cornea=CorneaSheet(radius),
            lengths=CaseLengths(axial, chamber, thickness),
            implant=PlannedImplant(6.0, index=1.49, constants={"position_share": TRUE_SHARE}),
        )
        left = trace_power(traced_eye(case), case, power).refraction_dpt.value
        rows.append(
            {
                "axial_mm": axial,
                "radius_mm": radius,
                "chamber_depth_mm": chamber,
                "lens_thickness_mm": thickness,
                "implant_power_dpt": power,
                "achieved_dpt": left + SCATTER_DPT * rng.standard_normal(),
            }
        )
    return rows


def series_of(rows: list[dict[str, float]]) -> LensSeries:
    axial, radius, chamber, thickness, power, achieved = (
        np.array([row[name] for row in rows]) for name in rows[0]
    )
    return LensSeries(Biometry(axial, radius, chamber), power, achieved, None, thickness)


@pytest.fixture(scope="module")
def rows():
    return invented(48, 20261126)


def test_the_true_share_lies_in_the_interval_of_every_plain_method(rows):
    table = share_table(series_of(rows), 1.49)
    for method in ("mean-zero", "least-squares", "mean-of-eyes", "median-of-eyes"):
        fit = table.fit(method)
        interval = table.interval(fit, np.random.default_rng(1))
        assert interval.low <= TRUE_SHARE <= interval.high
        # Scatter of 0.35 dpt over 48 eyes and a slope near 6 dpt for a whole lens.
        assert interval.high - interval.low < 0.12
        assert fit.calibrated


def test_without_scatter_every_method_gives_the_share_back(rows):
    """Second way: here four surfaces by vergences, there rays through the same surfaces."""
    plain = [dict(row) for row in rows[:12]]
    table = share_table(series_of(plain), 1.49)
    predicted = np.array([np.interp(TRUE_SHARE, table.shares, one) for one in table.errors_dpt.T])
    for row, error in zip(plain, predicted, strict=True):
        row["achieved_dpt"] -= error
    again = share_table(series_of(plain), 1.49)
    for method in ("mean-zero", "least-squares", "least-scatter", "mean-of-eyes"):
        # Steps of 0.005 with straight lines between them.
        assert again.fit(method).value == pytest.approx(TRUE_SHARE, abs=1e-4)
    # The errors that were taken off are the drawn scatter: rays and vergences agree.
    assert predicted.std(ddof=1) == pytest.approx(SCATTER_DPT, rel=0.5)
    assert abs(predicted.mean()) < 3.0 * SCATTER_DPT / np.sqrt(12)


@pytest.mark.slow
def test_the_interval_holds_the_truth_in_about_95_of_100_series():
    held = 0
    for seed in range(100):
        table = share_table(series_of(invented(30, seed)), 1.49)
        interval = table.interval(table.fit("mean-zero"), np.random.default_rng(seed))
        held += interval.low <= TRUE_SHARE <= interval.high
    # 95 of 100 scatter by 2.2; a percentile interval of 30 eyes is a little narrow.
    assert 88 <= held <= 100


def test_from_the_table_to_a_calibrated_plan(rows, tmp_path):
    path, out = tmp_path / "eyes.csv", tmp_path / "constants.json"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows[:31])
    asked = ["constants", str(path), "--a-constant", "118.4", "--implant-index", "1.49"]
    told = CliRunner().invoke(app, [*asked, "--json", str(out)])
    assert told.exit_code == 0
    (entry,) = json.loads(out.read_text(encoding="utf-8"))["results"]
    own = [one for one in entry["constants"] if one["formula"] == "exact trace"]
    assert [one["constant"] for one in own] == ["position_share"] * 5
    assert {one["calibration"] for one in own} == {"own series"}
    share = own[0]["value"]

    def planned(source):
        constants = {"position_share": share}
        implant = PlannedImplant(6.0, 21.0, 0.0, 1.49, constants, source)
        lengths = CaseLengths(23.6, 3.15, 4.5)
        case = CaseSheet("E-1", "right", "none", cornea=CorneaSheet(7.8), lengths=lengths)
        return make_plan(CaseSheet(**{**_fields(case), "implant": implant}))

    line = planned("own series, 31").refraction[0]
    assert line.constants.calibration == "own series"
    assert dict(line.constants.values)["position_share"] == share
    assert "trace-uncalibrated" not in [one.code for one in planned("own series, 31").warnings]
    few = planned("own series, 29")
    assert few.refraction[0].constants.calibration == "uncalibrated"
    assert "trace-uncalibrated" in [one.code for one in few.warnings]


def _fields(case: CaseSheet) -> dict[str, object]:
    return {name: getattr(case, name) for name in CaseSheet.__dataclass_fields__}


def test_impossible_refractions_give_no_share(rows):
    wild = [{**row, "achieved_dpt": row["achieved_dpt"] + 12.0} for row in rows[:5]]
    with pytest.raises(WrongInput, match="no share between"):
        share_table(series_of(wild), 1.49).fit("mean-zero")


def test_without_lens_thickness_the_trace_has_no_answer(rows):
    series = series_of(rows)
    bare = LensSeries(series.biometry, series.power_dpt, series.achieved_dpt)
    assert share_table(bare) is None
