"""Plain, faint or hidden, by direction: the same in the record, in words and in the lanes."""

import numpy as np
from matplotlib.figure import Figure

from rimwise.demo.photos import draw_photo
from rimwise.exchange.results import cover_document
from rimwise.journey import finding_of
from rimwise.measure.visibility import FAINT, HIDDEN, PLAIN, degrees_by_grade, visibility
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding, FoundCurves
from rimwise.report.visibility_lanes import draw_lanes
from rimwise.report.words import visibility_words

FIRST = tuple(k < 100 for k in range(360))
HALF = tuple(k < 180 for k in range(360))
LAST = tuple(k >= 300 for k in range(360))


def graded():
    shown = {
        "opening_plain": FIRST, "opening_found": HALF, "rim_seen": HALF, "rim_hidden": LAST,
    }  # fmt: skip
    return FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0, shown=shown)


def test_each_direction_has_one_of_three_grades():
    seen = visibility(graded())
    assert degrees_by_grade(seen["opening"]) == {PLAIN: 100, FAINT: 80, HIDDEN: 180}
    assert degrees_by_grade(seen["optic"]) == {PLAIN: 180, FAINT: 120, HIDDEN: 60}
    assert visibility(FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0)) == {}


def test_words_and_lanes_say_the_same():
    finding = CoverFinding("a.jpg", "", "left", "visit", "partial", curves=graded())
    assert visibility_words(finding, "opening") == "plain 100°, faint 80°, hidden 180°"
    axes = Figure().add_subplot()
    draw_lanes(axes, finding)
    drawn = {1: 0.0, 0: 0.0}
    for line in axes.lines:
        (start, end), (row, _) = line.get_xdata(), line.get_ydata()
        drawn[int(row)] += float(end - start)
    assert drawn == {1: 180.0, 0: 300.0}  # all but what is hidden


def test_cover_is_told_only_where_both_edges_are_plain():
    pixels, _, sheet = draw_photo(np.random.default_rng(3), "medium")
    finding = finding_of(Raster(pixels), sheet, "own.png", "0" * 64)
    seen, told = cover_document(finding)["visibility"], finding.cover.width_mm
    assert [len(seen[edge]) for edge in ("opening", "optic")] == [360, 360]
    for at, width in enumerate(told):
        if width is not None:
            assert seen["opening"][at] == seen["optic"][at] == "2"
