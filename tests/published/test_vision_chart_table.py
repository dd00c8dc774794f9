"""Sizes of a chart's rows against a table of acuity notations.

Source: tests/data/vision_chart.csv; status *computed* (definitions of logMAR, decimal acuity and
Snellen fractions; five letters a row from 1.0 on for the count of letters).
"""

import csv
from pathlib import Path

import pytest

from rimwise.predict.chart import decimal_acuity, letters_read, ring_frequency_cpd, snellen

TABLE = Path(__file__).parents[1] / "data" / "vision_chart.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["logMAR"])
def test_a_row_has_the_sizes_of_the_table(row: dict[str, str]) -> None:
    logmar = float(row["logMAR"])
    # Half of each last printed digit.
    assert decimal_acuity(logmar) == pytest.approx(float(row["decimal"]), abs=5.1e-5)
    assert 1.0 / decimal_acuity(logmar) == pytest.approx(float(row["MAR_arcmin"]), abs=5.1e-5)
    assert snellen(logmar, 20.0) == pytest.approx(float(row["Snellen_20_over"]), abs=5.1e-2)
    assert snellen(logmar, 6.0) == pytest.approx(float(row["Snellen_6_over"]), abs=5.1e-3)
    assert ring_frequency_cpd(logmar) == pytest.approx(float(row["cpd_equiv"]), abs=5.1e-2)
    assert letters_read(logmar) == pytest.approx(float(row["ETDRS_letters=85-50*logMAR"]))
