"""Laws of the circle fit and of the smallest enclosing circle."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rimwise.geometry.circle import fit_circle
from rimwise.geometry.enclosing import smallest_enclosing_circle
from rimwise.terms.errors import MeasurementRefused, WrongInput

COORDINATES = st.one_of(st.floats(-100.0, 100.0), st.integers(-3, 3).map(float))
SETS = st.integers(1, 9).flatmap(lambda n: arrays(np.float64, (n, 2), elements=COORDINATES))


def brute_force(points: np.ndarray) -> float:
    """Least radius of all circles on pairs and triples that hold every point."""
    best = math.inf if len(points) > 1 else 0.0
    reach = 1.0 + np.abs(points).max()
    for first, second in combinations(points, 2):
        centre = (first + second) / 2.0
        radius = np.hypot(*(first - second)) / 2.0
        if np.hypot(*(points - centre).T).max() <= radius + 1e-9 * reach:
            best = min(best, radius)
    for first, second, third in combinations(points, 3):
        system = 2.0 * np.array([second - first, third - first])
        if abs(np.linalg.det(system)) < 1e-12:
            continue
        target = [second @ second - first @ first, third @ third - first @ first]
        centre = np.linalg.solve(system, target)
        radius = np.hypot(*(first - centre))
        if np.hypot(*(points - centre).T).max() <= radius + 1e-9 * reach:
            best = min(best, radius)
    return float(best)


@given(SETS)
def test_enclosing_circle_holds_all_touches_two_and_is_least(points):
    cx, cy, radius = smallest_enclosing_circle(points)
    reach = np.hypot(points[:, 0] - cx, points[:, 1] - cy)
    scale = 1.0 + np.abs(points).max()
    # Rounding of coordinates to 100.
    assert reach.max() <= radius + 1e-11 * scale
    touching = np.unique(points[reach >= radius - 1e-9 * scale], axis=0)
    assert len(touching) >= min(2, len(np.unique(points, axis=0)))
    # Two points 1e-160 apart are one point in the squares of the second route.
    assert radius == pytest.approx(brute_force(points), abs=1e-8 * scale)


@given(SETS, st.permutations(list(range(9))))
def test_enclosing_circle_does_not_depend_on_the_order(points, order):
    shuffled = points[[i for i in order if i < len(points)]]
    one, other = smallest_enclosing_circle(shuffled), smallest_enclosing_circle(points)
    # A point within a relative 1e-12 of the circle is on it, so the radius holds to that. Where
    # two points lie all but across, a third one that near moves the centre by its square root.
    assert one[2] == pytest.approx(other[2], abs=1e-10)
    assert one[:2] == pytest.approx(other[:2], abs=1e-7 + 2.0 * math.sqrt(2e-12) * other[2])


@given(st.floats(-1000.0, 1000.0), st.floats(0.1, 100.0), st.integers(4, 800))
def test_enclosing_circle_of_a_circle(shift, radius, count):
    t = np.arange(count) * (2.0 * math.pi / count)
    points = np.stack([shift + radius * np.cos(t), radius * np.sin(t) - shift], axis=-1)
    circle = smallest_enclosing_circle(points)
    # Coordinates of 1000 keep 13 digits.
    assert circle == pytest.approx((shift, -shift, radius), abs=1e-8)


@pytest.mark.parametrize("points", [np.zeros((0, 2)), np.array([[0.0, np.nan]]), np.zeros(4)])
def test_enclosing_circle_of_nothing_is_refused(points):
    with pytest.raises(WrongInput, match="finite points"):
        smallest_enclosing_circle(points)


@given(
    st.tuples(st.floats(-3000, 3000), st.floats(-3000, 3000)),
    st.floats(0.5, 500.0),
    st.floats(40.0, 360.0),
    st.booleans(),
)
def test_exact_points_give_the_circle_back(centre, radius, arc_deg, robust):
    t = np.radians(np.linspace(0.0, arc_deg, 60, endpoint=False))
    points = np.stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)], axis=-1)
    fit = fit_circle(points, robust=robust)
    # 1e-13 of coordinates of 3000, times the lever of an arc of 40°.
    assert (fit.cx, fit.cy, fit.radius) == pytest.approx((*centre, radius), abs=1e-7)


@given(st.integers(0, 500))
def test_a_fifth_of_wrong_points_does_no_harm(seed):
    generator = np.random.default_rng(seed)
    t = np.radians(np.arange(0.0, 360.0, 2.0))
    points = np.stack([5.0 + 3.0 * np.cos(t), 3.0 * np.sin(t)], axis=-1)
    wrong = generator.choice(180, 36, replace=False)
    points[wrong] = np.array([5.0, 0.0]) + generator.uniform(-4.0, 4.0, (36, 2))
    fit = fit_circle(points, robust=True)
    # Exact points; what is left are wrong points that fall on the circle.
    assert (fit.cx, fit.cy, fit.radius) == pytest.approx((5.0, 0.0, 3.0), abs=1e-6)


def test_weights_count_as_repeats():
    generator = np.random.default_rng(4)
    t = np.radians(np.arange(0.0, 360.0, 3.0))
    points = np.stack([np.cos(t), np.sin(t)], axis=-1) + generator.normal(0, 0.05, (120, 2))
    weights = generator.integers(0, 4, 120)
    weighted = fit_circle(points, weights.astype(float))
    repeated = fit_circle(np.repeat(points, weights, axis=0))
    # The same sums; the descent stops at 1e-11 of a radius.
    assert (weighted.cx, weighted.cy, weighted.radius) == pytest.approx(
        (repeated.cx, repeated.cy, repeated.radius), abs=1e-9
    )


def test_a_line_is_refused():
    line = np.stack([np.arange(9.0), 2.0 * np.arange(9.0)], axis=-1)
    for points in (line, np.ones((9, 2))):
        with pytest.raises(MeasurementRefused, match="line or in one place"):
            fit_circle(points)
    with pytest.raises(WrongInput, match="four finite points"):
        fit_circle(line[:3])
