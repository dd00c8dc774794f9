"""The two-surface paraxial magnification against a computed table.

Source: tests/data/capsule_magnification.csv, column ``m_two_surface_paraxial`` and
``apparent_depth_mm``; status *computed* (matrices and exact rays, by a program outside this
project). The table's cornea is that of Liou & Brennan 1997 scaled to each front radius:
back radius = front radius × 6.40/7.77, 0.5 mm thick, indices 1.376 and 1.336.
"""

import csv
from pathlib import Path

import pytest

from rimwise.eye.cornea import Cornea, cornea_seen, real_mm, seen_from_front
from rimwise.published.load import published_value
from rimwise.records.picture import CorneaSheet
from rimwise.terms.estimate import Estimate

DATA = Path(__file__).parents[1] / "data" / "capsule_magnification.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(LINES)]
HALF_A_DIGIT = 0.5e-4 * (1 + 1e-9)  # both columns are printed with four decimals


def cornea(power_dpt: float) -> Cornea:
    front_mm = 337.5 / power_dpt  # the table's head: K read with index 1.3375
    return Cornea(front_mm, front_mm * 6.40 / 7.77, 0.5, 1.376, 1.336)


def test_the_whole_table_to_its_last_digit():
    assert len(ROWS) == 56
    for row in ROWS:
        factor, depth_mm = seen_from_front(cornea(row["K_1.3375_D"]), row["depth_from_vertex_mm"])
        assert abs(factor - row["m_two_surface_paraxial"]) <= HALF_A_DIGIT, row
        assert abs(depth_mm - row["apparent_depth_mm"]) <= HALF_A_DIGIT, row


def test_the_inverse_gives_the_tables_real_diameter():
    for row in ROWS:
        factor, _ = seen_from_front(cornea(row["K_1.3375_D"]), row["depth_from_vertex_mm"])
        # three printed decimals
        assert 5.0 / factor == pytest.approx(row["real_diam_if_apparent_5mm"], abs=0.5e-3 + 1e-9)
        assert 5.0 * factor == pytest.approx(row["apparent_diam_if_real_5mm"], abs=0.5e-3 + 1e-9)


def test_the_error_of_the_paraxial_form_is_the_one_that_is_carried_as_its_sd():
    carried = published_value("cornea", "paraxial_magnification_error").sd
    for row in ROWS:
        relative = row["m_realray_5mm_ortho"] / row["m_two_surface_paraxial"] - 1.0
        # An sd must not be beaten by much: within 1.5 sd everywhere, and not idly large.
        assert 0.5 * carried < abs(relative) < 1.5 * carried


def test_mean_of_forty_eyes_lies_within_the_claimed_sd():
    """Forty eyes, chamber depth 3.28 mm, 43.534 dpt: mean magnification 1.159, SD 0.031.

    Source: an abstract on 40 eyes of 2011-2012 (authors not shown in the excerpt), *published and
    read*. It measured with a camera at a finite distance on a bared capsule, so only the claim that
    a single eye's prediction and that series agree within two of the series' SD is made.
    """
    seen = cornea_seen(CorneaSheet(radius_mm=337.5 / 43.534), 3.28)
    back = real_mm(Estimate(6.14, 0.0), seen)
    assert abs(back.value - 5.30) < 2 * 0.031 / 1.159 * 5.30
