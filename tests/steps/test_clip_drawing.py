"""The timeline of a clip draws what is told and nothing empty."""

import io

from PIL import Image

from rimwise.records.clip import ClipRow
from rimwise.report.clip_drawing import draw_timeline

ROWS = [ClipRow(k, 0.04 * k, "found", offset_mm=(0.3, 0.1)) for k in range(4)]
TURNED = [
    ClipRow(k, 0.04 * k, "found", offset_mm=(0.3, 0.1), turn_deg=(1.0, 0.5), turn_sd_deg=0.4)
    for k in range(4)
]


def tall_px(rows: list[ClipRow]) -> int:
    return Image.open(io.BytesIO(draw_timeline(rows, "a.mp4", "left"))).size[1]


def test_without_a_reference_no_empty_panel_stands_for_the_turn() -> None:
    assert tall_px(ROWS) < 0.6 * tall_px(TURNED)


def test_the_same_rows_of_the_other_eye_are_drawn_the_other_way() -> None:
    """The examiner's right is nasal in a right eye and temporal in a left eye."""
    assert draw_timeline(ROWS, "a.mp4", "left") != draw_timeline(ROWS, "a.mp4", "right")
    assert draw_timeline(ROWS, "a.mp4", "left") == draw_timeline(ROWS, "a.mp4", "left")
