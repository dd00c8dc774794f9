"""Laws of the ellipse and of its fit."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.geometry.ellipse import Ellipse, fit_ellipse
from rimwise.geometry.ellipse_shape import distances_and_slopes, semi_axis_slopes
from rimwise.terms.errors import MeasurementRefused, WrongInput

TURN = np.radians(np.arange(0.0, 360.0))


@st.composite
def ellipses(draw, roundest=1.0):
    a = draw(st.floats(0.5, 500.0))
    ratio = draw(st.floats(0.3, roundest))
    centre = st.floats(-3000.0, 3000.0)
    angle = draw(st.floats(0.0, math.pi, exclude_max=True))
    return Ellipse(draw(centre), draw(centre), a, a * ratio, angle)


@given(ellipses(), st.floats(-0.25, 3.0))
def test_distance_of_a_point_put_along_the_normal(ellipse, share):
    """A point moved out along the normal is that far away; inside, as far as the evolute allows."""
    eccentric = np.linspace(0.0, 6.2, 17)
    on = ellipse.points(eccentric)
    turn = np.array(
        [
            [math.cos(ellipse.angle_rad), -math.sin(ellipse.angle_rad)],
            [math.sin(ellipse.angle_rad), math.cos(ellipse.angle_rad)],
        ]
    )
    normal = np.stack([np.cos(eccentric) / ellipse.a, np.sin(eccentric) / ellipse.b], axis=-1)
    normal = normal / np.hypot(*normal.T)[:, None] @ turn.T
    # The smallest radius of curvature is b²/a: no nearer than that inside.
    distance = share * ellipse.b**2 / ellipse.a
    found = ellipse.signed_distance(on + distance * normal)
    # Coordinates to 3000 carry 12 digits behind the unit.
    assert found == pytest.approx(np.full(17, distance), abs=1e-9 * (1.0 + ellipse.a))


def test_distance_against_a_search_over_the_outline():
    ellipse = Ellipse(3.0, 4.0, 5.0, 1.5, 0.4)
    points = np.random.default_rng(5).uniform(-4.0, 10.0, (60, 2))
    points[0] = ellipse.centre
    points[1] = ellipse.points(np.array([0.0]))[0] * 0.5 + 0.5 * ellipse.centre
    outline = ellipse.points(np.linspace(0.0, 2.0 * math.pi, 200_001))
    nearest = [np.hypot(*(outline - point).T).min() for point in points]
    signs = np.where(ellipse.contains(points), -1.0, 1.0)
    # Steps of 3e-5 along the outline miss the foot by half of that: second order in the distance.
    assert ellipse.signed_distance(points) == pytest.approx(signs * nearest, abs=5e-6)


@given(ellipses(roundest=0.98))
def test_slopes_against_finite_differences(ellipse):
    m, p, q = 0.5 * (ellipse.a + ellipse.b), 0.0, 0.0
    stretch = 0.5 * (ellipse.a - ellipse.b)
    p, q = stretch * math.cos(2 * ellipse.angle_rad), stretch * math.sin(2 * ellipse.angle_rad)
    shape = np.array([0.0, 0.0, m, p, q])
    points = 1.1 * ellipse.a * np.stack([np.cos(TURN[::20]), np.sin(TURN[::20])], axis=-1)
    _, slopes = distances_and_slopes(points, shape)
    step = 1e-5 * ellipse.b
    for column in range(5):
        shift = step * np.eye(5)[column]
        up, down = (distances_and_slopes(points, shape + sign * shift)[0] for sign in (1, -1))
        # Central differences: 1e-10 relative, times the curvature of outlines as flat as 0.3.
        assert slopes[:, column] == pytest.approx((up - down) / (2 * step), abs=1e-6)


def test_semi_axis_slopes_against_finite_differences():
    def axes(shape):
        stretch = math.hypot(shape[3], shape[4])
        angle = 0.5 * math.atan2(shape[4], shape[3])
        return np.array([shape[0], shape[1], shape[2] + stretch, shape[2] - stretch, angle])

    shape = np.array([1.0, 2.0, 5.0, 0.3, -0.4])
    steps = 1e-6 * np.eye(5)
    found = np.stack([(axes(shape + s) - axes(shape - s)) / 2e-6 for s in steps], axis=-1)
    # Central differences of a smooth function over 1e-6.
    assert semi_axis_slopes(shape) == pytest.approx(found, abs=1e-8)


@given(ellipses(), st.sampled_from([360.0, 200.0, 140.0]), st.booleans())
def test_exact_points_give_the_ellipse_back(ellipse, arc_deg, robust):
    points = ellipse.points(np.radians(np.linspace(0.0, arc_deg, 90, endpoint=False)))
    found = fit_ellipse(points, robust=robust).ellipse
    back = [found.cx - ellipse.cx, found.cy - ellipse.cy, found.a - ellipse.a, found.b - ellipse.b]
    # Coordinates of 3000 with sizes of 0.5 keep 12 digits; an arc of 140° costs three of them.
    assert back == pytest.approx([0.0] * 4, abs=1e-8 * (ellipse.a + 1.0))
    assert np.abs(ellipse.signed_distance(found.points(TURN))).max() < 1e-8 * (ellipse.a + 1.0)


@given(ellipses(roundest=0.95), st.integers(0, 1000))
def test_a_fifth_of_wrong_points_does_no_harm(ellipse, seed):
    generator = np.random.default_rng(seed)
    points = ellipse.points(TURN)
    wrong = generator.choice(360, 72, replace=False)
    points[wrong] = ellipse.centre + generator.uniform(-1.4, 1.4, (72, 2)) * ellipse.a
    fit = fit_ellipse(points)
    # Exact points: what is left is rounding and the few wrong points that fall on the outline.
    assert np.abs(ellipse.signed_distance(fit.ellipse.points(TURN))).max() < 1e-6 * ellipse.a
    assert int(fit.used.sum()) >= 288


@pytest.mark.parametrize("off", [1.0, 5.0, 18.0])
def test_a_lone_wrong_point_on_the_unseen_side_is_not_believed(off):
    """It would bend the outline to itself and leave no residual to tell it by."""
    ellipse = Ellipse(1000.0, 800.0, 300.0, 280.0, 0.7)
    points = ellipse.points(np.radians(np.arange(0.0, 100.0, 0.5)))
    points = points + np.random.default_rng(8).normal(0.0, 0.3, points.shape)
    far = ellipse.centre + (1.0 + off / 290.0) * (ellipse.points(np.array([4.0])) - ellipse.centre)
    alone, joined = fit_ellipse(points), fit_ellipse(np.concatenate([points, far]))
    assert not joined.used[-1]
    assert joined.ellipse.cx == pytest.approx(alone.ellipse.cx, abs=1e-6)  # the same points
    assert joined.ellipse.a == pytest.approx(alone.ellipse.a, abs=1e-6)


@given(ellipses(roundest=0.9), st.floats(0.2, 3.0), st.floats(-3.0, 3.0), st.floats(0.5, 2.0))
def test_an_affine_image_holds_the_images_of_the_points(ellipse, scale, shear, stretch):
    matrix = scale * np.array([[1.0, shear], [0.0, stretch]])
    shift = np.array([5.0, -7.0])
    image = ellipse.affine(matrix, shift)
    moved = ellipse.points(TURN) @ matrix.T + shift
    # Squares of coordinates to 1e4 with sizes from 0.03: twelve digits of the larger.
    assert np.abs(image.signed_distance(moved)).max() < 1e-9 * (1.0 + np.abs(moved).max())
    assert image.area == pytest.approx(ellipse.area * abs(np.linalg.det(matrix)), rel=1e-9)


@given(ellipses(), st.floats(0.0, 6.28), st.floats(0.0, 0.9))
def test_radius_along_ends_on_the_outline(ellipse, towards, share):
    start = ellipse.centre + share * (ellipse.points(np.array([towards]))[0] - ellipse.centre)
    radii = ellipse.radius_along(TURN, (float(start[0]), float(start[1])))
    ends = start + radii[:, None] * np.stack([np.cos(TURN), np.sin(TURN)], axis=-1)
    # Coordinates to 3000: 12 digits.
    assert np.abs(ellipse.signed_distance(ends)).max() < 1e-9 * (1.0 + ellipse.a)


def test_a_circle_within_noise_has_an_unknown_axis_but_a_known_size():
    generator = np.random.default_rng(11)
    sizes, claims = [], []
    for _ in range(60):
        points = Ellipse(50.0, 60.0, 30.0, 29.999).points(TURN) + generator.normal(0, 0.3, (360, 2))
        fit = fit_ellipse(points)
        sizes.append(fit.ellipse.mean_radius)
        claims.append(math.sqrt(np.array([0.5, 0.5]) @ fit.covariance[2:4, 2:4] @ [0.5, 0.5]))
        assert fit.covariance[4, 4] <= math.pi**2 / 12.0 + 1e-12
        assert (np.linalg.eigvalsh(fit.covariance) > -1e-12).all()
    # 60 draws know their sd to 9 %: three of these.
    assert np.std(sizes) == pytest.approx(np.mean(claims), rel=0.28)
    assert np.mean(sizes) == pytest.approx(30.0, abs=4.0 * np.mean(claims) / math.sqrt(60))


def test_a_stated_sd_is_believed_unless_the_points_scatter_more():
    generator = np.random.default_rng(12)
    points = Ellipse(0.0, 0.0, 30.0, 25.0).points(TURN) + generator.normal(0, 0.3, (360, 2))
    believed, doubted = fit_ellipse(points, sd=0.6), fit_ellipse(points, sd=0.03)
    free = fit_ellipse(points)
    # Linear in the variance; 10 % for the scatter of a sample of 360 and its cut at 3.5 sd.
    assert believed.covariance[0, 0] == pytest.approx(4.0 * free.covariance[0, 0], rel=0.2)
    assert doubted.covariance[0, 0] == pytest.approx(free.covariance[0, 0], rel=0.1)


def test_edge_sd_is_small_where_points_are_and_large_where_not():
    points = Ellipse(0.0, 0.0, 3.0, 2.8).points(TURN[:180])
    points += np.random.default_rng(3).normal(0.0, 0.005, (180, 2))
    sd = fit_ellipse(points).edge_sd(np.radians([90.0, 270.0]))
    assert sd[0] < 0.002 < sd[1]


@pytest.mark.parametrize(
    "points",
    [
        np.stack([np.arange(20.0), 2.0 * np.arange(20.0)], axis=-1),
        np.zeros((20, 2)),
        np.random.default_rng(0).normal(size=(40, 2)) * [50.0, 0.5],
        np.stack([np.arange(20.0), np.tan(np.linspace(-1.5, 1.5, 20))], axis=-1) ** 3,
    ],
)
def test_points_on_no_ellipse_are_refused(points):
    with pytest.raises(MeasurementRefused):
        fit_ellipse(points)


@pytest.mark.parametrize("points", [np.zeros((5, 2)), np.zeros((9, 3)), np.full((9, 2), np.nan)])
def test_what_cannot_be_points_is_refused(points):
    with pytest.raises(WrongInput, match="six finite points"):
        fit_ellipse(points)


def test_an_ellipse_with_axes_in_the_wrong_order_is_refused():
    with pytest.raises(WrongInput, match="a >= b"):
        Ellipse(0.0, 0.0, 1.0, 2.0)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.booleans(), st.floats(1.0, 2.5))
def test_the_compiled_descent_finds_the_same_ellipse(seed: int, robust: bool, long: float) -> None:
    rng = np.random.default_rng(seed)
    directions = np.linspace(0.0, rng.uniform(4.0, 6.2), 120)
    points = Ellipse(300.0, 200.0, 80.0 * long, 80.0, 0.7).points(directions)
    points += rng.normal(0.0, 0.4, points.shape)
    points[:9] += 12.0
    plain, fast = (fit_ellipse(points, None, robust, way) for way in (False, True))
    # Both stop at a billionth of the size.
    assert np.allclose(plain.shape_covariance, fast.shape_covariance, rtol=1e-4, atol=1e-9)
    one, other = plain.ellipse, fast.ellipse
    assert np.allclose([one.cx, one.cy, one.a, one.b], [other.cx, other.cy, other.a, other.b],
                       rtol=0, atol=1e-5)  # fmt: skip
