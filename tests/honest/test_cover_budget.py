"""The budget of ±: parts add up, sources act where they must, a wider source dominates."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from rimwise.measure.budget import SOURCES, cover_budget
from rimwise.measure.correct import correct
from rimwise.measure.opening_size import opening_from_optic
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding, FoundCurves
from rimwise.records.cover_budget import NumberBudget
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

SHEET = PictureSheet(side="right", optic_diameter_mm=6.0)


def by_hand(sheet: PictureSheet, opening_count: int = 24) -> CoverFinding:
    """A measurement by hand of two circles: 5 mm in 6 mm, 100 px a millimetre."""

    def ring(radius: float, count: int) -> tuple[tuple[float, float], ...]:
        turn = np.radians(np.arange(count) * 360.0 / count)
        points = np.column_stack([500 + radius * np.cos(turn), 400 - radius * np.sin(turn)])
        return tuple((float(u), float(v)) for u, v in points)

    curves = FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0)
    blank = CoverFinding("eye.jpg", "0", "right", "visit", "refused", curves=curves)
    told = Corrections(ring(250.0, opening_count), ring(300.0, 24), sd_px=2.0)
    return correct(blank, sheet, told)


def number(finding: CoverFinding, sheet: PictureSheet, name: str) -> NumberBudget:
    return next(one for one in cover_budget(finding, sheet).numbers if one.name == name)


def test_the_budget_is_of_the_numbers_that_were_given() -> None:
    finding = by_hand(SHEET)
    assert finding.cover is not None
    assert finding.opening is not None
    assert finding.cover.min_mm is not None
    for name, told in (
        ("least_cover_mm", finding.cover.min_mm),
        ("area_percent", finding.cover.area_percent),
        ("equivalent_diameter_mm", finding.opening.equivalent_diameter_mm),
    ):
        assert told is not None
        assert number(finding, SHEET, name).sd == pytest.approx(told.sd, rel=1e-6)


@pytest.mark.parametrize("name", ["mean_cover_mm", "opening_from_optic_nasal_mm", "area_mm2"])
def test_parts_of_a_linear_number_add_in_squares(name: str) -> None:
    one = number(by_hand(SHEET), SHEET, name)
    squares = sum(sd**2 for _, sd in one.parts)
    # 800 draws: each sd is known to 2.5 %, and chance correlations of sources add as much.
    assert np.sqrt(squares) == pytest.approx(one.sd, rel=0.1)
    assert {source for source, _ in one.parts} == set(SOURCES)
    assert list(one.parts) == sorted(one.parts, key=lambda part: -part[1])


def test_the_optics_own_diameter_scales_and_never_shifts() -> None:
    wide = replace(SHEET, optic_diameter_sd_mm=0.2)
    finding = by_hand(wide)
    size = number(finding, wide, "equivalent_diameter_mm")
    assert size.dominant == "optic-diameter"
    # Arithmetic: 5 mm of a 6 mm optic known to 0.2 mm are known to 0.2 x 5/6 mm by it alone.
    assert dict(size.parts)["optic-diameter"] == pytest.approx(0.2 * 5 / 6, rel=0.08)
    shift = number(finding, wide, "opening_from_optic_nasal_mm")
    assert dict(shift.parts)["optic-diameter"] < 0.001
    exact = replace(SHEET, optic_diameter_sd_mm=0.0)
    assert dict(number(finding, exact, "area_mm2").parts)["optic-diameter"] == 0.0
    assert finding.cover is not None
    given = finding.cover.given_optic["equivalent_diameter_mm"]
    rest = dict(size.parts) | {"optic-diameter": 0.0}
    assert given.sd == pytest.approx(np.sqrt(sum(sd**2 for sd in rest.values())), rel=0.1)


def test_tilt_and_gap_shift_the_opening_and_do_not_resize_it() -> None:
    budget = cover_budget(by_hand(SHEET), SHEET)
    for source in ("tilt", "plane-gap"):
        assert budget.alike[source] < 0.01
    assert budget.alike["optic-diameter"] > 0.9
    # A shift along x is felt at 0° and not at 90°: the usual view is temporal.
    assert budget.width_sd_mm["plane-gap"][0] > 10.0 * budget.width_sd_mm["plane-gap"][90]


def test_a_hidden_part_shows_in_its_directions() -> None:
    gap = replace(by_hand(SHEET).correction.told, hidden_opening_deg=((30.0, 80.0),))
    budget = cover_budget(correct(by_hand(SHEET), SHEET, gap), SHEET)
    hidden = budget.width_sd_mm["hidden-part"]
    assert hidden[200] == 0.0
    assert hidden[55] > 0.005


def test_a_partial_picture_has_a_budget_by_direction_alone() -> None:
    told = by_hand(SHEET).correction.told
    half = correct(by_hand(SHEET), SHEET, replace(told, hidden_opening_deg=((0.0, 90.0),)))
    assert half.status == "partial"
    budget = cover_budget(half, SHEET)
    assert budget.numbers == ()
    assert len(budget.width_sd_mm["tilt"]) == 360


def test_a_refused_picture_has_none() -> None:
    blank = CoverFinding("eye.jpg", "0", "right", "visit", "refused")
    with pytest.raises(WrongInput, match="budget"):
        cover_budget(blank, SHEET)


def with_edge(radii_px: FloatArray) -> CoverFinding:
    """The two circles with this edge, as if the program had found it."""
    first = by_hand(SHEET)
    assert first.curves is not None
    assert first.curves.opening is not None
    opening = replace(first.curves.opening, radius_px=tuple(float(r) for r in radii_px))
    bare = replace(first, curves=replace(first.curves, opening=opening), correction=None)
    # An arc of no width takes nothing away.
    return correct(bare, SHEET, Corrections(hidden_optic_deg=((10.0, 10.0),)))


def test_a_rough_edge_widens_the_sd_of_circularity() -> None:
    """A tag that half as many waves would smooth away is not known to be shape: own derivation."""
    turn = np.radians(np.arange(360.0))
    tag = 250.0 + 12.0 * np.exp(-0.5 * ((np.degrees(turn) - 90.0) / 6.0) ** 2)
    smooth = with_edge(np.full(360, 250.0)).opening
    rough = with_edge(tag).opening
    assert smooth is not None
    assert smooth.circularity is not None
    assert rough is not None
    assert rough.circularity is not None
    assert rough.circularity.sd > 2.0 * smooth.circularity.sd
    # Truth of the tagged curve, by its own fine polygon.
    x, y = tag * np.cos(turn), tag * np.sin(turn)
    area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    length = np.hypot(np.diff(x, append=x[0]), np.diff(y, append=y[0])).sum()
    truth = 4.0 * np.pi * area / length**2
    assert abs(rough.circularity.value - truth) < 2.0 * rough.circularity.sd


def test_twice_the_sd_of_the_openings_place_holds_what_a_reader_expects() -> None:
    """A gap times a view has long tails: 1.96 sd of such a product hold less than 95 % of it."""
    normal = np.random.default_rng(5).normal(size=(800, 3))
    x, y = 0.01 * normal[:, 0], 0.01 * normal[:, 1] * normal[:, 2]
    turn = np.radians(np.arange(360.0))
    radii = 2.5 + x[:, None] * np.cos(turn) + y[:, None] * np.sin(turn)
    law = SimpleNamespace(radius_mm=np.full(360, 2.5), draws_mm=3.0 - radii)
    told = opening_from_optic(law, 3.0, "right", 0.0)
    assert np.mean(np.abs(y) < 1.96 * y.std()) < 0.945
    assert np.mean(np.abs(y) < 1.97 * told.y_mm.sd) >= 0.95
    assert told.x_mm.sd == pytest.approx(x.std(), rel=0.03)
