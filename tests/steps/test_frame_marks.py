"""The drawing of a frame: names stay apart, the close-up holds what it names, sides are right."""

import io
import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from rimwise.picture.raster import Raster
from rimwise.records.cover import EllipsePx
from rimwise.records.frame import (
    CornealMark,
    FrameFinding,
    OffsetFinding,
    ReflexFinding,
    RingFinding,
    TargetFinding,
)
from rimwise.records.picture import PictureSheet
from rimwise.report.frame_drawing import draw_frame
from rimwise.report.frame_marks import close_up_of, label_lines
from rimwise.report.frame_words import frame_rows
from rimwise.terms.estimate import Estimate

RASTER = Raster(np.full((480, 640, 3), 120, dtype=np.uint8))
FOUND = FrameFinding(
    "f.jpg",
    "left",
    "natural",
    "measured",
    reflexes={
        "P1": ReflexFinding(((300.0, 200.0), (310.0, 205.0)), 0.2),
        "P3": ReflexFinding(((420.0, 120.0), None), 2.0),
        "P4": ReflexFinding(((340.0, 250.0), (330.0, 245.0)), 0.4),
    },
    pupil=RingFinding(EllipsePx(320.0, 230.0, 150.0, 148.0, 0.0), 0.5, 340),
    targets={"visual_axis": TargetFinding((320.0, 235.0), None, None, (4.0, 4.0, 0.0))},
    offset=OffsetFinding(
        turn_deg=(Estimate(1.0, 0.4), Estimate(-2.0, 0.4)), ghost_px=((360.0, 260.0),)
    ),
)


@given(st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=7))
def test_names_never_touch_and_stay_inside(wanted: list[float]) -> None:
    """Own derivation: pushed down in order, then up from the lower border."""
    lines = label_lines(sorted(wanted), 0.12)
    assert all(b - a >= 0.12 - 1e-9 for a, b in itertools.pairwise(lines))
    assert all(-1.0 < line < 1.0 for line in lines)


def test_the_close_up_holds_reflexes_ghost_and_target_but_not_the_far_one() -> None:
    part = close_up_of(RASTER, FOUND)
    assert part is not None
    (u, v), reach = part.middle_px, part.reach_px
    for x, y in ((300, 200), (340, 250), (360, 260), (320, 235)):
        assert abs(x - u) < 0.95 * reach
        assert abs(y - v) < 0.95 * reach
    assert abs(420 - u) > reach or abs(120 - v) > reach


def test_a_drawing_is_the_same_each_time_and_tall_enough_for_its_rows() -> None:
    sheet = PictureSheet(side="left", code="E-5")
    once = draw_frame(RASTER, FOUND, sheet)
    assert once == draw_frame(RASTER, FOUND, sheet)
    assert Image.open(io.BytesIO(once)).size[0] > 1200


def test_the_mark_on_the_cornea_is_told_by_the_side_of_the_eye() -> None:
    """In a left eye as the examiner sees it, +x (the examiner's right) is temporal."""
    mark = CornealMark("visual_axis", (1.0, 1.0), (0.3, -0.2), 5.4, 0.06)
    told = {
        side: {
            label: (value, note)
            for label, value, note in frame_rows(
                FrameFinding("f.jpg", side, "natural", "measured", corneal_mark=mark)
            )
        }["mark on the cornea"]
        for side in ("left", "right")
    }
    assert told["left"][0] == "0.30 mm temporal, 0.20 mm down of P1"
    assert told["right"][0] == "0.30 mm nasal, 0.20 mm down of P1"
    assert "ring of 5.4 mm" in told["left"][1]
