"""Which curves were compared for the opening's edge, and why: in the record, in words, drawn."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rimwise.demo.cases import draw_case
from rimwise.demo.photos import draw_photo
from rimwise.exchange.curves import curves_document, curves_from
from rimwise.journey import corrected_finding, finding_of, with_budget
from rimwise.picture.raster import Raster
from rimwise.records.corrections import Corrections
from rimwise.report.budget_words import curve_rows
from rimwise.report.cover_drawing import draw_cover
from rimwise.report.second_drawing import second_legend


@cache
def two_edges():
    """The front opening before the optic, and a laser's in the rear capsule, both plain."""
    pixels, truth, sheet = draw_case(np.random.default_rng([3014, 5]), "laser", True, 1)
    return Raster(pixels), truth, sheet, finding_of(Raster(pixels), sheet, "two.png", "0" * 64)


def test_the_edge_not_taken_is_kept_with_its_course():
    finding = two_edges()[3]
    second = finding.curves.second
    assert second.counted
    assert second.inward_share > 0.0
    told = np.array([r is not None for r in second.radius_px])
    assert int(told.sum()) == pytest.approx(second.found_deg, abs=4)  # of 720 rounded to 360
    # It runs inside of the one taken wherever both were found.
    taken = np.asarray(finding.curves.opening.radius_px)
    other = np.array([np.nan if r is None else r for r in second.radius_px])
    assert np.nanmean(other < taken) > 0.9


def test_words_say_which_were_compared_and_why():
    raster, _, sheet, finding = two_edges()
    taken, other = curve_rows(finding)
    assert "shows through" in taken.note
    assert "inside" in other.value
    assert other.note == "a second edge"
    assert "Dash-dotted" in second_legend(finding)
    without = replace(finding, curves=replace(finding.curves, second=None))
    assert draw_cover(raster, finding, sheet) != draw_cover(raster, without, sheet)
    assert with_budget(finding, sheet).curves.second == finding.curves.second


def test_a_single_edge_has_no_second_that_counts():
    pixels, _, sheet = draw_photo(np.random.default_rng(3), "easy")
    finding = finding_of(Raster(pixels), sheet, "one.png", "0" * 64)
    assert "second-edge" not in [reason.code for reason in finding.reasons]
    second = finding.curves.second
    assert second is None or not second.counted
    assert curve_rows(finding)[0].value.startswith("stands out over")
    assert curve_rows(finding)[0].note


def test_it_is_read_back_and_a_readers_own_curve_takes_its_place():
    _, _, sheet, finding = two_edges()
    read = curves_from(curves_document(finding.curves))
    assert read.second.found_deg == finding.curves.second.found_deg
    assert read.second.radius_px[10] == pytest.approx(finding.curves.second.radius_px[10], abs=1e-4)
    by_hand = corrected_finding(finding, sheet, Corrections(hidden_opening_deg=((0.0, 30.0),)))
    assert by_hand.curves.second is None
    assert by_hand.correction.found.second is not None
    assert len(curve_rows(by_hand)) == 1
