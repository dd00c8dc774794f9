"""Containment of a random opening against computed tables.

Sources: tests/data/containment_values.csv and containment_slack.csv, status *computed* by
independent routes outside this project (closed forms, quadrature, 4·10⁶ draws). Tolerance 1e-8,
far below anything a surgeon's spread is known to, far above rounding.
"""

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rimwise.stats.containment import (
    ContainmentSpec,
    largest_opening_mm,
    p_contained,
    p_contained_over,
    p_not_contained,
)

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[list[float]]:
    lines = [x for x in (DATA / name).read_text().splitlines() if not x.startswith("#")]
    return [[float(text) for text in row] for row in list(csv.reader(lines))[1:]]


TABLE = rows("containment_values.csv")


def spec_of(row: list[float], bias_rad: float = 0.0) -> ContainmentSpec:
    optic, mean, size_sd, sd, bias, margin = row[:6]
    turned = (bias * math.cos(bias_rad), bias * math.sin(bias_rad))
    return ContainmentSpec(optic, mean, size_sd, (sd, sd), turned, margin)


@pytest.mark.parametrize("row", TABLE)
def test_table(row):
    assert p_contained(spec_of(row)) == pytest.approx(row[6], abs=1e-8)
    assert 1.0 - p_not_contained(spec_of(row)) == pytest.approx(row[6], abs=1e-8)


@pytest.mark.parametrize("row", TABLE[::5])
def test_table_by_the_route_of_unequal_axes(row):
    """The route for unequal axes, fed with axes that differ by 1e-12, is another calculation."""
    spec = spec_of(row, bias_rad=0.9)
    sd = spec.centring_sd_mm[0]
    unequal = replace(spec, centring_sd_mm=(sd, sd * (1.0 + 1e-12)))
    assert p_contained(unequal) == pytest.approx(row[6], abs=1e-8)


@pytest.mark.parametrize("row", TABLE)
def test_the_table_agrees_with_its_own_draws(row):
    """4·10⁶ draws in the table: within 4 standard errors, or the table itself is in doubt."""
    assert abs(row[7] - row[6]) <= 4.0 * row[8] + 5e-7


@pytest.mark.parametrize("row", rows("containment_slack.csv"))
def test_largest_opening(row):
    centring, size, wanted, diameter_mm = row
    spec = ContainmentSpec(6.0, 5.0, size, (centring, centring))
    assert largest_opening_mm(spec, wanted) == pytest.approx(diameter_mm, abs=5.1e-7)


def test_unequal_axes_value():
    """[containment] anisotropic: slack 0.375, sd of the radius 0.05, bias (0.1, -0.05)."""
    spec = ContainmentSpec(6.0, 5.25, 0.1, (0.2, 0.1), (0.1, -0.05))
    assert p_contained(spec) == pytest.approx(0.8748270635, abs=5.1e-11)


def test_rayleigh_quantiles():
    """[containment] rayleigh_sigma1: median 1.1774100225, 95 % 2.4477468307, 99 % 3.0348542588."""
    for wanted, reach in ((0.5, 1.1774100225), (0.95, 2.4477468307), (0.99, 3.0348542588)):
        spec = ContainmentSpec(6.0, 6.0 - 2.0 * reach, 0.0, (1.0, 1.0))
        # The density there is at most 0.6 per unit; the quantile has ten digits.
        assert p_contained(spec) == pytest.approx(wanted, abs=1e-10)


def test_a_hundred_diameters_are_the_single_ones():
    spec = ContainmentSpec(6.0, 5.0, 0.25, (0.2, 0.15), (0.1, 0.05), 0.1)
    means = np.linspace(4.5, 5.8, 100)
    together = p_contained_over(spec, means)
    single = [p_contained(replace(spec, opening_mean_mm=mean)) for mean in means]
    # Both are quadratures good to 1e-12.
    assert together == pytest.approx(single, abs=2e-12)
