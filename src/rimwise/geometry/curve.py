"""A smooth closed curve: its sizes, widths, roundness and radius by direction (convention 11)."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.circle import CircleFit, fit_circle
from rimwise.geometry.fourier import FourierRadius
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_SAMPLES = 1024  # widths of a 3 mm curve are then good to 0.02 µm, areas to round-off
_DIRECTIONS = 720  # quarter-degree steps for the widths, then finer about each extremum
_FINER = 64


@dataclass(frozen=True, slots=True, eq=False)
class ClosedCurve:
    """A smooth closed curve, counter-clockwise, sampled in equal steps of a parameter over [0, 2π).

    Parameters
    ----------
    points : array, shape (n, 2)
    tangents : array, shape (n, 2)
        Derivatives of the points in the parameter.

    Notes
    -----
    Integrals are sums over the samples: for a periodic smooth curve the trapezium rule converges
    faster than any power of the step (any numerics textbook).

    Examples
    --------
    >>> ring = ClosedCurve.through(np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]]))
    >>> bool(abs(ring.circularity - 1.0) < 0.005)
    True
    """

    points: FloatArray
    tangents: FloatArray

    @classmethod
    def through(cls, points: FloatArray) -> "ClosedCurve":
        """Which smooth curve runs through these ordered points (n, 2) and closes?

        Periodic cubic spline over the chord length; the last point is not the first repeated.

        Raises
        ------
        WrongInput
            Fewer than four points, a number that is not finite, or two equal neighbours.
        """
        from scipy.interpolate import CubicSpline  # noqa: PLC0415  scipy is loaded late

        knots = np.asarray(points, dtype=np.float64)
        if knots.ndim != 2 or knots.shape[1] != 2 or len(knots) < 4 or not np.isfinite(knots).all():
            raise WrongInput(f"a closed curve needs four finite points (n, 2), got {knots.shape}")
        ring = np.concatenate([knots, knots[:1]])
        chords = np.hypot(*np.diff(ring, axis=0).T)
        if not (chords > 0.0).all():
            raise WrongInput("neighbouring points of a closed curve must differ; drop the repeats")
        place = np.concatenate([[0.0], np.cumsum(chords)])
        place *= 2.0 * math.pi / place[-1]
        spline = CubicSpline(place, ring, bc_type="periodic")
        steps = _steps(max(_SAMPLES, 8 * len(knots)))
        return cls._oriented(spline(steps), spline(steps, 1))

    @classmethod
    def from_radius(
        cls, series: FourierRadius, centre: tuple[float, float] = (0.0, 0.0)
    ) -> "ClosedCurve":
        """Which curve has this radius by direction about a centre?"""
        steps = _steps(max(_SAMPLES, 16 * series.order))
        radius, slope = series.radius(steps), series.slope(steps)
        if not (radius > 0.0).all():
            raise WrongInput("the radius must be above 0 in every direction")
        cos, sin = np.cos(steps), np.sin(steps)
        points = np.stack([centre[0] + radius * cos, centre[1] + radius * sin], axis=-1)
        tangents = np.stack([slope * cos - radius * sin, slope * sin + radius * cos], axis=-1)
        return cls(points, tangents)

    @classmethod
    def _oriented(cls, points: FloatArray, tangents: FloatArray) -> "ClosedCurve":
        curve = cls(points, tangents)
        if curve._signed_area() >= 0.0:
            return curve
        return cls(points[::-1].copy(), -tangents[::-1])

    def _signed_area(self) -> float:
        x, y = self.points.T
        dx, dy = self.tangents.T
        return 0.5 * float(np.mean(x * dy - y * dx)) * 2.0 * math.pi

    @property
    def area(self) -> float:
        """Enclosed area."""
        return self._signed_area()

    @property
    def centroid(self) -> tuple[float, float]:
        """Centroid of the enclosed area."""
        shift = self.points.mean(axis=0)
        x, y = (self.points - shift).T
        dx, dy = self.tangents.T
        scale = 2.0 * math.pi / self.area
        return (
            float(shift[0] + scale * np.mean(x * x * dy) / 2.0),
            float(shift[1] - scale * np.mean(y * y * dx) / 2.0),
        )

    @property
    def perimeter(self) -> float:
        """Length of the curve."""
        return 2.0 * math.pi * float(np.mean(self._speed()))

    def _speed(self) -> FloatArray:
        return np.asarray(np.hypot(self.tangents[:, 0], self.tangents[:, 1]))

    @property
    def circularity(self) -> float:
        """4πA/P²: 1 for a circle, less for anything else."""
        return 4.0 * math.pi * self.area / self.perimeter**2

    @property
    def equivalent_diameter(self) -> float:
        """Diameter 2√(A/π) of the circle of the same area."""
        return 2.0 * math.sqrt(self.area / math.pi)

    def widths(self) -> tuple[float, float]:
        """What are the largest and the smallest width, as between the jaws of a caliper?"""
        step = math.pi / _DIRECTIONS
        angles = np.asarray(np.arange(_DIRECTIONS) * step, dtype=np.float64)
        widths = self._widths_along(angles)
        # The smallest width has a kink where the touching points change: the step shows there.
        near = np.arange(-_FINER, _FINER + 1).astype(np.float64) * (step / _FINER)
        largest, smallest = float(angles[widths.argmax()]), float(angles[widths.argmin()])
        return (
            float(self._widths_along(largest + near).max()),
            float(self._widths_along(smallest + near).min()),
        )

    def _widths_along(self, angles_rad: FloatArray) -> FloatArray:
        along = np.stack([np.cos(angles_rad), np.sin(angles_rad)], axis=1)
        heights = along @ self.points.T
        return np.asarray(heights.max(axis=1) - heights.min(axis=1))

    def best_circle(self) -> CircleFit:
        """Which circle lies nearest, every part of the curve counted by its length?"""
        return fit_circle(self.points, weights=self._speed())

    def radial_deviation_rms(self) -> float:
        """How far, root mean square along the curve, is it from its best-fit circle?"""
        circle = self.best_circle()
        rest = np.hypot(*(self.points - [circle.cx, circle.cy]).T) - circle.radius
        return math.sqrt(float(np.average(rest * rest, weights=self._speed())))

    def moved(self, shift: FloatArray) -> "ClosedCurve":
        """Which curve is this one shifted by (x, y)?"""
        return ClosedCurve(self.points + np.asarray(shift, dtype=np.float64), self.tangents)

    def radius_along(
        self, directions_rad: FloatArray, origin: tuple[float, float] = (0.0, 0.0)
    ) -> FloatArray:
        """How far is the curve in these directions from a point inside it?

        Cubic in direction between samples, from radius and slope (fourth order in the step).

        Raises
        ------
        WrongInput
            The curve is not star-shaped about the origin: some direction would meet it twice.
        """
        reach = self.points - np.asarray(origin, dtype=np.float64)
        radius = np.hypot(reach[:, 0], reach[:, 1])
        turning = reach[:, 0] * self.tangents[:, 1] - reach[:, 1] * self.tangents[:, 0]
        angle = np.unwrap(np.arctan2(reach[:, 1], reach[:, 0]))
        step = np.diff(angle, append=angle[0] + 2.0 * math.pi)
        if not ((turning > 0.0).all() and (step > 0.0).all()):
            raise WrongInput(
                f"the curve is not seen whole from ({origin[0]}, {origin[1]}); "
                "choose a point well inside it"
            )
        slope = radius * (reach * self.tangents).sum(axis=1) / turning
        asked = angle[0] + (np.asarray(directions_rad, dtype=np.float64) - angle[0]) % (2 * math.pi)
        left = np.clip(np.searchsorted(angle, asked, side="right") - 1, 0, len(angle) - 1)
        right = (left + 1) % len(angle)
        width = step[left]
        t = (asked - angle[left]) / width
        return np.asarray(
            radius[left] * (1 + 2 * t) * (1 - t) ** 2
            + radius[right] * t * t * (3 - 2 * t)
            + width * t * (1 - t) * (slope[left] * (1 - t) - slope[right] * t)
        )


def _steps(count: int) -> FloatArray:
    return np.asarray(np.arange(count) * (2.0 * math.pi / count))
