"""Curves and circles against general-purpose libraries: shapely (GEOS), OpenCV, scikit-image."""

import cv2
import numpy as np
import pytest
import shapely
from skimage.measure import CircleModel, EllipseModel

from rimwise.geometry.circle import fit_circle
from rimwise.geometry.cover import circle_cover, cover_areas, cover_of_curve
from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.ellipse import Ellipse, fit_ellipse
from rimwise.geometry.enclosing import smallest_enclosing_circle
from rimwise.geometry.fourier import FourierRadius

TURN = np.radians(np.arange(0.0, 360.0))


def lobed(seed: int) -> tuple[ClosedCurve, np.ndarray]:
    """A lobed curve, and the same as a polygon of 200,000 corners."""
    generator = np.random.default_rng(seed)
    coefficients = np.concatenate([[2.6], generator.uniform(-0.12, 0.12, 8)])
    series = FourierRadius(coefficients, np.zeros((9, 9)), 0.0, np.ones(0, bool))
    centre = (0.2, -0.1)
    steps = np.arange(200_000) * (2.0 * np.pi / 200_000)
    return ClosedCurve.from_radius(series, centre), series.points(steps, centre)


@pytest.mark.parametrize("seed", range(5))
def test_area_centroid_perimeter_of_shapely(seed):
    curve, corners = lobed(seed)
    polygon = shapely.Polygon(corners)
    # A polygon of 2·10⁵ corners falls short of its curve by (2π/2·10⁵)²/6 = 2e-10.
    assert curve.area == pytest.approx(polygon.area, rel=1e-9)
    assert curve.perimeter == pytest.approx(polygon.length, rel=1e-9)
    assert curve.centroid == pytest.approx((polygon.centroid.x, polygon.centroid.y), abs=1e-9)
    hull = shapely.minimum_rotated_rectangle(polygon).exterior.coords
    sides = np.hypot(*np.diff(np.array(hull), axis=0).T)
    # The narrowest box is at least as wide as the narrowest pair of jaws, and its diagonal holds
    # the widest.
    assert curve.widths()[1] <= sides.min() + 1e-4
    assert curve.widths()[0] <= np.hypot(sides[0], sides[1]) + 1e-9


@pytest.mark.parametrize("seed", range(5))
def test_areas_of_optic_and_opening_of_shapely(seed):
    curve, corners = lobed(seed)
    fine = np.arange(100_000) * (2.0 * np.pi / 100_000)
    optic = shapely.Polygon(2.7 * np.stack([np.cos(fine), np.sin(fine)], axis=-1))
    opening = shapely.Polygon(corners)
    areas = cover_areas(2.7, cover_of_curve(2.7, curve, TURN))
    # Kinks at the ends of bare arcs, at steps of a degree.
    assert areas.covered_mm2 == pytest.approx(optic.difference(opening).area, abs=1e-3)
    assert areas.outside_mm2 == pytest.approx(opening.difference(optic).area, abs=1e-3)
    percent = 100.0 * optic.difference(opening).area / optic.area
    assert areas.covered_percent == pytest.approx(percent, abs=0.005)


def test_two_circles_of_shapely():
    fine = np.arange(100_000) * (2.0 * np.pi / 100_000)
    ring = np.stack([np.cos(fine), np.sin(fine)], axis=-1)
    for optic, opening, offset in ((3.0, 2.5, 0.7), (2.5, 2.6, 0.3), (3.0, 2.9, 1.5)):
        first = shapely.Polygon(optic * ring)
        second = shapely.Polygon(opening * ring + [offset, 0.0])
        cover = circle_cover(optic, opening, offset)
        # Polygons of 10⁵ corners: 1e-9 of their area.
        assert cover.outside_mm2 == pytest.approx(second.difference(first).area, abs=1e-6)
        assert cover.covered_mm2 == pytest.approx(first.difference(second).area, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_enclosing_circle_of_opencv_and_shapely(seed):
    generator = np.random.default_rng(seed)
    points = generator.normal(0.0, 2.0, (generator.integers(3, 720), 2))
    cx, cy, radius = smallest_enclosing_circle(points)
    (ox, oy), reach = cv2.minEnclosingCircle(points.astype(np.float32))
    # OpenCV works in float32 and lets points stand out by 1e-4 of the radius.
    assert (cx, cy, radius) == pytest.approx((ox, oy, reach), abs=2e-3)
    assert radius <= reach + 1e-4
    exact = shapely.minimum_bounding_radius(shapely.MultiPoint(points))
    assert radius == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_fits_of_opencv_and_scikit_image(seed):
    """Direct and geometric fits scatter alike: they agree to a fraction of their sd."""
    generator = np.random.default_rng(seed)
    points = Ellipse(310.0, 240.0, 150.0, 130.0, 0.6).points(TURN)
    points = points + generator.normal(0.0, 0.5, points.shape)
    fit = fit_ellipse(points, robust=False)
    sd = np.sqrt(np.diag(fit.covariance))
    (x, y), (width, height), _ = cv2.fitEllipseDirect(points.astype(np.float32))
    other = np.array([x, y, max(width, height) / 2.0, min(width, height) / 2.0])
    ours = np.array([fit.ellipse.cx, fit.ellipse.cy, fit.ellipse.a, fit.ellipse.b])
    # Algebraic and geometric distances weigh points differently by up to a/b.
    assert np.abs((ours - other) / sd[:4]).max() < 1.0
    model = EllipseModel.from_estimate(points)
    assert model.residuals(points) == pytest.approx(
        np.abs(fit.ellipse.signed_distance(points)), abs=1.0
    )
    circle = fit_circle(points)
    round_model = CircleModel.from_estimate(points)
    assert (circle.cx, circle.cy) == pytest.approx(tuple(round_model.center), abs=0.2)
