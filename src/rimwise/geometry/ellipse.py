"""The ellipse as a value, and the ellipse through measured points with its covariance."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.ellipse_settling import settled
from rimwise.geometry.ellipse_shape import distances_and_slopes, semi_axis_slopes
from rimwise.geometry.ellipse_start import starting_shape
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

_FLATTEST = 0.01  # b/a below which the points are a line; no outline here is seen so obliquely
_UNIFORM_AXIS_VARIANCE = math.pi**2 / 12.0  # of an axis about which nothing is known


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse in a plane of any unit; angles run from the first axis towards the second.

    Parameters
    ----------
    cx, cy : float
        Centre.
    a, b : float
        Semi-axes, a >= b > 0.
    angle_rad : float
        Direction of the long semi-axis, [0, π).

    Examples
    --------
    >>> ring = Ellipse(1.0, 2.0, 3.0, 2.0, 0.0)
    >>> round(ring.area, 6), round(ring.mean_radius, 6)
    (18.849556, 2.44949)
    """

    cx: float
    cy: float
    a: float
    b: float
    angle_rad: float = 0.0

    def __post_init__(self) -> None:
        values = (self.cx, self.cy, self.a, self.b, self.angle_rad)
        if not all(math.isfinite(value) for value in values) or not self.a >= self.b > 0.0:
            raise WrongInput(f"an ellipse needs finite numbers with a >= b > 0, got {values}")

    @classmethod
    def from_matrix(cls, centre: tuple[float, float], matrix: FloatArray) -> "Ellipse":
        """Which ellipse is the unit circle's image under u -> centre + matrix @ u?

        Examples
        --------
        >>> Ellipse.from_matrix((0.0, 0.0), np.array([[0.0, -1.0], [2.0, 0.0]]))
        Ellipse(cx=0.0, cy=0.0, a=2.0, b=1.0, angle_rad=1.5707963267948966)
        """
        vectors, sizes, _ = np.linalg.svd(np.asarray(matrix, dtype=np.float64))
        angle_rad = math.atan2(vectors[1, 0], vectors[0, 0]) % math.pi
        return cls(
            float(centre[0]),
            float(centre[1]),
            float(sizes[0]),
            float(sizes[1]),
            0.0 if angle_rad >= math.pi else angle_rad,
        )

    @property
    def centre(self) -> FloatArray:
        """The centre as an array (2,)."""
        return np.array([self.cx, self.cy])

    @property
    def matrix(self) -> FloatArray:
        """The symmetric matrix that carries the unit circle about 0 onto this ellipse about 0."""
        cos, sin = math.cos(self.angle_rad), math.sin(self.angle_rad)
        turn = np.array([[cos, -sin], [sin, cos]])
        return np.asarray(turn @ np.diag([self.a, self.b]) @ turn.T)

    @property
    def area(self) -> float:
        """Enclosed area, in the unit squared."""
        return math.pi * self.a * self.b

    @property
    def mean_radius(self) -> float:
        """Radius √(ab) of the circle of the same area."""
        return math.sqrt(self.a * self.b)

    def points(self, theta_rad: FloatArray) -> FloatArray:
        """Which points (n, 2) have these eccentric anomalies, counted from the long axis?

        Examples
        --------
        >>> Ellipse(1.0, 2.0, 3.0, 2.0).points(np.array([0.0])).tolist()
        [[4.0, 2.0]]
        """
        cos, sin = math.cos(self.angle_rad), math.sin(self.angle_rad)
        x, y = self.a * np.cos(theta_rad), self.b * np.sin(theta_rad)
        return np.stack([self.cx + cos * x - sin * y, self.cy + sin * x + cos * y], axis=-1)

    def radius_along(
        self, directions_rad: FloatArray, origin: tuple[float, float] | None = None
    ) -> FloatArray:
        """How far is the outline in these directions from the centre, or from a point inside?

        Raises
        ------
        WrongInput
            The origin is not inside the ellipse.

        Examples
        --------
        >>> Ellipse(0.0, 0.0, 3.0, 2.0).radius_along(np.array([0.0, np.pi / 2])).round(9).tolist()
        [3.0, 2.0]
        """
        x, y = (self.cx, self.cy) if origin is None else origin
        inverse = np.linalg.inv(self.matrix)
        start = inverse @ np.array([x - self.cx, y - self.cy])
        if start @ start >= 1.0:
            raise WrongInput(
                f"the origin ({x}, {y}) is outside the ellipse; choose a point inside it"
            )
        angles = np.asarray(directions_rad, dtype=np.float64)
        ray = np.stack([np.cos(angles), np.sin(angles)], axis=-1) @ inverse.T
        square, along = (ray * ray).sum(axis=-1), ray @ start
        root = np.sqrt(along * along + square * (1.0 - start @ start))
        return np.asarray((root - along) / square)

    def signed_distance(self, points: FloatArray) -> FloatArray:
        """How far is each point (n, 2) from the outline: positive outside, negative inside?

        Exact: the foot point is found by a monotone Newton iteration.

        Examples
        --------
        >>> Ellipse(0.0, 0.0, 3.0, 2.0).signed_distance(np.array([[4.0, 0.0], [0.0, 1.5]])).tolist()
        [1.0, -0.5]
        """
        return distances_and_slopes(points, _shape_of(self))[0]

    def contains(self, points: FloatArray) -> BoolArray:
        """Is each point (n, 2) inside or on the outline?"""
        inner = (np.asarray(points, dtype=np.float64) - self.centre) @ np.linalg.inv(self.matrix).T
        return np.asarray((inner * inner).sum(axis=-1) <= 1.0)

    def affine(self, matrix: FloatArray, shift: FloatArray) -> "Ellipse":
        """Which ellipse is the image under p -> matrix @ p + shift?

        Examples
        --------
        >>> Ellipse(1.0, 0.0, 1.0, 1.0).affine(np.diag([2.0, 3.0]), np.array([0.0, 5.0]))
        Ellipse(cx=2.0, cy=5.0, a=3.0, b=2.0, angle_rad=1.5707963267948966)
        """
        centre = np.asarray(matrix) @ self.centre + shift
        return Ellipse.from_matrix((centre[0], centre[1]), np.asarray(matrix) @ self.matrix)


@dataclass(frozen=True, slots=True, eq=False)
class EllipseFit:
    """An ellipse through measured points, with its covariance.

    Parameters
    ----------
    ellipse : Ellipse
    covariance : array, shape (5, 5)
        Of (cx, cy, a, b, angle_rad). Where the outline is a circle within its noise the variance
        of the angle is that of an unknown axis, π²/12, without correlations.
    shape_covariance : array, shape (5, 5)
        Of (cx, cy, m, p, q) with the outline c + [[m + p, q], [q, m - p]] u; regular at the circle.
    rms : float
        Root mean square distance of the used points from the outline.
    used : array of bool, shape (n,)
        Which points were used.

    Examples
    --------
    >>> ring = Ellipse(0.0, 0.0, 3.0, 2.0).points(np.arange(0.0, 6.0, 0.5))
    >>> fit = fit_ellipse(ring, sd=0.01)
    >>> bool(0.002 < fit.edge_sd(np.array([0.0]))[0] < 0.02)
    True
    """

    ellipse: Ellipse
    covariance: FloatArray
    shape_covariance: FloatArray
    rms: float
    used: BoolArray

    def edge_sd(self, directions_rad: FloatArray) -> FloatArray:
        """What is the sd of the outline, along its normal, in these directions from the centre?"""
        points = self.ellipse.centre + self.ellipse.radius_along(directions_rad)[:, None] * (
            np.stack([np.cos(directions_rad), np.sin(directions_rad)], axis=-1)
        )
        slopes = distances_and_slopes(points, _shape_of(self.ellipse))[1]
        return np.asarray(np.sqrt(np.einsum("ni,ij,nj->n", slopes, self.shape_covariance, slopes)))


def _shape_of(ellipse: Ellipse) -> FloatArray:
    matrix = ellipse.matrix
    return np.array(
        [
            ellipse.cx,
            ellipse.cy,
            (matrix[0, 0] + matrix[1, 1]) / 2.0,
            (matrix[0, 0] - matrix[1, 1]) / 2.0,
            matrix[0, 1],
        ]
    )


def _fit_of(
    points: FloatArray, sd: FloatArray, shape: FloatArray, used: BoolArray, sd_known: bool
) -> EllipseFit:
    distance, slopes = distances_and_slopes(points[used], shape)
    scaled = slopes / sd[used, None]
    z = distance / sd[used]
    factor = float(z @ z) / max(len(z) - 5, 1)
    information = scaled.T @ scaled
    if not np.linalg.cond(information) < 1e14:
        raise MeasurementRefused(
            "no-ellipse", "the points do not determine an ellipse; more of the outline is needed"
        )
    factor = max(1.0, factor) if sd_known else factor
    inner = np.asarray(factor * np.linalg.inv(information), dtype=np.float64)
    turn = semi_axis_slopes(shape)
    covariance = turn @ inner @ turn.T
    if covariance[4, 4] > _UNIFORM_AXIS_VARIANCE:
        covariance[4, :] = covariance[:, 4] = 0.0
        covariance[4, 4] = _UNIFORM_AXIS_VARIANCE
    m, p, q = shape[2:]
    ellipse = Ellipse.from_matrix((shape[0], shape[1]), np.array([[m + p, q], [q, m - p]]))
    rms = math.sqrt(float(distance @ distance) / len(distance))
    if ellipse.b < max(_FLATTEST * ellipse.a, 2.0 * rms):
        raise MeasurementRefused(
            "no-ellipse", "the points lie along a line; choose points along one closed outline"
        )
    return EllipseFit(ellipse, covariance, inner, rms, used)


def fit_ellipse(
    points: FloatArray,
    sd: FloatArray | float | None = None,
    robust: bool = True,
    compiled: bool = False,
) -> EllipseFit:
    """Which ellipse runs through these points, and how well is it known?

    Least squares of the orthogonal distances, started from a direct algebraic fit.

    Parameters
    ----------
    points : array, shape (n, 2), n >= 6
        Any plane unit; an arc is enough, the covariance then says how little it tells.
    sd : float or array (n,), optional
        Standard deviation of each point across the outline. Without it the scatter of the used
        points stands in for it. With it the covariance is that of the stated sd, or larger in the
        measure in which the points scatter more. Errors of neighbours are taken as independent:
        where they are not, pass an sd larger by the root of the correlation length in points.
    robust : bool
        Leave out points that do not belong; holds up to about a third of them.
    compiled : bool
        Whether to load the compiler, for many ellipses; they are the same.

    Raises
    ------
    WrongInput
        Not an (n, 2) array of at least six finite points.
    MeasurementRefused
        The points determine no ellipse (code "no-ellipse").

    Notes
    -----
    Geometric fit by Levenberg-Marquardt with analytic slopes; Tukey's biweight, then plain least
    squares on the points within 3.5 sd that do not stand alone on an unseen side (own arrangement
    of textbook parts).

    Examples
    --------
    >>> ring = Ellipse(10.0, 20.0, 5.0, 4.0, 0.3).points(np.linspace(0.0, 6.0, 40))
    >>> found = fit_ellipse(ring).ellipse
    >>> round(found.cx, 6), round(found.cy, 6), round(found.a, 6), round(found.angle_rad, 6)
    (10.0, 20.0, 5.0, 0.3)
    """
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 6 or not np.isfinite(points).all():
        raise WrongInput(
            f"an ellipse is fitted to at least six finite points (n, 2), got shape {points.shape}"
        )
    size = float(np.ptp(points, axis=0).max())
    # The working shift keeps pixel coordinates in the thousands from costing digits.
    shift = points.mean(axis=0)
    local = points - shift
    spread = np.ones(len(points)) if sd is None else np.broadcast_to(np.asarray(sd), len(points))
    if not (np.isfinite(spread).all() and (spread > 0.0).all()):
        raise WrongInput("the sd of the points must be finite and above 0; leave it out if unknown")
    shape = starting_shape(local, robust, compiled)
    if not np.isfinite(shape).all() or shape[2] > 1e4 * size:
        raise MeasurementRefused(
            "no-ellipse", "the points lie on no ellipse; choose points along one closed outline"
        )
    shape, used = settled(local, spread, shape, robust, compiled)
    shape[:2] += shift
    return _fit_of(points, spread, shape, used, sd is not None)
