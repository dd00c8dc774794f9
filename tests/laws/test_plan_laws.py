"""What must hold for every plan, whoever's hand and whichever eye."""

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.plan.make import make_plan
from rimwise.records.case import CaseSheet, Centres, Goal, OpeningWish, PlannedImplant, Spread

# The quadrature is good to 1e-9 or better; a law may be broken by that much and no more.
ROUND_OFF = 1e-8

scatter = st.floats(0.0, 0.4).map(lambda x: round(x, 3))
shift = st.floats(-0.5, 0.5).map(lambda x: round(x, 3))
pairs = st.tuples(scatter, scatter)
places = st.tuples(shift, shift)
hands = st.builds(
    Spread,
    places,
    pairs,
    st.floats(-0.2, 0.2),
    scatter,
    pairs,
    st.sampled_from(["lens", "opening"]),
)
eyes = st.builds(
    CaseSheet,
    st.just("E-1"),
    st.sampled_from(["right", "left"]),
    st.just("none"),
    implant=st.builds(PlannedImplant, st.sampled_from([5.5, 6.0, 6.5])),
    goal=st.builds(Goal, p_complete=st.floats(0.5, 0.99), least_cover_mm=st.floats(0.0, 0.5)),
    opening=st.builds(
        OpeningWish,
        st.none() | st.floats(4.5, 6.2),
        st.sampled_from(["visual_axis", "lens", "pupil", "limbus"]),
    ),
    centres=st.none() | st.builds(Centres, places | st.none(), places | st.none()),
    spread=hands | st.none(),
)
few = settings(max_examples=25, deadline=None)


def chance(case: CaseSheet) -> float:
    plan = make_plan(case)
    return plan.chosen.p_complete


def wanting(case: CaseSheet, diameter_mm: float) -> CaseSheet:
    return replace(case, opening=replace(case.opening, diameter_mm=diameter_mm))


@few
@given(eyes, st.floats(4.5, 6.0), st.floats(0.0, 0.5))
def test_a_larger_opening_never_covers_more_often(case, diameter_mm, more_mm):
    small, large = wanting(case, diameter_mm), wanting(case, diameter_mm + more_mm)
    assert chance(large) <= chance(small) + ROUND_OFF


@few
@given(eyes, st.floats(0.0, 0.4))
def test_more_cover_asked_for_is_never_likelier(case, more_mm):
    plan = make_plan(wanting(case, 5.2)).chosen
    wider = replace(
        case, goal=replace(case.goal, least_cover_mm=case.goal.least_cover_mm + more_mm)
    )
    assert plan.p_least_cover <= plan.p_complete + ROUND_OFF
    assert make_plan(wanting(wider, 5.2)).chosen.p_least_cover <= plan.p_least_cover + ROUND_OFF


@few
@given(eyes, hands, st.floats(0.0, 1.0))
def test_a_larger_bias_of_centring_never_covers_more_often(case, hand, share):
    """Along one line, with the optic resting at the target: Anderson's theorem (1955)."""
    hand = replace(hand, optic_rest="opening")
    bias = hand.opening_from_target_bias_mm
    nearer = replace(hand, opening_from_target_bias_mm=(bias[0] * share, bias[1] * share))
    case = wanting(case, 5.2)
    far = chance(replace(case, spread=hand))
    assert far <= chance(replace(case, spread=nearer)) + ROUND_OFF


@few
@given(eyes, hands, st.floats(0.0, 1.0))
def test_more_scatter_without_a_bias_never_covers_more_often(case, hand, share):
    """Only without a bias: an opening aimed beside the optic is saved by scatter now and then."""
    hand = replace(hand, optic_rest="opening", opening_from_target_bias_mm=(0.0, 0.0))
    sd = hand.opening_from_target_sd_mm
    calmer = replace(hand, opening_from_target_sd_mm=(sd[0] * share, sd[1] * share))
    case = wanting(case, 5.2)
    shaky = chance(replace(case, spread=hand))
    assert shaky <= chance(replace(case, spread=calmer)) + ROUND_OFF


@few
@given(eyes)
def test_a_mirrored_eye_has_the_same_plan(case):
    """Side exchanged and x of the found centres turned round; nasal and superior stay."""

    def turned(place):
        return None if place is None else (-place[0], place[1])

    centres = case.centres and replace(
        case.centres,
        lens_mm=turned(case.centres.lens_mm),
        visual_axis_mm=turned(case.centres.visual_axis_mm),
    )
    other = replace(case, side="left" if case.side == "right" else "right", centres=centres)
    for here, there in zip(make_plan(case).centres, make_plan(other).centres, strict=True):
        assert here.p_complete == pytest.approx(there.p_complete, abs=ROUND_OFF)
        assert here.p_least_cover == pytest.approx(there.p_least_cover, abs=ROUND_OFF)
        x, y = here.target_mm
        assert there.target_mm == (-x, y)


@few
@given(eyes)
def test_the_best_diameter_is_the_largest_that_reaches_the_goal(case):
    lower, upper = case.goal.diameter_limits_mm
    case = replace(case, opening=replace(case.opening, diameter_mm=None))
    best = make_plan(case).chosen.best_mm
    if best is None:
        assert chance(wanting(case, lower)) < case.goal.p_complete
        return
    assert lower <= best <= upper
    assert chance(wanting(case, best)) >= case.goal.p_complete
    if best < upper:
        assert chance(wanting(case, best + 0.01)) < case.goal.p_complete


@few
@given(eyes)
def test_the_centring_that_would_be_needed_is_enough_and_no_more(case):
    case = replace(case, opening=replace(case.opening, diameter_mm=None))
    plan = make_plan(case)
    needed = plan.chosen.centring_sd_needed_mm
    if needed is None:
        return
    lower = wanting(case, case.goal.diameter_limits_mm[0])
    reached = chance(replace(lower, spread=replace(plan.spread, opening_from_target_sd_mm=needed)))
    assert reached >= case.goal.p_complete - ROUND_OFF
    assert chance(lower) < case.goal.p_complete


@few
@given(eyes)
def test_the_document_is_json_and_the_budget_is_ranked(case):
    plan = make_plan(case)
    document = plan.document()
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    for centre in plan.centres:
        gains = [line.gain for line in centre.budget]
        assert gains == sorted(gains, reverse=True)
        assert all(0.0 <= p <= 1.0 for p in centre.curve.p_complete + centre.curve.p_least_cover)
