"""Placing an optic: equal to brute force, symmetric, and never better than it can be."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.place.edge import Edge, edge_of_circle, edge_of_radii
from rimwise.place.today import put_today
from rimwise.place.trade_off import trade_off_curve

ROUND_OFF = 1e-9
THETA = np.arange(72) * (2.0 * math.pi / 72)


@st.composite
def edges(draw, largest=2.9):
    """A wavy opening off its centre: four harmonics of up to 0.15 mm each."""
    radii = np.full(72, draw(st.floats(2.2, largest)))
    for order in range(1, 5):
        size = draw(st.floats(0.0, 0.15))
        radii += size * np.cos(order * THETA + draw(st.floats(0.0, 6.28)))
    return edge_of_radii(radii, 6.0)


def brute_force(edge: Edge) -> float:
    """Least enclosing radius over all pairs and triples that hold every point."""
    points = edge.points_mm
    hull = points[np.argsort(np.hypot(*points.T))]
    best = math.inf
    count = len(hull)
    first, second = np.triu_indices(count, 1)
    middle = 0.5 * (hull[first] + hull[second])
    for centres in (middle, _circumcentres(hull)):
        reach = np.sqrt(((hull[None] - centres[:, None]) ** 2).sum(axis=2).max(axis=1, initial=0.0))
        best = min(best, float(reach.min()))
    return best


def _circumcentres(points):
    count = len(points)
    i, j, k = (np.array(t) for t in zip(*_triples(count), strict=True))
    a, b, c = points[i], points[j], points[k]
    u, v = b - a, c - a
    turn = 2.0 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    keep = np.abs(turn) > 1e-9
    a, u, v, turn = a[keep], u[keep], v[keep], turn[keep]
    u2, v2 = (u * u).sum(axis=1), (v * v).sum(axis=1)
    x = (v[:, 1] * u2 - u[:, 1] * v2) / turn
    y = (u[:, 0] * v2 - v[:, 0] * u2) / turn
    return a + np.stack([x, y], axis=-1)


def _triples(count):
    return [
        (i, j, k) for i in range(count) for j in range(i + 1, count) for k in range(j + 1, count)
    ]


@pytest.mark.parametrize("start", range(0, 1000, 250))
def test_the_margin_is_that_of_all_pairs_and_triples(start):
    """On 1,000 random edges of twelve points; the optic's radius less the smallest circle's."""
    rng = np.random.default_rng(start)
    for _ in range(250):
        theta = np.sort(rng.uniform(0.0, 2.0 * math.pi, 12))
        reach = rng.uniform(2.0, 2.9, 12)
        points = np.stack([reach * np.cos(theta), reach * np.sin(theta)], axis=-1)
        edge = Edge(points, np.zeros(12), 3.0, 360)
        margin = put_today(edge).margin_mm.value
        assert margin == pytest.approx(3.0 - brute_force(edge), abs=ROUND_OFF)


@settings(max_examples=40)
@given(edges(), st.floats(-0.4, 0.4), st.floats(-0.4, 0.4))
def test_no_other_place_covers_better(edge, x, y):
    today = put_today(edge)
    other = today.best.at_mm[0] + x, today.best.at_mm[1] + y
    assert float(edge.least_cover_mm(np.array(other))) <= today.margin_mm.value + ROUND_OFF


@settings(max_examples=40)
@given(edges(), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_moving_the_edge_moves_the_best_place_with_it(edge, x, y):
    moved = Edge(edge.points_mm + np.array([x, y]), edge.sd_mm, 3.0, 360)
    before, after = put_today(edge), put_today(moved)
    assert after.margin_mm.value == pytest.approx(before.margin_mm.value, abs=ROUND_OFF)
    assert after.best.at_mm == pytest.approx(
        (before.best.at_mm[0] + x, before.best.at_mm[1] + y), abs=1e-7
    )


@settings(max_examples=30)
@given(edges(largest=2.5))
def test_the_outline_is_where_complete_cover_ends(edge):
    today = put_today(edge)
    if today.margin_mm.value <= 0.01:
        return
    outline = np.array(today.complete_region_mm)
    assert edge.least_cover_mm(outline) == pytest.approx(np.zeros(len(outline)), abs=1e-9)
    best = np.array(today.best.at_mm)
    assert np.all(edge.least_cover_mm(best + 0.99 * (outline - best)) > 0.0)
    assert np.all(edge.least_cover_mm(best + 1.01 * (outline - best)) < 0.0)


@settings(max_examples=25)
@given(edges(), st.floats(0.05, 0.6), st.floats(0.0, 6.28))
def test_the_trade_off_grows_ever_more_slowly_and_nothing_beats_it(edge, apart, angle):
    best = put_today(edge).best.at_mm
    axis = (best[0] + apart * math.cos(angle), best[1] + apart * math.sin(angle))
    curve = trade_off_curve(edge, axis, best)
    cover = np.array([point.least_cover_mm for point in curve])
    steps = np.diff(cover)
    assert np.all(steps >= -1e-9)
    assert np.all(np.diff(steps) <= 1e-9)
    # Every place on a fine ring about the axis is at most as well covered.
    ring = np.arange(720) * (2.0 * math.pi / 720)
    out = np.stack([np.cos(ring), np.sin(ring)], axis=-1)
    for point in curve[1::4]:
        tried = edge.least_cover_mm(np.asarray(axis) + point.from_visual_axis_mm * out)
        assert tried.max() <= point.least_cover_mm + ROUND_OFF


def test_a_narrow_ridge_of_good_places_is_not_lost():
    """Four lobes: the best places lie along a ridge that a ring about the axis cuts twice."""
    edge = edge_of_radii(2.5 + 0.125 * np.cos(2.0 * THETA) + 0.125 * np.cos(4.0 * THETA), 6.0)
    best = put_today(edge).best.at_mm
    axis = (best[0] + 0.0625 * math.cos(2.5), best[1] + 0.0625 * math.sin(2.5))
    cover = np.array([point.least_cover_mm for point in trade_off_curve(edge, axis, best)])
    assert np.all(np.diff(cover, 2) <= ROUND_OFF)


@settings(max_examples=30)
@given(st.floats(4.0, 5.9), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_a_round_opening_is_covered_best_about_its_centre(diameter, x, y):
    today = put_today(edge_of_circle(diameter, (x, y), 6.0))
    assert today.best.at_mm == pytest.approx((x, y), abs=1e-7)
    # Ø is the whole of it: the margin is half of what the optic is wider, and so is the region.
    slack = 0.5 * (6.0 - diameter)
    assert today.margin_mm.value == pytest.approx(slack, abs=1e-9)
    assert today.region_area_mm2 == pytest.approx(math.pi * slack**2, rel=0.002)
