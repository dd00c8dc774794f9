"""What does a centred system do to rays near its axis? Matrices, cardinal points, pupils.

A state is (y, w): place and reduced slope w = n dy/ds, each with an x and a y part; s counts
along the light, whichever way it runs along z. A surface of curvature matrix K bends by
w' = w - σ (n' - n) K y (σ = ±1 the way of the light along z; n' = -n for a mirror, after which
σ turns). Own derivation from the usual matrix method.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.optics.media import Gradient, Medium
from rimwise.optics.pose import Pose
from rimwise.optics.surface import Surface
from rimwise.optics.system import System
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

CENTRED = 1e-9  # mm or rad
SERIES_TERMS = 24
SERIES_STEP_MM = 0.5


@dataclass(frozen=True, slots=True)
class RayMatrix:
    """The linear map from just before the first surface to just behind the last.

    Parameters
    ----------
    matrix : array, shape (4, 4)
        Acts on (x, y, wx, wy).
    start_z_mm, end_z_mm : float
        Vertices between which it holds.
    start_index, end_index : float
        Index before and behind.
    start_way, end_way : int
        +1 where light travels towards +z, else -1.
    """

    matrix: FloatArray
    start_z_mm: float
    end_z_mm: float
    start_index: float
    end_index: float
    start_way: int
    end_way: int

    def in_meridian(self, meridian_rad: float = 0.0) -> tuple[float, float, float, float]:
        """Return A, B, C, D of one meridian; refuses one that does not keep its rays.

        Examples
        --------
        >>> from rimwise.optics.surface import sphere
        >>> from rimwise.optics.system import refract
        >>> m = ray_matrix(System((refract(sphere(-7.8), 1.376),)), way=-1)
        >>> round(-1000.0 * m.in_meridian()[2], 4)
        48.2051
        """
        along = np.array([math.cos(meridian_rad), math.sin(meridian_rad)])
        across = np.array([-along[1], along[0]])
        blocks = self.matrix.reshape(2, 2, 2, 2)
        leak = np.abs(np.einsum("i,aibj,j->ab", across, blocks, along))
        if np.any(leak > 1e-9 * (1.0 + np.abs(self.matrix).max())):
            raise WrongInput(
                f"the meridian at {meridian_rad:.6g} rad does not keep its rays; ask for a "
                "principal meridian of the system"
            )
        (a, b), (c, d) = np.einsum("i,aibj,j->ab", along, blocks, along)
        return float(a), float(b), float(c), float(d)


@dataclass(frozen=True, slots=True)
class CardinalPoints:
    """Power and cardinal points of one meridian; places are z in the system's frame.

    ``power_dpt`` is the equivalent power n' / f'; focal lengths are reduced to no medium.
    """

    power_dpt: float
    front_focus_z_mm: float
    back_focus_z_mm: float
    front_principal_z_mm: float
    back_principal_z_mm: float
    front_nodal_z_mm: float
    back_nodal_z_mm: float


@dataclass(frozen=True, slots=True)
class Pupil:
    """A paraxial image of the stop: where on the axis, and how large against the stop."""

    z_mm: float
    magnification: float


def ray_matrix(system: System, way: int = -1, upto: int | None = None, since: int = 0) -> RayMatrix:
    """Which matrix carries paraxial rays through a centred system?

    Parameters
    ----------
    system : System
        All surfaces and gradients on the z axis and upright.
    way : int
        -1 where light starts towards -z (into an eye), +1 towards +z.
    upto : int, optional
        First step that is left out; all are taken if not given.
    since : int
        First step that is taken.

    Returns
    -------
    RayMatrix

    Raises
    ------
    WrongInput
        If a surface is tilted or off the axis.

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import refract
    >>> cornea = System((refract(sphere(-7.7), 1.3375),))
    >>> round(-1000.0 * ray_matrix(cornea).in_meridian()[2], 3)
    43.831
    """
    stop = len(system.steps) if upto is None else upto
    media, matrix = system.media, np.eye(4)
    # Mirrors before the part that is asked for have turned the light already.
    start_way = way * (-1) ** sum(s.action == "reflect" for s in system.steps[:since])
    sigma, z = start_way, 0.0
    for i in range(since, stop):
        step = system.steps[i]
        _check_centred(step.surface.pose, step.surface.name or f"step {i}")
        vertex = step.surface.pose.vertex_mm[2]
        if i > since:
            matrix = _transfer(media[i], z, vertex, sigma) @ matrix
        z = vertex
        before, behind = _index_at(media[i], z), _index_at(media[i + 1], z)
        if step.action != "pass":
            behind = -before if step.action == "reflect" else behind
            bend = np.eye(4)
            bend[2:, :2] = -sigma * (behind - before) * _curvature(step.surface)
            matrix = bend @ matrix
        sigma = -sigma if step.action == "reflect" else sigma
    first = system.steps[since].surface.pose.vertex_mm[2]
    ends = _index_at(media[since], first), _index_at(media[stop], z)
    return RayMatrix(matrix, first, z, *ends, start_way, sigma)


def cardinal_points(m: RayMatrix, meridian_rad: float = 0.0) -> CardinalPoints:
    """Where are the focal, principal and nodal points?

    Raises
    ------
    WrongInput
        If the system has no power.

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import refract
    >>> eye = cardinal_points(ray_matrix(System((refract(sphere(-7.8), 1.336),)), way=-1))
    >>> round(eye.power_dpt, 4), round(eye.back_focus_z_mm, 4), round(eye.front_nodal_z_mm, 4)
    (43.0769, -31.0143, -7.8)
    """
    a, _, c, d = m.in_meridian(meridian_rad)
    if abs(c) < 1e-12:
        raise WrongInput("the system has no power, so it has no cardinal points")
    n, n2 = m.start_index, m.end_index

    def front(path_mm: float) -> float:
        return m.start_z_mm + m.start_way * path_mm

    def back(path_mm: float) -> float:
        return m.end_z_mm + m.end_way * path_mm

    return CardinalPoints(
        power_dpt=-1000.0 * c,
        front_focus_z_mm=front(n * d / c),
        back_focus_z_mm=back(-n2 * a / c),
        front_principal_z_mm=front(n * (d - 1.0) / c),
        back_principal_z_mm=back(n2 * (1.0 - a) / c),
        front_nodal_z_mm=front((n * d - n2) / c),
        back_nodal_z_mm=back((n - n2 * a) / c),
    )


def entrance_pupil(system: System, stop: int, way: int = -1, meridian_rad: float = 0.0) -> Pupil:
    """Where and how large does the stop look from in front of a centred system?

    Parameters
    ----------
    system : System
    stop : int
        Step that is the stop.
    way : int
        The way of the light along z at the start.

    Returns
    -------
    Pupil
        ``magnification`` is the pupil's size over the stop's.

    Examples
    --------
    >>> from rimwise.optics.pose import Pose
    >>> from rimwise.optics.surface import plane, sphere
    >>> from rimwise.optics.system import pass_through, refract
    >>> iris = pass_through(plane(Pose.at(0.0, 0.0, -3.0)))
    >>> pupil = entrance_pupil(System((refract(sphere(-7.7), 1.336), iris)), 1)
    >>> round(pupil.z_mm, 3), round(pupil.magnification, 3)
    (-2.489, 1.109)
    """
    m = ray_matrix(system, way, upto=stop + 1)
    a, b, _, _ = m.in_meridian(meridian_rad)
    return Pupil(m.start_z_mm + m.start_way * m.start_index * b / a, 1.0 / a)


def exit_pupil(system: System, stop: int, way: int = -1, meridian_rad: float = 0.0) -> Pupil:
    """Where and how large does the stop look from behind a centred system?

    Examples
    --------
    >>> from rimwise.optics.surface import plane
    >>> from rimwise.optics.system import pass_through
    >>> exit_pupil(System((pass_through(plane()),)), 0).magnification
    1.0
    """
    m = ray_matrix(system, way, since=stop)
    _, b, _, d = m.in_meridian(meridian_rad)
    return Pupil(m.end_z_mm - m.end_way * m.end_index * b / d, 1.0 / d)


def image_z_mm(m: RayMatrix, object_z_mm: float, meridian_rad: float = 0.0) -> float:
    """Where on the axis is a point of the axis imaged? Infinity where rays leave parallel.

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> from rimwise.optics.system import refract
    >>> eye = ray_matrix(System((refract(sphere(-5.55), 4.0 / 3.0),)))
    >>> round(image_z_mm(eye, 1e9), 3)
    -22.2
    """
    a, b, c, d = m.in_meridian(meridian_rad)
    reduced = m.start_way * (m.start_z_mm - object_z_mm) / m.start_index
    below = c * reduced + d
    if below == 0.0:
        return math.inf
    return m.end_z_mm - m.end_way * m.end_index * (a * reduced + b) / below


def _check_centred(pose: Pose, name: str) -> None:
    x, y, _ = pose.vertex_mm
    tilt = math.hypot(pose.rotation[0][2], pose.rotation[1][2])
    if tilt > CENTRED or math.hypot(x, y) > CENTRED or pose.rotation[2][2] < 0.0:
        raise WrongInput(
            f"{name} is tilted by {tilt:.3g} rad and {math.hypot(x, y):.3g} mm off the axis; "
            "paraxial matrices need a centred, upright system: trace real rays instead"
        )


def _curvature(surface: Surface) -> FloatArray:
    """Return the curvature matrix at the vertex in the system's x and y."""
    pose = surface.pose.turned(surface.axis_rad).matrix()[:2, :2]
    own = np.diag([surface.curvature_x_per_mm, surface.curvature_y_per_mm])
    curvature: FloatArray = pose @ own @ pose.T
    return curvature


def _index_at(medium: Medium, z_mm: float) -> float:
    if isinstance(medium, Gradient):
        _check_centred(medium.pose, medium.name or "a gradient")
        return medium.index_on_axis(z_mm - medium.pose.vertex_mm[2])
    return medium


def _transfer(medium: Medium, from_z_mm: float, to_z_mm: float, sigma: int) -> FloatArray:
    """Return the matrix of a stretch between two vertices."""
    path = sigma * (to_z_mm - from_z_mm)
    if isinstance(medium, Gradient):
        two = _gradient_transfer(medium, from_z_mm, path, sigma)
    else:
        two = np.array([[1.0, path / medium], [0.0, 1.0]])
    return np.asarray(np.kron(two, np.eye(2)), dtype=np.float64)


def _gradient_transfer(
    medium: Gradient, from_z_mm: float, path_mm: float, sigma: int
) -> FloatArray:
    """Solve n0 y' = w, w' = 2 n2 y along the axis by power series, stretch by stretch."""
    count = max(1, math.ceil(abs(path_mm) / SERIES_STEP_MM))
    step = path_mm / count
    matrix: FloatArray = np.eye(2)
    for k in range(count):
        z = from_z_mm - medium.pose.vertex_mm[2] + sigma * k * step
        n0, n2 = _around(medium, 0, z, sigma), _around(medium, 1, z, sigma)
        columns = [_series(n0, n2, step, start) for start in ((1.0, 0.0), (0.0, 1.0))]
        matrix = np.array(columns, dtype=np.float64).T @ matrix
    return matrix


def _around(medium: Gradient, i: int, z_mm: float, sigma: int) -> list[float]:
    """Return the polynomial in s of the factor of r^(2i), about height z, s along the light."""
    degree = max(j for _, j, _ in medium.terms)
    found = [0.0] * (degree + 1)
    for power, j, factor in medium.terms:
        if power == i:
            for k in range(j + 1):
                found[k] += factor * math.comb(j, k) * z_mm ** (j - k) * sigma**k
    return found


def _series(
    n0: list[float], n2: list[float], step_mm: float, start: tuple[float, float]
) -> tuple[float, float]:
    """Return y and w after a step, from their power series about its start."""
    y, w = [start[0]], [start[1]]
    for k in range(SERIES_TERMS):
        pull = sum(n2[j] * y[k - j] for j in range(min(k + 1, len(n2))))
        known = sum(n0[j] * (k + 1 - j) * y[k + 1 - j] for j in range(1, min(k + 1, len(n0))))
        y.append((w[k] - known) / ((k + 1) * n0[0]))
        w.append(2.0 * pull / (k + 1))
    power = [step_mm**k for k in range(SERIES_TERMS + 1)]
    return float(np.dot(y, power)), float(np.dot(w, power))
