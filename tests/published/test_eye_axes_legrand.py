"""Where the visual axis crosses Le Grand's eye against a computed table.

Source: tests/data/visual_axis_crossings_legrand.csv, status *computed* (paraxial, by a program
outside this project; the reflex and the pupil in closed form).
"""

import csv
import math
from pathlib import Path

import pytest

from rimwise.eye.axes import eye_axes, fovea_mm, paraxial_visual_axis_mm
from rimwise.eye.schematic import schematic_model
from rimwise.published.eyes import schematic_eye

DATA = Path(__file__).parents[1] / "data" / "visual_axis_crossings_legrand.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(LINES)]
EYE = schematic_model(schematic_eye("legrand"))
HALF_A_DIGIT = 0.51e-4  # four printed decimals


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['angle_from_optical_axis_deg']:g}")
def test_crossings(row):
    angle = row["angle_from_optical_axis_deg"]
    cornea, capsule = paraxial_visual_axis_mm(EYE, math.radians(angle))
    column = "visual_axis_at_corneal_plane_mm_paraxial"
    assert cornea == pytest.approx(row[column], abs=HALF_A_DIGIT)
    # The capsule's column is called paraxial but grows faster than the angle: at 1 degree it is
    # the linear form to its last digit, at 8 degrees 1.1 % more than the linear and 0.8 % more
    # than the exact ray. What it holds beyond 1 degree is not known; it is no gate there.
    if angle == 1.0:
        assert capsule == pytest.approx(
            row["visual_axis_at_capsule_plane_real_mm_paraxial"], abs=HALF_A_DIGIT
        )
    assert 7.8 * math.sin(math.radians(angle)) == pytest.approx(
        row["P1_from_optical_axis_mm"], abs=HALF_A_DIGIT
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['angle_from_optical_axis_deg']:g}")
def test_the_chord_from_p1_to_the_apparent_pupil_by_trace(row):
    angle = row["angle_from_optical_axis_deg"]
    axes = eye_axes(EYE, fovea_mm(EYE, (angle, 0.0)))
    # Exact rays through the cornea look 0.1 % beside the closed form at 8 degrees, and the nodal
    # ray itself turns by 0.003 degrees (0.00025 mm).
    assert -axes.chord_mu_mm[0] == pytest.approx(
        row["P1_to_apparent_pupil_centre_mm_coaxial_view"], abs=6e-4
    )
    assert axes.visual.direction_deg[0] == pytest.approx(angle, abs=0.005)
    assert axes.visual.at_cornea_mm[0] == pytest.approx(
        row["visual_axis_at_corneal_plane_mm_paraxial"], rel=0.006
    )
