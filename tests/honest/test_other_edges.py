"""Curves that are no opening's edge, on own pictures, are never measured as one.

Rings of a diffractive optic are concentric with it and lie on it; an opening that a laser cut lies
in the rear capsule, behind the optic, and is ragged; an optic captured in the opening stands before
its edge. The physics is in the renderer's own pictures only: what lies behind a scattering sheet
loses contrast in blue against red, what lies before it does not.
"""

import os
from functools import cache

import numpy as np
import pytest

from rimwise.demo.cases import draw_case
from rimwise.demo.photos import draw_photo
from rimwise.measure.edges import find_edges
from rimwise.measure.photograph import IN_DOUBT, finding_of_edges, measure_photograph
from rimwise.picture.raster import Raster

SEEDS = (100, 101, 102, 103, 200)  # at 200 the pupil is hardly wider than the optic
MANY = range(200, 200 + int(os.environ.get("RIMWISE_TRIALS", "60")))


@cache
def _finding(case, seed, edge_seen):
    pixels, truth, sheet = draw_case(np.random.default_rng([seed, 5]), case, edge_seen)
    return measure_photograph(Raster(pixels), sheet, picture=case, sha256=""), truth


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", ["diffractive", "laser", "captured"])
def test_another_edge_alone_is_not_measured(case, seed):
    finding, _ = _finding(case, seed, edge_seen=case == "captured")
    assert finding.status != "measured"


@pytest.mark.parametrize("seed", SEEDS)
def test_an_edge_behind_the_optic_is_said_to_be_so(seed):
    for case, edge_seen in (("captured", True), ("laser", False)):
        finding, _ = _finding(case, seed, edge_seen)
        assert finding.status == "refused"
        assert finding.opening.edge_before_optic is False
        assert finding.opening.edge_px == (None,) * 360
        assert finding.reasons[0].code == "edge-behind-optic"
        assert finding.curves.opening is None


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", ["diffractive", "laser"])
def test_the_opening_is_measured_beside_another_edge(case, seed):
    finding, truth = _finding(case, seed, edge_seen=True)
    assert finding.status == "measured"
    width = np.array([np.nan if w is None else w for w in finding.cover.width_mm])
    # The other edges lie half a millimetre and more away; where the edge crosses the rim the two
    # lines draw each other by some hundredths.
    assert np.nanmedian(np.abs(width - truth.cover_mm)) < 0.02
    assert np.nanmax(np.abs(width - truth.cover_mm)) < 0.15


def test_an_edge_that_may_lie_behind_the_optic_is_not_measured():
    pixels, _, sheet = draw_photo(np.random.default_rng([3, 55]), "easy")
    edges = find_edges(Raster(pixels), sheet)
    assert edges.before_optic
    doubtful = finding_of_edges(edges, sheet, "", "", doubt=IN_DOUBT)
    assert doubtful.status == "partial"
    assert doubtful.opening.equivalent_diameter_mm is None
    assert doubtful.cover.min_mm is None
    assert "order-not-told" in {reason.code for reason in doubtful.reasons}


def _worst_mm(finding, truth):
    """Return the largest error of the cover that is claimed; 0 where none is."""
    if finding.cover is None:
        return 0.0
    width = np.array([np.nan if w is None else w for w in finding.cover.width_mm])
    return float(np.nanmax(np.abs(width - truth.cover_mm), initial=0.0))


@pytest.mark.parametrize(("seed", "level"), [(3013, 1), (3014, 1), (3005, 3), (3016, 3)])
def test_of_two_edges_as_plain_as_each_other_the_one_before_the_optic_is_taken(seed, level):
    pixels, truth, sheet = draw_case(np.random.default_rng([seed, 5]), "laser", True, level)
    finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
    assert finding.status != "refused"
    assert finding.opening.edge_before_optic is True
    assert _worst_mm(finding, truth) < 0.15
    # The record says which curves were compared and why the choice fell.
    (second,) = [reason for reason in finding.reasons if reason.code == "second-edge"]
    assert "inside of the one" in second.sentence
    assert "shows through" in second.sentence


def test_where_two_edges_cross_neither_is_claimed():
    pixels, truth, sheet = draw_case(np.random.default_rng([3008, 5]), "laser", True, 3)
    finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
    assert finding.status == "partial"
    assert _worst_mm(finding, truth) < 0.15


def test_an_edge_as_far_inside_as_a_lasers_whose_order_is_not_told_is_refused():
    pixels, _, sheet = draw_case(np.random.default_rng([3022, 5]), "diffractive", False, 3)
    finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
    assert finding.status == "refused"


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("level", [1, 3, 5])
@pytest.mark.parametrize("case", ["diffractive", "laser", "captured"])
def test_of_many_pictures_none_is_measured_at_another_edge(case, level):
    wrong = []
    for seed in MANY:
        for edge_seen in (True, False):
            rng = np.random.default_rng([seed, 5])
            pixels, truth, sheet = draw_case(rng, case, edge_seen, level)
            finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
            another = case == "captured" or not edge_seen or _worst_mm(finding, truth) > 0.2
            if finding.status == "measured" and another:
                wrong.append((seed, edge_seen))
    assert wrong == []


@pytest.mark.parametrize("level", [1, 2, 3])
def test_an_opening_before_the_optic_is_never_said_to_be_behind(level):
    for seed in range(4):
        pixels, _, sheet = draw_photo(np.random.default_rng([seed, 55]), level)
        finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
        assert "edge-behind-optic" not in {reason.code for reason in finding.reasons}


@pytest.mark.parametrize("level", [3, 4])
def test_the_shadow_of_the_iris_beyond_the_rim_is_no_edge(level):
    # The opening's edge lies behind the iris over a wide arc and the optic is bare there.
    pixels, truth, sheet = draw_photo(np.random.default_rng([20014, 77]), level)
    assert truth.least_cover[0] < -0.2
    finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
    assert finding.status == "partial"
    assert finding.opening.equivalent_diameter_mm is None


def test_a_short_piece_of_the_rim_off_the_edges_course_is_no_edge():
    # The opening's edge runs well inside the rim on both sides of a gap; the rim shows within it.
    pixels, truth, sheet = draw_photo(np.random.default_rng([20025, 77]), 2)
    finding = measure_photograph(Raster(pixels), sheet, picture="", sha256="")
    assert finding.status == "partial"
    told = np.array([np.nan if w is None else w for w in finding.cover.width_mm])
    assert np.nanmax(np.abs(told - np.asarray(truth.cover_mm))) < 0.2
