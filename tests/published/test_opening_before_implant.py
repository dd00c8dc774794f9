"""An opening outlined before the implant is in, taken back through the cornea.

Source: tests/data/capsule_magnification.csv, ``apparent_diam_if_real_5mm``; status *computed*
(matrices and exact rays, by a program outside this project), on the cornea of Liou & Brennan 1997
scaled to each front radius: back radius = front radius × 6.40/7.77, 0.5 mm thick.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from rimwise.measure.correct import correct
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding, FoundCurves
from rimwise.records.picture import CorneaSheet, PictureLengths, PictureSheet

DATA = Path(__file__).parents[1] / "data" / "capsule_magnification.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(LINES)]
PER_MM = 60.0


def outlined(sheet: PictureSheet, diameter_mm: float, reach_deg: float = 360.0) -> CoverFinding:
    turn = np.radians(np.arange(0.0, reach_deg, 15.0))
    radius = 0.5 * diameter_mm * PER_MM
    points = np.column_stack([500 + radius * np.cos(turn), 400 - radius * np.sin(turn)])
    blank = CoverFinding(
        "f.jpg", "0", "right", sheet.state, "refused",
        curves=FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0),
    )  # fmt: skip
    told = Corrections(opening_px=tuple((float(u), float(v)) for u, v in points), sd_px=1.0)
    return correct(blank, sheet, told)


@pytest.mark.parametrize("row", ROWS[::9])
def test_the_tables_apparent_diameter_is_really_five_millimetres(row: dict[str, float]) -> None:
    front = 337.5 / row["K_1.3375_D"]
    back = front * 6.40 / 7.77
    sheet = PictureSheet(
        "right",
        state="natural",
        px_per_mm=PER_MM,
        cornea=CorneaSheet(
            radius_mm=front, posterior_flat_mm=back, posterior_steep_mm=back, thickness_um=500.0
        ),
        lengths=PictureLengths(lens_front_depth_mm=row["depth_from_vertex_mm"]),
    )
    found = outlined(sheet, row["apparent_diam_if_real_5mm"])
    assert found.opening is not None
    size = found.opening.equivalent_diameter_mm
    assert size is not None
    # Three printed decimals, and a curve through 24 points of a circle.
    assert size.value == pytest.approx(5.0, abs=2e-3)
    # Paraxial error 1.2 % and a scale read to 0.7 % make at least 0.07 mm of 5 mm.
    assert 0.06 < size.sd < 0.2
    assert found.status == "partial"
    assert found.cover is None
    assert [one.code for one in found.reasons] == ["corrected-by-hand", "before-implant"]


def test_without_a_scale_or_with_too_short_an_outline_no_size_is_told() -> None:
    bare = PictureSheet("right", state="empty-bag")
    assert outlined(bare, 5.5).status == "refused"
    assert "no-ruler" in [reason.code for reason in outlined(bare, 5.5).reasons]
    half = outlined(PictureSheet("right", state="empty-bag", px_per_mm=PER_MM), 5.5, 180.0)
    assert half.opening is not None
    assert half.opening.equivalent_diameter_mm is None
    assert 165 <= half.opening.seen_deg < 300


def test_an_emptied_bag_lies_deeper_and_looks_larger() -> None:
    natural = outlined(PictureSheet("right", state="natural", px_per_mm=PER_MM), 5.5)
    empty = outlined(PictureSheet("right", state="empty-bag", px_per_mm=PER_MM), 5.5)
    for one in (natural, empty):
        assert one.opening is not None
        assert one.opening.equivalent_diameter_mm is not None
    assert empty.opening.equivalent_diameter_mm.value < natural.opening.equivalent_diameter_mm.value
