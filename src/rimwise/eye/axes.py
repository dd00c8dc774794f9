"""Axes of an eye and the angles between them, by definition and by trace.

All in the eye's own frame. A direction is where the anterior end points: x and y, each the
arctangent of a slope. Optical axis: the line nearest to the surfaces' centres of curvature.
Corneal axis: z. Pupillary axis: the line of sight to the pupil's centre that meets the cornea
square on. Visual axis: the ray to the fovea that runs in air as it runs in the vitreous. Line of
sight: the ray to the fovea through the real pupil's centre.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rimwise.eye.camera import Camera
from rimwise.eye.model import EyeModel
from rimwise.eye.schematic import eye_optics
from rimwise.eye.seen import Sight
from rimwise.optics.pose import as_vec3
from rimwise.optics.rays import rays
from rimwise.optics.surface import Surface
from rimwise.optics.system import System, pass_through
from rimwise.optics.trace import trace
from rimwise.records.eye import EyePose
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_PROBE, _NEAR, _TURNS = 1e-6, 1e-12, 30
# A camera that looks along the line of fixation from so far sees as from infinity to 1e-5.
_FAR_MM = 1e5


@dataclass(frozen=True, slots=True)
class AxisRay:
    """One axis: where it points in front of the eye and where it crosses the cornea's plane.

    Parameters
    ----------
    direction_deg : tuple of 2 floats
    at_cornea_mm : tuple of 2 floats
        In the plane across the corneal axis at the corneal vertex.
    """

    direction_deg: tuple[float, float]
    at_cornea_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class EyeAxes:
    """All axes, the angles between them and the chords that a camera sees.

    Parameters
    ----------
    optical, corneal, pupillary, visual, line_of_sight : AxisRay
    alpha_deg : tuple of 2 floats
        Visual axis from optical axis.
    kappa_deg : tuple of 2 floats
        Visual axis from pupillary axis.
    lambda_deg : tuple of 2 floats
        Line of sight from pupillary axis.
    chord_mu_mm : tuple of 2 floats
        Apparent: pupil's centre from the fixating eye's P1, seen along the line of fixation.
    chord_mu_real_mm : tuple of 2 floats
        The same from P1's place to the real pupil's centre, across the line of fixation.
    chord_alpha_mm : tuple of 2 floats
        Centre of the limbus (on the corneal axis) from the fixating eye's P1, seen so.
    """

    optical: AxisRay
    corneal: AxisRay
    pupillary: AxisRay
    visual: AxisRay
    line_of_sight: AxisRay
    alpha_deg: tuple[float, float]
    kappa_deg: tuple[float, float]
    lambda_deg: tuple[float, float]
    chord_mu_mm: tuple[float, float]
    chord_mu_real_mm: tuple[float, float]
    chord_alpha_mm: tuple[float, float]


def fovea_mm(model: EyeModel, visual_deg: tuple[float, float]) -> tuple[float, float, float]:
    """Where is the fovea, if the visual axis points there by the paraxial definition?

    Parameters
    ----------
    model : EyeModel
        With its retina; tilt and shift of the lens are left out of account.
    visual_deg : tuple of 2 floats
        Visual axis from corneal axis in front of the eye.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> x, y, z = fovea_mm(schematic_model(schematic_eye("legrand")), (5.0, 0.0))
    >>> round(x, 3), round(z, 3)
    (-1.46, -24.197)
    """
    if model.retina_depth_mm is None:
        raise WrongInput(f"the eye {model.name!r} has no retina; give axial_mm")
    nodal_z = _round_optics_nodal(model)
    way = -model.retina_depth_mm - nodal_z
    x, y = (math.tan(math.radians(one)) * way for one in visual_deg)
    return x, y, -model.retina_depth_mm


def eye_axes(
    model: EyeModel,
    fovea: tuple[float, float, float],
    limbus_mm: tuple[float, float, float] = (0.0, 0.0, -2.6),
) -> EyeAxes:
    """Where do the axes of this eye run, by exact trace?

    Parameters
    ----------
    model : EyeModel
        Lens and pupil placed.
    fovea : tuple of 3 floats
        See :func:`fovea_mm`.
    limbus_mm : tuple of 3 floats
        Centre of the limbus.

    Raises
    ------
    WrongInput
        If an axis cannot be traced through this eye.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> axes = eye_axes(eye, fovea_mm(eye, (5.0, 0.0)))
    >>> round(axes.visual.direction_deg[0], 2), round(axes.chord_mu_mm[0], 2)
    (5.0, -0.42)
    """
    visual = _visual(model, fovea)
    sight = _line_of_sight(model, fovea)
    pupillary, optical = _pupillary(model), _optical(model)
    mu, real, alpha = _chords(model, visual.direction_deg, limbus_mm)
    return EyeAxes(
        optical,
        AxisRay((0.0, 0.0), (0.0, 0.0)),
        pupillary,
        visual,
        sight,
        _between(visual, optical),
        _between(visual, pupillary),
        _between(sight, pupillary),
        mu,
        real,
        alpha,
    )


def paraxial_visual_axis_mm(model: EyeModel, angle_rad: float) -> tuple[float, float]:
    """Where does the visual axis cross the planes of cornea and lens front, near the axis?

    Parameters
    ----------
    model : EyeModel
        Centred.
    angle_rad : float
        From the optical axis, small.

    Returns
    -------
    tuple of 2 floats
        Height in the plane of the corneal vertex, and real height in that of the lens's front.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> [round(one, 4) for one in paraxial_visual_axis_mm(eye, math.radians(5.0))]
    [0.6283, 0.3212]
    """
    optics = eye_optics(model)
    nodal = -optics.points.front_nodal_z_mm
    # The object-space ray aims at N; the stop's plane is seen at the entrance pupil, enlarged.
    apparent = (nodal + optics.entrance.z_mm) * angle_rad
    return nodal * angle_rad, apparent / optics.entrance.magnification


def front_nodal_depth_mm(model: EyeModel) -> float:
    """How deep behind the corneal front does the front nodal point lie, cylinders left out?

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> round(front_nodal_depth_mm(schematic_model(schematic_eye("legrand"))), 2)
    7.2
    """
    return -eye_optics(_round_optics(model)).points.front_nodal_z_mm


def _round_optics_nodal(model: EyeModel) -> float:
    return eye_optics(_round_optics(model)).points.back_nodal_z_mm


def _round_optics(model: EyeModel) -> EyeModel:
    parts = tuple(part.rounded for part in model.parts)
    return EyeModel(model.name, parts, model.stop_depth_mm, model.retina_depth_mm)


def _between(one: AxisRay, other: AxisRay) -> tuple[float, float]:
    (a, b), (c, d) = one.direction_deg, other.direction_deg
    return a - c, b - d


def _degrees(way: FloatArray) -> tuple[float, float]:
    x, y, z = (float(one) for one in way)
    return math.degrees(math.atan2(x, z)), math.degrees(math.atan2(y, z))


def _as_axis(place: FloatArray, way: FloatArray) -> AxisRay:
    at = place - way * (place[2] / way[2])
    return AxisRay(_degrees(way), (float(at[0]), float(at[1])))


Answer = tuple[FloatArray, FloatArray, FloatArray]


def _found(answer: Callable[[FloatArray], Answer], start: FloatArray, what: str) -> AxisRay:
    """Newton for two slopes; ``answer`` gives misses (n, 2), places and directions in air."""
    slopes = np.array(start, dtype=np.float64)
    probes = _PROBE * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    for _ in range(_TURNS):
        gap, places, ways = answer(slopes + probes)
        if not np.isfinite(gap).all():
            break
        if np.hypot(*gap[0]) <= _NEAR:
            return _as_axis(places[0], ways[0])
        by = np.column_stack([gap[1] - gap[2], gap[3] - gap[4]]) / (2.0 * _PROBE)
        step = np.linalg.solve(by, gap[0])
        slopes = slopes - step
        if np.abs(step).max() < 1e-15:
            return _as_axis(places[0], ways[0])
    gap, places, ways = answer(slopes + probes[:1])
    if np.isfinite(gap).all() and np.hypot(*gap[0]) <= 1e3 * _NEAR:
        return _as_axis(places[0], ways[0])
    raise WrongInput(f"the {what} of this eye cannot be traced; check its biometry")


def _from(point: FloatArray, slopes: FloatArray, system: System) -> tuple[FloatArray, FloatArray]:
    ways = np.column_stack([slopes, np.ones(len(slopes))])
    out = trace(system, rays(point, ways), engine="numpy")
    return out.positions_mm, out.directions


def _visual(model: EyeModel, fovea: tuple[float, float, float]) -> AxisRay:
    outward, point = model.refracting.reversed().unclipped(), np.array(fovea)

    def answer(slopes: FloatArray) -> Answer:
        places, ways = _from(point, slopes, outward)
        return ways[:, :2] / ways[:, 2:] - slopes, places, ways

    nodal = np.array([0.0, 0.0, _round_optics_nodal(model)])
    start = (nodal - point)[:2] / (nodal - point)[2]
    return _found(answer, start, "visual axis")


def _line_of_sight(model: EyeModel, fovea: tuple[float, float, float]) -> AxisRay:
    outward, point = model.refracting.reversed().unclipped(), np.array(fovea)
    lens = System(outward.steps[: len(outward.steps) - model.stop_step] or outward.steps[:1],
                  outward.start)  # fmt: skip
    pupil, stop_z = np.array(model.pupil_mm), -model.stop_depth_mm
    bare = model.stop_step == len(model.parts)

    def answer(slopes: FloatArray) -> Answer:
        at, inside = _from(point, slopes, lens)
        if bare:
            at = np.broadcast_to(point, at.shape)
            inside = np.column_stack([slopes, np.ones(len(slopes))])
        crossing = at[:, :2] + inside[:, :2] * ((stop_z - at[:, 2]) / inside[:, 2])[:, None]
        places, ways = _from(point, slopes, outward)
        return crossing - pupil, places, ways

    target = np.array([*model.pupil_mm, stop_z]) - point
    return _found(answer, target[:2] / target[2], "line of sight")


def _pupillary(model: EyeModel) -> AxisRay:
    """Leave the pupil's centre so that the cornea's front is met along its normal."""
    outward = model.cornea.reversed()
    point = np.array([*model.pupil_mm, -model.stop_depth_mm])
    front = model.parts[0].surface

    def answer(slopes: FloatArray) -> Answer:
        places, ways = _from(point, slopes, outward)
        normal = _normals(front, places)
        gap = ways[:, :2] / ways[:, 2:] - normal[:, :2] / normal[:, 2:]
        return gap, places, ways

    centre = 1.0 / model.parts[0].rounded.surface.curvature_x_per_mm
    start = point[:2] / (point[2] - centre)
    return _found(answer, start, "pupillary axis")


def _normals(surface: Surface, points: FloatArray) -> FloatArray:
    """Return normals of an upright surface pointing out, (n, 3), by differences of its sag."""
    step = 1e-5
    x, y = points[:, 0], points[:, 1]
    by_x = (surface.sag_mm(x + step, y) - surface.sag_mm(x - step, y)) / (2.0 * step)
    by_y = (surface.sag_mm(x, y + step) - surface.sag_mm(x, y - step)) / (2.0 * step)
    return np.column_stack([-by_x, -by_y, np.ones(len(points))])


def _optical(model: EyeModel) -> AxisRay:
    centres = []
    for part in model.placed:
        surface = part.rounded.surface
        if surface.curvature_x_per_mm != 0.0:
            local = np.array([0.0, 0.0, 1.0 / surface.curvature_x_per_mm])
            centres.append(surface.pose.outward(local))
    points = np.array(centres)
    middle = points.mean(axis=0)
    if len(points) < 2:
        return AxisRay((0.0, 0.0), (0.0, 0.0))
    way = np.linalg.svd(points - middle)[2][0]
    return _as_axis(middle, way if way[2] > 0.0 else -way)


def _chords(
    model: EyeModel, visual_deg: tuple[float, float], limbus: tuple[float, float, float]
) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    """Return chord mu, its real counterpart and chord alpha, seen along the line of fixation."""
    x_rad, y_rad = (math.radians(one) for one in visual_deg)
    camera = Camera.in_front(_FAR_MM).turned(x_rad, y_rad)
    axes = np.array(camera.axes)
    front = model.parts[0].surface

    def answer(places_2: FloatArray) -> Answer:
        sag = front.sag_mm(places_2[:, 0], places_2[:, 1])
        points = np.column_stack([places_2, sag])
        normal = _normals(front, points)
        gap = normal[:, :2] - axes[:2, 2] / axes[2, 2]
        return gap, points, np.broadcast_to(axes[:, 2], points.shape)

    radius = -1.0 / model.parts[0].rounded.surface.curvature_x_per_mm
    reflex = _reflex_place(answer, radius * axes[:2, 2], front)
    sight = Sight(model, EyePose(), camera)
    pupil = np.array([*model.pupil_mm, -model.stop_depth_mm])
    seen = camera.plane_mm_from_slopes(camera.slopes_from_px(sight.project(pupil[None])))[0]
    across = (np.array([pupil, limbus]) - reflex) @ axes[:, :2]
    apparent = seen - camera.plane_mm_from_slopes(camera.slopes(reflex[None]))[0]
    pairs = (apparent, across[0], across[1])
    mu, real, alpha = ((float(one[0]), float(one[1])) for one in pairs)
    return mu, real, alpha


def _reflex_place(
    answer: Callable[[FloatArray], Answer], start: FloatArray, front: Surface
) -> FloatArray:
    """Find where the cornea looks straight at the fixated light: P1 is seen in that direction."""
    axis = _found(answer, start, "reflex of the fixated light")
    # The ray found there runs through the place along the line of fixation.
    way = np.array([math.tan(math.radians(one)) for one in axis.direction_deg] + [1.0])
    origin = np.array([*axis.at_cornea_mm, 0.0])
    met = trace(System((pass_through(front),)), rays(origin + 50.0 * way, -way), engine="numpy")
    return np.array(as_vec3(met.positions_mm[0]))
