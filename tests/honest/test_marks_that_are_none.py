"""An implant without marks, or with hidden ones, has no axis told from what lies on it.

Source: own invented pictures, whose scene says that no marks are there; the law that facing dots of
one implant have one middle is geometry.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.photos import draw_eye, draw_scene, draw_sheet
from rimwise.demo.render import render_photo
from rimwise.journey import finding_of
from rimwise.picture.raster import Raster


@pytest.mark.parametrize(
    ("level", "seed"),
    [
        (3, 5580005),  # one speck on either side, each taken for both dots of an end
        (4, 5590007),  # bubbles on one side, on the other the iris
        (4, 5590029),  # texture that is not symmetric
    ],
)
def test_specks_are_no_marks(level: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    eye = draw_eye(rng, level)
    scene = replace(draw_scene(rng, eye, level), toric_axis_deg=None, toric_marks_per_end=0)
    per_end = int(rng.integers(2, 4))
    sheet = replace(draw_sheet(rng, eye, scene), toric_marks_per_end=per_end)
    pixels, _ = render_photo(scene, rng)
    finding = finding_of(Raster(pixels), sheet, "", "")
    assert finding.status != "refused"
    assert finding.implant_toric_axis_deg is None


def test_one_mark_an_end_is_not_told_from_dust() -> None:
    """Of 13 invented implants without marks four had an axis by two facing specks."""
    rng = np.random.default_rng(12)
    eye = draw_eye(rng, 1)
    scene = replace(draw_scene(rng, eye, 1), toric_axis_deg=30.0, toric_marks_per_end=1)
    sheet = replace(draw_sheet(rng, eye, scene), toric_marks_per_end=1)
    finding = finding_of(Raster(render_photo(scene, rng)[0]), sheet, "", "")
    assert finding.status == "measured"
    assert finding.implant_toric_axis_deg is None
    assert "one-mark-an-end" in [reason.code for reason in finding.reasons]
