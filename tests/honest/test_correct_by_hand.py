"""Corrections by hand against known circles: the fit passes through the points, its ± is true."""

import time
from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.photos import PhotographedEye, opening_against_optic
from rimwise.demo.scene import RoundShape
from rimwise.measure.correct import correct
from rimwise.records.corrections import Corrections
from rimwise.records.cover import (
    CoverFinding,
    EllipsePx,
    FoundCurves,
    FoundOpening,
    FoundRim,
)
from rimwise.records.picture import CorneaSheet, Lamps, PictureSheet
from rimwise.terms.errors import WrongInput

SHEET = PictureSheet(side="right", optic_diameter_mm=6.0)
CENTRE = np.array([640.0, 480.0])
RIM_PX, OPENING_PX = 300.0, 250.0  # 0.01 mm a pixel
PER_PX = 0.01


def ring(radius: float, count: int, start_deg: float = 0.0, shift=(0.0, 0.0)):
    turn = np.radians(start_deg + np.arange(count) * 360.0 / count)
    points = CENTRE + shift + radius * np.stack([np.cos(turn), -np.sin(turn)], axis=-1)
    return tuple((float(u), float(v)) for u, v in points)


def blank() -> CoverFinding:
    curves = FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0)
    return CoverFinding("eye.jpg", "0", "right", "visit", "refused", curves=curves)


def found(opening_px=OPENING_PX, rim_px=RIM_PX) -> CoverFinding:
    """A finding whose curves are two circles, found all round."""
    every = (True,) * 360
    curves = FoundCurves(
        right_px=(1.0, 0.0),
        up_px=(0.0, -1.0),
        px=1.0,
        rim=FoundRim(
            EllipsePx(*CENTRE, rim_px, rim_px, 0.0),
            tuple(tuple(row) for row in np.diag([0.3, 0.5, 0.5, 0.3, 0.3]) ** 2),
        ),
        opening=FoundOpening((opening_px,) * 360, 0.5),
        shown={
            "rim_seen": every, "rim_hidden": (False,) * 360, "opening_found": every,
            "opening_plain": every, "opening_hidden": (False,) * 360,
        },
    )  # fmt: skip
    bare = CoverFinding("eye.jpg", "0", "right", "visit", "measured", curves=curves)
    # An arc of no width takes nothing away: all numbers come from the curves.
    return correct(bare, SHEET, Corrections(hidden_opening_deg=((10.0, 10.0),)))


def diameter(finding) -> float:
    return finding.opening.equivalent_diameter_mm.value


def test_points_in_agreement_confirm_the_found_edge() -> None:
    first = found()
    told = correct(first, SHEET, Corrections(opening_px=ring(OPENING_PX, 12), sd_px=2.0))
    assert diameter(told) == pytest.approx(diameter(first), abs=1e-3)
    assert told.cover.assessable_deg == 360


def test_a_contradicted_edge_gives_way_where_the_points_are() -> None:
    # Points 20 px (0.2 mm) outside the found edge, from 60° to 120°.
    turn = np.radians(np.arange(60, 121, 15))
    points = CENTRE + (OPENING_PX + 20.0) * np.stack([np.cos(turn), -np.sin(turn)], axis=-1)
    told = correct(
        found(), SHEET, Corrections(opening_px=tuple(map(tuple, points.tolist())), sd_px=1.0)
    )
    before, after = np.array(found().cover.width_mm), told.cover.width_mm
    for degree in (60, 75, 90, 105, 120):
        # Within 1.5 px of each point: its own sd of 1 px and the curve's stiffness.
        assert before[degree] - after[degree] == pytest.approx(20 * PER_PX, abs=1.5 * PER_PX)
    assert after[270] == pytest.approx(before[270], abs=1e-6)
    assert told.correction.found.opening.radius_px[90] == OPENING_PX
    assert told.curves.opening.radius_px[90] == pytest.approx(OPENING_PX + 20.0, abs=1.5)


def test_beside_a_lone_contradicting_point_nothing_is_claimed() -> None:
    point = ((float(CENTRE[0]), float(CENTRE[1] - OPENING_PX - 25.0)),)
    told = correct(found(), SHEET, Corrections(opening_px=point, sd_px=1.0))
    assert told.cover.width_mm[90] is not None
    assert told.cover.width_mm[80] is None
    assert told.cover.width_mm[100] is None


@pytest.mark.parametrize("out_mm", [-0.5, -0.25, 0.2, 0.35, 0.5])
@pytest.mark.parametrize("sd_mm", [0.01, 0.05])
def test_the_curve_follows_a_lone_point_however_far_it_is_pulled(out_mm, sd_mm) -> None:
    """A hand sees a tag or a tear there: where it points, the curve goes, within the point's ±."""
    point = ((float(CENTRE[0]), float(CENTRE[1] - OPENING_PX - out_mm / PER_PX)),)
    told = correct(found(), SHEET, Corrections(opening_px=point, sd_px=sd_mm / PER_PX))
    before, after = found().cover.width_mm[90], told.cover.width_mm[90]
    assert abs(before - after - out_mm) <= 1.96 * sd_mm
    assert told.cover.sd_mm[90] <= 2.0 * sd_mm + found().cover.sd_mm[90]
    assert told.cover.width_mm[270] == pytest.approx(found().cover.width_mm[270], abs=1e-6)


def moved(at_deg, out_mm):
    """Points that far outside of the found edge, in these directions."""
    turn = np.radians(np.asarray(at_deg, dtype=float))
    radius = OPENING_PX + np.asarray(out_mm) / PER_PX
    points = CENTRE + (radius * np.stack([np.cos(turn), -np.sin(turn)])).T
    return tuple((float(u), float(v)) for u, v in points)


def far(finding) -> list[str]:
    return [one.sentence for one in finding.reasons if one.code == "point-far-off"]


@pytest.mark.parametrize("out_mm", [-2.0, -1.0, -0.4, 0.4, 1.0, 2.0])
def test_a_lone_point_far_from_a_well_seen_edge_is_followed_and_told(out_mm) -> None:
    """Which point, where, how far; beyond three sd of the roughest edge there is no size."""
    points = (*ring(OPENING_PX, 4, 10.0), *moved([90.0], [out_mm]))
    told = correct(found(), SHEET, Corrections(opening_px=points))
    (words,) = far(told)
    u, v = points[4]
    assert f"Point 5 of those on the opening's edge, at ({u:g}, {v:g})" in words
    assert f"{abs(out_mm):.2f} mm {'inside' if out_mm < 0.0 else 'outside'}" in words
    # The hand has the last word: within its own ± of 0.05 mm the curve runs through the point.
    went = found().cover.width_mm[90] - told.cover.width_mm[90]
    assert went == pytest.approx(out_mm, abs=0.1)
    beyond = abs(out_mm) > 3.0 * 0.16 * 3.0
    assert (told.opening.equivalent_diameter_mm is None) == beyond
    assert ("size-not-told" in {one.code for one in told.reasons}) == beyond


def test_points_that_depart_together_are_no_slip() -> None:
    """A tag in three points, an arc in five, clicks as they scatter: nothing is called far."""
    tag = correct(found(), SHEET, Corrections(opening_px=moved([86, 90, 94], [-0.7, -1, -0.7])))
    arc = correct(found(), SHEET, Corrections(opening_px=moved(range(60, 121, 15), [0.4] * 5)))
    assert far(tag) == far(arc) == []
    rng, called = np.random.default_rng(11), 0
    for _ in range(30):
        at = np.arange(12) * 30.0 + rng.uniform(-5.0, 5.0)
        points = moved(at, rng.normal(0.0, 0.05, 12))
        optic = np.asarray(ring(RIM_PX, 12)) + rng.normal(0.0, 5.0, (12, 2))
        both = Corrections(opening_px=points, optic_px=tuple(map(tuple, optic.tolist())))
        called += len(far(correct(found(), SHEET, both)))
        called += len(far(correct(blank(), SHEET, both)))
    # Five sd: one click in two million.
    assert called == 0


def test_a_slip_among_points_where_nothing_was_found_is_told() -> None:
    opening, optic = list(ring(OPENING_PX, 12)), list(ring(RIM_PX, 12))
    opening[4] = (opening[4][0], opening[4][1] + 100.0)
    first = correct(blank(), SHEET, Corrections(opening_px=tuple(opening), optic_px=tuple(optic)))
    assert ["Point 5" in words for words in far(first)] == [True]
    optic[0] = (optic[0][0] + 60.0, optic[0][1])
    both = correct(blank(), SHEET, Corrections(opening_px=ring(250, 12), optic_px=tuple(optic)))
    (words,) = far(both)
    assert "Point 1 of those on the optic's edge" in words
    assert "outside" in words


@pytest.mark.parametrize("at", [[90], [80, 90, 100], [84, 87, 90, 93, 96], [0, 90, 180, 270]])
def test_no_smallest_width_is_told_that_exceeds_the_circle_of_equal_area(at) -> None:
    """Jaws pass over what hangs in: such a width is none of what lies open."""
    withheld = 0
    for out_mm in np.arange(-2.0, 2.01, 0.25):
        points = moved(at, [out_mm] * len(at))
        told = correct(found(), SHEET, Corrections(opening_px=points))
        opening = told.opening
        assert (opening.equivalent_diameter_mm is None) == (told.status != "measured")
        if opening.smallest_width_mm is not None:
            assert opening.smallest_width_mm.value <= opening.equivalent_diameter_mm.value
        elif told.status == "measured":
            withheld += 1
            assert "smallest-width-not-told" in {one.code for one in told.reasons}
    assert withheld or len(at) == 4


def test_hidden_arcs_are_left_blank() -> None:
    told = correct(
        found(), SHEET, Corrections(hidden_opening_deg=((350.0, 20.0),), who="R-2", when="today")
    )
    assert all(told.cover.width_mm[k] is None for k in (350, 355, 0, 20))
    assert told.cover.width_mm[25] is not None
    assert "R-2" in told.reasons[0].sentence
    assert told.reasons[0].code == "corrected-by-hand"
    half = correct(found(), SHEET, Corrections(hidden_opening_deg=((0.0, 90.0),)))
    assert half.status == "partial"
    assert half.opening.equivalent_diameter_mm is None
    rim = correct(found(), SHEET, Corrections(hidden_optic_deg=((100.0, 140.0),)))
    assert rim.cover.width_mm[120] is None
    assert rim.optic.seen_deg == 360 - 41


def test_swapped_curves() -> None:
    wrong = found(opening_px=RIM_PX, rim_px=OPENING_PX)
    assert wrong.cover.mean_mm.value < 0.0
    told = correct(wrong, SHEET, Corrections(swap=True))
    assert diameter(told) == pytest.approx(diameter(found()), abs=0.01)
    assert told.optic.ellipse_px.a == pytest.approx(RIM_PX, abs=0.1)


def test_a_false_rim_gives_way_to_points() -> None:
    wrong = found(rim_px=1.1 * RIM_PX)
    told = correct(
        wrong, SHEET, Corrections(optic_px=ring(RIM_PX, 12, shift=(6.0, -4.0)), sd_px=1.0)
    )
    ellipse = told.optic.ellipse_px
    assert (ellipse.cx, ellipse.cy) == pytest.approx((646.0, 476.0), abs=0.5)
    assert np.sqrt(ellipse.a * ellipse.b) == pytest.approx(RIM_PX, abs=0.6)


def test_too_few_points_refuse() -> None:
    few = correct(blank(), SHEET, Corrections(optic_px=ring(RIM_PX, 4), opening_px=ring(250, 12)))
    assert few.status == "refused"
    assert few.reasons[0].code == "points-few"
    arc = ring(RIM_PX, 36)[:6]
    side = correct(blank(), SHEET, Corrections(optic_px=arc, opening_px=ring(250, 12)))
    assert side.reasons[0].code == "optic-points-few"
    sparse = correct(blank(), SHEET, Corrections(optic_px=ring(RIM_PX, 9), opening_px=ring(250, 5)))
    assert sparse.reasons[0].code == "opening-points-few"


@pytest.mark.parametrize(
    "told",
    [
        Corrections(optic_px=ring(RIM_PX, 9)),
        Corrections(opening_px=ring(OPENING_PX, 9)),
        Corrections(optic_px=ring(RIM_PX, 4), opening_px=ring(OPENING_PX, 9), who="R-2"),
    ],
)
def test_a_refusal_says_why_before_what_the_hand_did_and_may_do(told) -> None:
    """Reason, then the better photograph, then the way by hand (own rule: CONTRIBUTING 7)."""
    refused = correct(blank(), SHEET, told)
    assert refused.status == "refused"
    assert [reason.code for reason in refused.reasons].index("corrected-by-hand") == 1
    first = refused.reasons[0].sentence
    ways = [first.find(words) for words in ("found", "photograph", "place ")]
    assert [place for place in ways if place >= 0] == sorted(place for place in ways if place >= 0)
    assert not first.startswith(("Place", "Corrected"))


def test_nine_points_on_the_opening_measure_it_and_eight_do_in_part() -> None:
    """Points at most 45° apart speak for what lies between, and 300° are a whole edge."""
    optic = ring(RIM_PX, 5, 3.3)
    for count, status in ((6, "partial"), (8, "partial"), (9, "measured")):
        points = ring(OPENING_PX, count, 3.3)
        by_hand = correct(blank(), SHEET, Corrections(optic_px=optic, opening_px=points))
        assert by_hand.status == status
        assert (by_hand.opening.equivalent_diameter_mm is None) == (status == "partial")


def test_the_same_set_gives_the_same_numbers_and_none_takes_all_back() -> None:
    first = found()
    cut = Corrections(opening_px=ring(OPENING_PX + 15.0, 12), sd_px=1.0)
    once = correct(first, SHEET, cut)
    assert correct(once, SHEET, cut) == once
    back = correct(once, SHEET, Corrections())
    assert back.correction is None
    assert diameter(back) == pytest.approx(diameter(first), abs=1e-9)


def test_corrections_are_checked() -> None:
    with pytest.raises(WrongInput, match="not finite"):
        correct(found(), SHEET, Corrections(opening_px=((float("nan"), 1.0),)))
    with pytest.raises(WrongInput, match="sd_px"):
        correct(found(), SHEET, Corrections(swap=True, sd_px=0.0))
    with pytest.raises(WrongInput, match="no found curves"):
        correct(replace(blank(), curves=None), SHEET, Corrections(swap=True))


def test_a_measurement_by_hand_alone_has_a_true_sd() -> None:
    """100 sets of clicks with a known scatter on known circles; coverage of ±2 sd.

    The sd also holds sources that these circles do not have (the scatter of parallax and unequal
    enlargement), so that coverage may be fuller than 95 %; it must not be less than 89 %, which
    100 sets would fall short of once in a hundred with a true sd.
    """
    rng = np.random.default_rng(7)
    scatter_px, inside, sizes = 2.5, 0, []
    # A ring of 5 mm before a rim of 6 mm, as a cornea shows it: traced, test_opening_enlarged.py.
    shown = opening_against_optic(PhotographedEye("right", RoundShape(2.5), gap_mm=0.14))
    for _ in range(100):
        optic = np.asarray(ring(RIM_PX, 16, float(rng.uniform(0, 22))))
        edge = np.asarray(ring(OPENING_PX * shown, 16, float(rng.uniform(0, 22))))
        told = correct(
            blank(),
            SHEET,
            Corrections(
                optic_px=tuple(map(tuple, (optic + rng.normal(0, scatter_px, optic.shape)))),
                opening_px=tuple(map(tuple, (edge + rng.normal(0, scatter_px, edge.shape)))),
                sd_px=scatter_px,
            ),
        )
        size = told.opening.equivalent_diameter_mm
        sizes.append(size.value)
        inside += abs(size.value - 5.0) <= 2.0 * size.sd
    assert inside >= 89
    assert np.mean(sizes) == pytest.approx(5.0, abs=0.01)


def test_a_correction_takes_less_than_a_tenth_of_a_second() -> None:
    first, cut = found(), Corrections(opening_px=ring(OPENING_PX + 15.0, 12))
    correct(first, SHEET, cut)
    spent = []
    for _ in range(8):  # other work on the machine only ever adds
        start = time.process_time()
        correct(first, SHEET, cut)
        spent.append(time.process_time() - start)
    assert min(spent) < 0.1


def test_the_roots_of_the_haptics_give_their_axis() -> None:
    turn = np.radians([35.0, 215.0])
    roots = CENTRE + RIM_PX * np.stack([np.cos(turn), -np.sin(turn)], axis=-1)
    told = correct(found(), SHEET, Corrections(haptic_px=tuple(map(tuple, roots.tolist()))))
    assert told.haptic_axis_deg.value == pytest.approx(35.0, abs=1e-6)
    # 0.05 mm across at each end of 6 mm: arctan(0.05 √2 / 6) and the tilt's share.
    assert told.haptic_axis_deg.sd == pytest.approx(
        np.hypot(np.degrees(0.05 * 2**0.5 / 6), 0.15), 1e-3
    )
    with pytest.raises(WrongInput, match="two roots"):
        correct(found(), SHEET, Corrections(haptic_px=((1.0, 2.0),)))


def test_the_optic_is_told_from_p1_where_fixation_is_confirmed() -> None:
    """A lamp 10 mm aside and 200 mm away, in a mirror of 8 mm radius, is seen 0.196 mm aside.

    10 · 4 / 204 by the mirror equation, any textbook of optics.
    """
    cornea = CorneaSheet(radius_mm=8.0)
    lamps = Lamps(places_mm=((10.0, 0.0),))
    sheet = replace(
        SHEET, fixation="confirmed", lamps=lamps, cornea=cornea, working_distance_mm=200.0
    )
    # The optic's centre lies 0.3 mm to the right of the visual axis, 100 px a millimetre.
    p1 = ((float(CENTRE[0] - 30.0 + 100.0 * 10.0 * 4.0 / 204.0), float(CENTRE[1] + 20.0)),)
    told = correct(found(), sheet, Corrections(p1_px=p1))
    vector = told.decentration["optic-from-P1"]
    assert (vector.x_mm.value, vector.y_mm.value) == pytest.approx((0.3, 0.2), abs=1e-6)
    assert 0.05 < vector.x_mm.sd < 0.08
    looked_at = correct(
        found(), replace(sheet, lamps=replace(lamps, fixated=0)), Corrections(p1_px=p1)
    )
    assert looked_at.decentration["optic-from-P1"].x_mm.value == pytest.approx(
        0.3 - 0.196, abs=1e-3
    )
    unsure = correct(found(), replace(sheet, fixation="claimed"), Corrections(p1_px=p1))
    assert unsure.decentration["optic-from-P1"] is None
    assert "p1-not-used" in [reason.code for reason in unsure.reasons]
