"""Laws of closed curves and of the Fourier radius."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.special import ellipe
from skimage.measure import find_contours

from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.ellipse import Ellipse
from rimwise.geometry.fourier import FourierRadius, FourierSettings, fourier_radius, fourier_terms
from rimwise.terms.errors import MeasurementRefused, WrongInput

TURN = np.radians(np.arange(0.0, 360.0))


def series(*coefficients: float) -> FourierRadius:
    size = len(coefficients)
    return FourierRadius(np.array(coefficients), np.zeros((size, size)), 0.0, np.ones(0, bool))


@pytest.mark.parametrize(("ratio", "expected"), [(1.0, 1.0), (0.9, 0.9958), (0.8, 0.9816)])
def test_circularity_of_an_ellipse(ratio, expected):
    """4πA/P² with P = 4 a E(1 - b²/a²): closed form (any handbook of functions), scipy's ellipe."""
    perimeter = 4.0 * ellipe(1.0 - ratio**2)
    closed = 4.0 * math.pi * math.pi * ratio / perimeter**2
    curve = ClosedCurve.through(Ellipse(3.0, 1.0, 2.6, 2.6 * ratio, 0.4).points(TURN))
    assert closed == pytest.approx(expected, abs=5e-5)  # half the last printed digit
    assert curve.perimeter == pytest.approx(2.6 * perimeter, rel=1e-9)  # spline of 360 points
    assert curve.circularity == pytest.approx(closed, abs=1e-8)


@pytest.mark.parametrize("shift", [0.0, 0.37])
def test_a_rasterised_disc_is_round_once_a_smooth_curve_is_fitted(shift):
    """A disc of 150 px radius, its pixel steps traced: 1.000 ± 0.005 as the job asks."""
    v, u = np.mgrid[:400, :400]
    disc = np.hypot(u - 200.0 - shift, v - 200.0 + shift) <= 150.0
    edge = max(find_contours(disc.astype(float), 0.5), key=len)[:-1, ::-1]
    steps = np.diff(np.concatenate([edge, edge[:1]]), axis=0)
    centred = edge - [200.0, 200.0]
    fit = fourier_radius(np.arctan2(*centred.T[::-1]), np.hypot(*centred.T), 6)
    curve = ClosedCurve.from_radius(fit)
    assert curve.circularity == pytest.approx(1.0, abs=0.005)
    assert curve.equivalent_diameter == pytest.approx(300.0, abs=0.3)  # a tenth of a pixel a side
    stepped = 4.0 * math.pi * curve.area / np.hypot(*steps.T).sum() ** 2
    # The trap: the pixel steps themselves would make a perfect disc look worse than that.
    assert stepped < 0.995


@given(st.lists(st.floats(-0.15, 0.15), min_size=8, max_size=8), st.floats(0.0, 6.28))
def test_sizes_of_a_series(waves, towards):
    lobed = series(2.5, *waves)
    curve = ClosedCurve.from_radius(lobed, (4.0, -3.0))
    assert curve.area == pytest.approx(lobed.area, rel=1e-12)
    largest, smallest = curve.widths()
    assert smallest <= curve.equivalent_diameter * (1.0 + 1e-5)  # widths by half degrees
    # Convex hulls: the largest width is at least the diameter of the circle of the same area.
    assert largest >= curve.equivalent_diameter * (1.0 - 1e-5)
    assert curve.circularity <= 1.0 + 1e-12
    radius = curve.radius_along(np.array([towards]), (4.0, -3.0))
    assert radius == pytest.approx(lobed.radius(np.array([towards])), abs=1e-8)  # cubic between


@given(
    st.lists(st.floats(-0.15, 0.15), min_size=6, max_size=6),
    st.tuples(st.floats(-9.0, 9.0), st.floats(-9.0, 9.0)),
    st.floats(0.0, 6.28),
    st.floats(0.1, 10.0),
)
def test_moving_turning_and_scaling(waves, shift, angle, scale):
    curve = ClosedCurve.through(series(2.5, *waves).points(TURN[::3]))
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    other = ClosedCurve.through(scale * curve.points[::8] @ turn + shift)
    # The second spline runs through 128 points of the first.
    assert other.area == pytest.approx(scale**2 * curve.area, rel=1e-6)
    assert other.perimeter == pytest.approx(scale * curve.perimeter, rel=1e-6)
    assert other.circularity == pytest.approx(curve.circularity, rel=2e-6)
    expected = scale * np.array(curve.centroid) @ turn + shift
    assert np.array(other.centroid) == pytest.approx(expected, abs=1e-5 * scale)
    assert np.array(other.widths()) == pytest.approx(scale * np.array(curve.widths()), rel=3e-5)
    deviation = scale * curve.radial_deviation_rms()
    assert other.radial_deviation_rms() == pytest.approx(deviation, abs=1e-5 * scale)


def test_the_order_of_points_does_not_matter_for_the_size():
    points = Ellipse(1.0, 2.0, 3.0, 2.5, 0.3).points(TURN)
    forth, back = ClosedCurve.through(points), ClosedCurve.through(points[::-1])
    # Samples fall differently between the knots of the spline: fourth order in the step.
    assert back.area == pytest.approx(forth.area, rel=1e-9)
    radii = back.radius_along(TURN, (1.0, 2.0))
    assert radii == pytest.approx(forth.radius_along(TURN, (1.0, 2.0)), abs=1e-9)


def test_widths_and_deviation_of_an_ellipse():
    curve = ClosedCurve.through(Ellipse(1.0, 2.0, 3.0, 2.5, math.radians(30.0)).points(TURN))
    assert curve.widths() == pytest.approx((6.0, 5.0), rel=5e-6)  # 1024 samples
    # To first order a = R + e, b = R - e is R + e cos 2t: root mean square e/√2.
    near = ClosedCurve.through(Ellipse(0.0, 0.0, 2.51, 2.49).points(TURN))
    assert near.radial_deviation_rms() == pytest.approx(0.01 / math.sqrt(2.0), rel=0.01)


@given(st.integers(0, 6), st.lists(st.floats(-1.0, 1.0), min_size=13, max_size=13))
def test_a_series_is_given_back(order, numbers):
    coefficients = np.array(numbers[: 2 * order + 1])
    coefficients[0] += 10.0
    radii = fourier_terms(TURN, order) @ coefficients
    fit = fourier_radius(TURN + 2.0 * math.pi, radii, order)
    assert fit.coefficients == pytest.approx(coefficients, abs=1e-10)  # rounding of 360 sums
    step = 1e-6
    slope = (fit.radius(TURN + step) - fit.radius(TURN - step)) / (2 * step)
    assert fit.slope(TURN) == pytest.approx(slope, abs=1e-6)  # central differences over 1e-6


@given(st.integers(0, 500))
def test_a_fifth_of_wrong_radii_does_no_harm(seed):
    generator = np.random.default_rng(seed)
    true = series(2.5, *generator.uniform(-0.1, 0.1, 6))
    radii = true.radius(TURN)
    wrong = generator.choice(360, 72, replace=False)
    radii[wrong] += generator.uniform(0.05, 1.0, 72)
    radii[(wrong + 7) % 360] = np.nan
    fit = fourier_radius(TURN, radii, 3)
    assert fit.radius(TURN) == pytest.approx(true.radius(TURN), abs=1e-9)  # the rest is exact
    assert not fit.used[wrong].any()


def test_a_gap_is_refused_without_a_prior_and_uncertain_with_one():
    radii = np.where(np.arange(360) < 150, np.nan, 2.5)
    with pytest.raises(MeasurementRefused, match="gap too wide"):
        fourier_radius(TURN, radii, 12)
    settings = FourierSettings(prior_sd=(0.1,) * 12, sd=0.01)
    fit = fourier_radius(TURN, radii, 12, settings=settings)
    sd = fit.sd(TURN)
    assert sd[75] > 0.05  # the prior's waviness, hardly held by the ends of the gap
    assert sd[250] < 0.01
    assert np.sqrt(np.diag(fit.covariance_between(TURN))) == pytest.approx(sd, rel=1e-9)


@given(st.floats(1.0, 30.0))
def test_correlated_errors_widen_the_sd_by_their_root(length):
    radii = 2.5 + np.random.default_rng(1).normal(0.0, 0.01, 360)
    plain = fourier_radius(TURN, radii, 3).sd(TURN)
    wide = fourier_radius(TURN, radii, 3, settings=FourierSettings(correlated_points=length))
    assert wide.sd(TURN) == pytest.approx(math.sqrt(length) * plain, rel=1e-9)


def test_weights_count_as_repeats():
    generator = np.random.default_rng(2)
    radii = 2.5 + generator.normal(0.0, 0.01, 360)
    weights = generator.integers(0, 4, 360)
    rules = FourierSettings(robust=False, sd=0.01)
    weighted = fourier_radius(TURN, radii, 4, weights.astype(float), rules)
    repeated = fourier_radius(
        np.repeat(TURN, weights), np.repeat(radii, weights), 4, settings=rules
    )
    # The same normal equations, summed in another order.
    assert weighted.coefficients == pytest.approx(repeated.coefficients, abs=1e-12)
    assert weighted.covariance == pytest.approx(repeated.covariance, abs=1e-14)


@given(st.floats(-1.2, 1.2), st.floats(-1.2, 1.2))
def test_radius_along_from_any_point_inside(x, y):
    ellipse = Ellipse(0.2, -0.1, 3.0, 2.4, 0.7)
    assume(bool(ellipse.contains(np.array([[x, y]]))[0]))
    curve = ClosedCurve.through(ellipse.points(TURN))
    # Cubic interpolation over 2880 samples.
    assert curve.radius_along(TURN, (x, y)) == pytest.approx(
        ellipse.radius_along(TURN, (x, y)), abs=1e-7
    )


def test_what_is_no_curve_is_refused():
    with pytest.raises(WrongInput, match="four finite points"):
        ClosedCurve.through(np.zeros((3, 2)))
    with pytest.raises(WrongInput, match="must differ"):
        ClosedCurve.through(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    with pytest.raises(WrongInput, match="above 0"):
        ClosedCurve.from_radius(series(0.1, 1.0, 0.0))
    with pytest.raises(WrongInput, match="rows of one length"):
        fourier_radius(TURN, TURN[:-1], 2)
    with pytest.raises(MeasurementRefused, match="at least 8 points"):
        fourier_radius(TURN[:7], TURN[:7] + 1.0, 3)
