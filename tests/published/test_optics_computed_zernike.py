"""Zernike modes against tabulated values and closed forms.

Source: tests/data/zernike_reference.csv and the tables named at each check; status *computed*, each
file's head says how.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from rimwise.optics.pupil_change import change_pupil, continue_pupil
from rimwise.optics.zernike import Wavefront, basis, mode_count, number_of

DATA = Path(__file__).parents[1] / "data"


def _rows(name: str) -> list[dict[str, str]]:
    text = [line for line in (DATA / name).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(text))


def test_values_of_every_mode_to_order_six() -> None:
    """zernike_reference.csv: ten decimals are printed."""
    places = {
        "Z(0.7;30deg)": (0.7, 30.0),
        "Z(0.35;200deg)": (0.35, 200.0),
        "Z(1;45deg)": (1.0, 45.0),
    }
    rows = _rows("zernike_reference.csv")
    assert len(rows) == mode_count(6)
    for row in rows:
        j = number_of(int(row["n"]), int(row["m"]))
        assert j == int(row["j_ANSI"])
        for column, (r, degrees) in places.items():
            t = math.radians(degrees)
            value = basis(6, r * math.cos(t), r * math.sin(t))[j]
            assert value == pytest.approx(float(row[column]), abs=6e-11)


def test_a_shifted_z40_has_the_closed_forms_and_the_table() -> None:
    """decentred_z40.csv prints five decimals; the closed forms hold to 1e-9."""
    for row in _rows("decentred_z40.csv"):
        c40, a, d = (float(row[k]) for k in ("c40_um", "pupil_radius_mm", "shift_mm"))
        ball = Wavefront(np.eye(15)[12] * c40, a)
        # A polynomial continued beyond its pupil: the closed forms speak of equal radii.
        moved = continue_pupil(ball, a, (d, 0.0))
        expected = {
            (3, 1): 2.0 * math.sqrt(10.0) * (d / a) * c40,
            (2, 2): 2.0 * math.sqrt(30.0) * (d / a) ** 2 * c40,
            (2, 0): 4.0 * math.sqrt(15.0) * (d / a) ** 2 * c40,
            (4, 0): c40,
        }
        for (n, m), value in expected.items():
            assert moved.coefficient_um(n, m) == pytest.approx(value, abs=1e-9)
        printed = [float(v) for k, v in row.items() if k.startswith("c") and "=" in k]
        for (mode, value), shown in zip(expected.items(), printed, strict=False):
            assert value == pytest.approx(shown, abs=6e-6), mode


def test_a_smaller_pupil_scales_z40_by_its_fourth_power() -> None:
    """Closed form: c40' = η⁴ c40 and c20' = √15 η² (η² - 1) c40 (own derivation by hand)."""
    part = change_pupil(Wavefront(np.eye(15)[12] * 0.3, 3.0), 2.0)
    eta = 2.0 / 3.0
    assert part.coefficient_um(4, 0) == pytest.approx(0.3 * eta**4, abs=1e-12)
    expected = math.sqrt(15.0) * eta**2 * (eta**2 - 1.0) * 0.3
    assert part.coefficient_um(2, 0) == pytest.approx(expected, abs=1e-12)
