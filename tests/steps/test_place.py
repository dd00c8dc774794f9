"""Where to put the optic: gaps, refusals, uncertainty, rest against today, turning, speed."""

import json
import math
import time
from dataclasses import replace

import numpy as np
import pytest

from rimwise.place.edge import Edge, edge_of_circle, edge_of_radii
from rimwise.place.make import make_placement
from rimwise.place.today import put_today
from rimwise.place.trade_off import trade_off_curve
from rimwise.place.turning import DO_NOT_TURN, SupposedBag, best_turn_in_bag
from rimwise.records.case import CaseSheet, Centres, Spread
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpticFinding,
    VectorEstimate,
)
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

THETA = np.radians(np.arange(360.0))


def vector(x, y, sd=0.05) -> VectorEstimate:
    parts = [Estimate(x, sd), Estimate(y, sd)]
    return VectorEstimate(*parts, *parts)


def finding(width, sd=0.03, **more) -> CoverFinding:
    """A picture of an optic of 6 mm with this cover by direction; None is unseen."""
    width = tuple(None if w is None or math.isnan(w) else float(w) for w in width)
    known = [w for w in width if w is not None]
    least = LeastCover(min(known), sd, 0.0, 3.0) if known else None
    cover = CoverProfile(
        width_mm=width,
        sd_mm=tuple(None if w is None else sd for w in width),
        sd_given_optic_mm=tuple(None if w is None else sd for w in width),
        min_mm=least,
        mean_mm=None,
        area_percent=None,
        bare_arcs_deg=None,
        bare_total_deg=None,
        assessable_deg=len(known),
        complete=None,
        p_complete=0.9,
        given_optic={} if least is None else {"min_mm": Estimate(least.value, sd)},
    )
    optic = OpticFinding(EllipsePx(0.0, 0.0, 300.0, 300.0, 0.0), 6.0, 360)
    given = {"state": "implant"} | more
    return CoverFinding(
        "eye.jpg", "0" * 64, "right", status="measured", optic=optic, cover=cover, **given
    )


def off_centre(x: float, y: float, radius: float = 2.5):
    """Cover by direction of a round opening (x, y) from the optic's centre."""
    along = x * np.cos(THETA) + y * np.sin(THETA)
    across = y * np.cos(THETA) - x * np.sin(THETA)
    return 3.0 - along - np.sqrt(radius**2 - across**2)


CASE = CaseSheet(
    "E-1",
    "right",
    "none",
    centres=Centres(lens_mm=(0.10, 0.0), visual_axis_mm=(-0.20, 0.05), sd_mm=0.05),
    spread=Spread((0.0, 0.0), (0.1, 0.1), 0.0, 0.1, (0.10, 0.10)),
)
LIMBUS = {"optic-from-limbus": vector(0.0, 0.0)}


def codes(placement) -> list[str]:
    return [reason.code for reason in placement.reasons]


def test_a_round_opening_off_the_optic_asks_the_optic_to_follow_it():
    placement = make_placement(finding(off_centre(0.3, -0.2)), CASE)
    assert placement.status == "placed"
    # 1° steps of a circle of 2.5 mm: the circle through them is the circle itself.
    assert placement.today.best.at_mm == pytest.approx((0.3, -0.2), abs=1e-6)
    assert placement.today.margin_mm.value == pytest.approx(0.5, abs=1e-6)
    assert placement.now.least_cover_mm == pytest.approx(0.5 - math.hypot(0.3, 0.2), abs=1e-4)
    at = math.degrees(math.atan2(-0.2, 0.3)) % 360.0
    assert placement.now.at_deg == pytest.approx(at, abs=1.0)


@pytest.mark.parametrize("unseen", [1, 60, 150])
def test_what_was_not_seen_is_left_out_and_said(unseen):
    width = off_centre(0.1, 0.0)
    width[100 : 100 + unseen] = np.nan
    placement = make_placement(finding(width), CASE)
    assert placement.status == "partial"
    assert codes(placement)[0] == "edge-partly-seen"
    assert "at most" in placement.reasons[0].sentence
    assert placement.seen_deg == 360 - unseen
    # Never less than what the whole edge allows: an upper limit.
    assert placement.today.margin_mm.value >= 0.5 - 1e-6


def test_less_than_half_an_edge_is_refused():
    width = off_centre(0.1, 0.0)
    width[:181] = np.nan
    placement = make_placement(finding(width))
    assert placement.status == "refused"
    assert codes(placement) == ["edge-unseen"]
    assert placement.today is None
    assert json.loads(json.dumps(placement.document(), allow_nan=False))["status"] == "refused"


def test_no_position_covers_all_round_is_said_with_the_least_bare_arc():
    placement = make_placement(finding(off_centre(0.0, 0.0, radius=3.1)), CASE)
    assert "never-complete" in codes(placement)
    today = placement.today
    assert today.complete_region_mm == ()
    assert today.margin_mm.value == pytest.approx(-0.1, abs=1e-6)
    # All bare about the best place; half a millimetre off, the chord of two circles is bare.
    assert today.best.bare_arcs_deg == ((0.0, 360.0),)
    (arc,) = today.least_bare.bare_arcs_deg
    found = (arc[1] - arc[0]) % 360.0
    # A point of the optic's rim is bare within this angle of the opening's centre (law of cosines).
    bare = 2.0 * math.degrees(math.acos((9.0 + 0.25 - 3.1**2) / (2.0 * 3.0 * 0.5)))
    assert found == pytest.approx(bare, abs=0.5)


def test_the_least_bare_arc_is_that_of_a_dense_search():
    theta = np.arange(360) * (2.0 * math.pi / 360)
    radii = 2.85 + 0.25 * np.cos(2.0 * theta) + 0.05 * np.cos(3.0 * theta)
    edge = edge_of_radii(radii, 6.0)
    today = put_today(edge)
    found = sum((b - a) % 360.0 for a, b in today.least_bare.bare_arcs_deg)
    steps = np.linspace(-0.5, 0.5, 41)
    dense = min(
        sum((b - a) % 360.0 for a, b in edge.bare_arcs_deg((cx, cy)))
        for x in steps
        for y in steps
        if math.hypot(x, y) <= 0.5
        for cx, cy in [(today.best.at_mm[0] + x, today.best.at_mm[1] + y)]
    )
    # Both searches and the 1° steps of an arc's ends.
    assert found <= dense + 2.0


def test_the_claimed_scatter_of_margin_and_centre_is_not_too_small():
    """Edges drawn with a common error of the optic and own errors by direction, smooth."""
    rng = np.random.default_rng(11)
    theta = np.arange(360) * (2.0 * math.pi / 360)
    truth = 2.5 + 0.12 * np.cos(2.0 * theta + 0.4) + 0.05 * np.cos(3.0 * theta)
    sd_own, sd_common = 0.02, 0.025
    sd = math.hypot(sd_own, sd_common)
    waves = np.stack([f(k * theta) for k in range(2, 8) for f in (np.cos, np.sin)])
    errors, moves = [], []
    exact = put_today(edge_of_radii(truth, 6.0))
    for _ in range(300):
        noise = rng.standard_normal(len(waves)) @ waves * sd_own / math.sqrt(len(waves) / 2)
        radii = truth + noise + sd_common * rng.standard_normal()
        today = put_today(edge_of_radii(radii, 6.0))
        errors.append(today.margin_mm.value - exact.margin_mm.value)
        moves.append(math.dist(today.best.at_mm, exact.best.at_mm))
    edge = edge_of_radii(truth, 6.0)
    claimed = put_today(Edge(edge.points_mm, np.full(360, sd), 3.0, 360))
    # On the wide side by construction, but not by more than three times.
    spread = float(np.std(errors))
    assert spread <= claimed.margin_mm.sd <= 3.0 * spread
    assert math.sqrt(float(np.mean(np.square(moves)))) <= 1.3 * claimed.sd_mm


def test_today_and_rest_are_two_things():
    placement = make_placement(finding(off_centre(0.3, 0.0), decentration=LIMBUS), CASE)
    assert placement.today.best.at_mm == pytest.approx((0.3, 0.0), abs=1e-6)
    assert placement.rest.mean_mm == pytest.approx((0.10, 0.0))
    sd = math.sqrt(0.05**2 + 0.05**2 + 0.10**2)
    assert placement.rest.sd_mm == pytest.approx((sd, sd))
    # Against draws: the opening's centre 0.2 mm from where the optic rests, slack 0.5 mm.
    draws = np.random.default_rng(2).standard_normal((400_000, 2)) * sd + [0.2, 0.0]
    wanted = float((np.hypot(*draws.T) <= 0.5).mean())
    assert placement.rest.p_complete == pytest.approx(wanted, abs=0.003)


def test_at_a_visit_the_optic_rests_where_it_is():
    placement = make_placement(finding(off_centre(0.1, 0.0), state="visit"), CASE)
    assert placement.rest.mean_mm == (0.0, 0.0)
    assert placement.rest.p_complete == 0.9
    shown = finding(off_centre(0.1, 0.0), state="visit")
    silent = replace(shown, cover=replace(shown.cover, p_complete=None))
    # What the picture did not tell is not made up from the widths.
    assert make_placement(silent).rest.p_complete is None


def test_without_limbus_or_lens_centre_the_rest_is_not_guessed():
    for case in (CASE, None, replace(CASE, centres=None)):
        placement = make_placement(finding(off_centre(0.1, 0.0)), case)
        assert placement.rest is None
        assert placement.trade_off is None
        assert {"rest-unknown", "visual-axis-unknown"} <= set(codes(placement))


def test_the_visual_axis_comes_from_the_picture_before_the_case_sheet():
    seen = LIMBUS | {"optic-from-P1": vector(0.25, -0.05, 0.02)}
    by_reflex = make_placement(finding(off_centre(0.1, 0.0), decentration=seen), CASE)
    assert by_reflex.trade_off.visual_axis_mm == (-0.25, 0.05)
    by_case = make_placement(finding(off_centre(0.1, 0.0), decentration=LIMBUS), CASE)
    assert by_case.trade_off.visual_axis_mm == (-0.20, 0.05)
    ends = by_case.trade_off.curve[0], by_case.trade_off.curve[-1]
    assert ends[0].from_visual_axis_mm == 0.0
    assert ends[1].least_cover_mm == pytest.approx(by_case.today.margin_mm.value)


def test_the_other_side_is_refused():
    with pytest.raises(WrongInput, match="other side"):
        make_placement(finding(off_centre(0.0, 0.0)), replace(CASE, side="left"))


def at_angle(degrees, least, sd=0.02):
    shown = finding(off_centre(0.5 - least, 0.0), sd=sd)
    return replace(shown, haptic_axis_deg=Estimate(degrees, 2.0))


def test_one_picture_tells_nothing_about_turning():
    turning = make_placement(at_angle(90.0, 0.1)).turning
    assert turning.code == "bag-unknown"
    assert turning.best_turn_deg is None
    assert DO_NOT_TURN in turning.sentence


def test_haptics_at_the_same_angle_are_no_evidence():
    turning = make_placement(at_angle(178.0, 0.1), others=[at_angle(4.0, 0.3)]).turning
    assert turning.code == "bag-unknown"


def test_a_gain_within_its_scatter_is_no_gain():
    turning = make_placement(at_angle(90.0, 0.10), others=[at_angle(30.0, 0.14)]).turning
    assert turning.code == "no-measurable-gain"
    assert turning.best_turn_deg is None
    assert DO_NOT_TURN in turning.sentence
    (one,) = turning.by_angle
    assert one.gain_mm.value == pytest.approx(0.04, abs=1e-3)
    assert one.gain_mm.sd == pytest.approx(math.hypot(0.02, 0.02))


def test_a_gain_beyond_its_scatter_is_told_with_the_turn():
    others = [at_angle(30.0, 0.30), at_angle(120.0, 0.12)]
    turning = make_placement(at_angle(90.0, 0.10), others=others).turning
    assert turning.code == "gain"
    assert turning.best_turn_deg == pytest.approx(-60.0)


def test_a_toric_implant_keeps_its_axis():
    toric = replace(at_angle(90.0, 0.1), implant_toric_axis_deg=Estimate(90.0, 1.0))
    turning = make_placement(toric, others=[at_angle(30.0, 0.4)]).turning
    assert turning.code == "toric"
    assert turning.best_turn_deg is None


def test_in_a_supposed_lopsided_bag_the_haptics_move_the_optic():
    """A bag that reaches 0.4 mm farther to 0°: haptics along it move the optic by 0.2 mm..."""
    theta = np.arange(360) * (2.0 * math.pi / 360)
    bag = SupposedBag(5.0 + 0.2 * np.cos(theta), 0.02)
    edge = edge_of_circle(5.0, (0.2, 0.0), 6.0)
    turn = best_turn_in_bag(edge, bag, 90.0)
    # From across (no shift) to along (0.2 mm towards the opening's centre).
    assert abs(turn.turn_deg) == 90.0
    assert turn.gain_mm.value == pytest.approx(0.2, abs=1e-3)
    assert turn.measurable
    vague = best_turn_in_bag(edge, SupposedBag(bag.radii_mm, 0.4), 90.0)
    assert not vague.measurable


def test_an_oval_bag_moves_nothing():
    theta = np.arange(360) * (2.0 * math.pi / 360)
    bag = SupposedBag(5.0 + 0.5 * np.cos(2.0 * theta), 0.05)
    turn = best_turn_in_bag(edge_of_circle(5.0, (0.2, 0.0), 6.0), bag, 30.0)
    assert (turn.turn_deg, turn.gain_mm.value) == (0.0, 0.0)


@pytest.mark.parametrize("radius", [2.5, 3.0])
def test_720_points_take_at_most_50_ms(radius):
    """With trade-off; 3.0 mm leaves no complete cover and takes the longer way."""
    theta = np.arange(720) * (2.0 * math.pi / 720)
    radii = radius + 0.08 * np.cos(3.0 * theta) + 0.05 * np.sin(2.0 * theta)
    edge = edge_of_radii(radii, 6.0)
    put_today(edge)
    taken = []
    for _ in range(5):
        start = time.process_time()
        today = put_today(edge)
        trade_off_curve(edge, (-0.3, 0.1), today.best.at_mm)
        taken.append(time.process_time() - start)
    assert min(taken) <= 0.050
