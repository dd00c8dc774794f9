"""Cover of a round optic by a round opening against a computed table.

Source: tests/data/two_circles.csv, status *computed* by independent routes outside this project.
Tolerances are half the last printed digit, or what sampling in whole degrees costs.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from rimwise.geometry.cover import (
    bare_total_deg,
    circle_cover,
    cover_areas,
    cover_of_circles,
    least_cover,
)

DATA = Path(__file__).parents[1] / "data" / "two_circles.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(LINES)]
WHOLE_DEGREES = np.radians(np.arange(360.0))


@pytest.mark.parametrize("row", ROWS)
def test_closed_forms(row):
    cover = circle_cover(row["Ro"], row["Rc"], row["d"])
    assert cover.least_mm == pytest.approx(row["min"], abs=1e-12)
    assert cover.most_mm == pytest.approx(row["max"], abs=1e-12)
    assert cover.mean_mm == pytest.approx(row["mean"], abs=5.1e-9)
    assert cover.covered_deg == pytest.approx(row["covered_deg"], abs=5.1e-9)
    assert cover.outside_mm2 == pytest.approx(row["area_outside"], abs=5.1e-9)


@pytest.mark.parametrize("row", ROWS)
@pytest.mark.parametrize("towards_rad", [0.0, 1.234, 4.0])
def test_whole_degrees(row, towards_rad):
    """The measuring way, 360 widths, gives the same to what a degree can tell."""
    offset = row["d"] * np.array([np.cos(towards_rad), np.sin(towards_rad)])
    widths = cover_of_circles(row["Ro"], row["Rc"], offset, WHOLE_DEGREES)
    width, direction_deg = least_cover(widths)
    # A parabola over three degrees is good to 1e-7 mm; the direction to a thousandth of a degree.
    assert width == pytest.approx(row["min"], abs=1e-7)
    assert direction_deg == pytest.approx(np.degrees(towards_rad), abs=1e-3)
    assert np.mean(widths) == pytest.approx(row["mean"], abs=5.1e-9)
    # Linear interpolation within a degree: a hundredth of a degree.
    assert 360.0 - bare_total_deg(widths) == pytest.approx(row["covered_deg"], abs=0.01)
    areas = cover_areas(row["Ro"], widths)
    # The kinks at the ends of the bare arc cost 1e-4 mm² at steps of a degree.
    assert areas.outside_mm2 == pytest.approx(row["area_outside"], abs=1e-4)
    exact = circle_cover(row["Ro"], row["Rc"], row["d"])
    assert areas.covered_mm2 == pytest.approx(exact.covered_mm2, abs=1e-4)
