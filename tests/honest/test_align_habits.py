"""The turn and target of all practice pairs, against what a surgeon would take instead.

Source: pairs of ray traced frames with exact truth, by a program that shares nothing with this
one; it also says how far the pupil's centre, the limbus's centre and P1 themselves lie from the
target, each at its true place, as no eye could find them better.
"""

import json
import math
from functools import cache

import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.align.frame import Question, align_frame
from rimwise.align.reference import make_reference
from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.terms.errors import MeasurementRefused

TRUTHS = sorted(FOLDER.glob("pairs/*.truth.json"))
HABITS = ("pupil_centre", "limbus_centre", "p1_mean")
REFUSED = (math.inf, math.inf, False)

pytestmark = pytest.mark.skipif(not TRUTHS, reason=AWAY)


def told(stem: str, truth: dict) -> tuple[float, float, bool]:
    """Error of the turn in degrees, of the target in mm, and whether P4 was found."""
    ref, now = (FOLDER / "pairs" / f"{stem}_{which}.jpg" for which in ("ref", "now"))
    try:
        first = align_frame(load_picture(ref).raster, picture_sheet_for(ref), "ref").fixating
        sheet = picture_sheet_for(now)
        asked = Question(make_reference([first]))
        finding = align_frame(load_picture(now).raster, sheet, "now", asked).finding
    except MeasurementRefused:
        return REFUSED
    target, turn = finding.targets["visual_axis"], finding.offset.turn_deg
    if target is None or turn is None:
        return REFUSED
    shown = sheet.frame.picture_from_examiner(np.array([one.value for one in turn]))
    away_px = float(np.hypot(*(np.array(target.px) - truth["target_px"])))
    return (
        float(np.hypot(*(shown - truth["turn_deg"]))),
        away_px / finding.scale.px_per_mm.value,
        finding.reflexes["P4"] is not None,
    )


@cache
def rows() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Turn and target of every pair, whether P4 was seen, and the habits' errors."""
    truths = [json.loads(path.read_text()) for path in TRUTHS]
    ours = [
        told(path.name.removesuffix(".truth.json"), truth)
        for path, truth in zip(TRUTHS, truths, strict=True)
    ]
    habits = [[truth["habits_now"][h]["error_size_mm"] for h in HABITS] for truth in truths]
    return np.array([r[:2] for r in ours]), np.array([r[2] for r in ours]), np.array(habits)


def test_turn_and_target_are_told_where_p4_is():
    errors, seen, _ = rows()
    turn, target = errors[seen].T
    assert seen.sum() >= 12
    assert np.median(turn) <= 0.5
    assert np.quantile(turn, 0.9) <= 1.2
    assert np.median(target) <= 0.10
    assert np.quantile(target, 0.9) <= 0.25


@pytest.mark.parametrize("habit", range(len(HABITS)), ids=HABITS)
def test_the_target_is_nearer_than_by_habit(habit):
    """All pairs, refused ones as infinitely far: nearer at the middle and at the ninth tenth."""
    errors, _, habits = rows()
    for share in (0.5, 0.9):
        assert np.quantile(errors[:, 1], share) < np.quantile(habits[:, habit], share)
    nearer = int((errors[:, 1] < habits[:, habit]).sum())
    # A coin would be nearer in 17 or more of 22 pairs once in a hundred.
    assert nearer >= 0.75 * len(errors)
