"""From a published schematic eye to a model that light can be sent through."""

import math
from dataclasses import dataclass, replace

from rimwise.eye.model import EyeModel, Part
from rimwise.optics.media import Gradient, Medium
from rimwise.optics.paraxial import (
    CardinalPoints,
    Pupil,
    cardinal_points,
    entrance_pupil,
    exit_pupil,
    image_z_mm,
    ray_matrix,
)
from rimwise.optics.pose import Pose
from rimwise.optics.surface import conic, plane
from rimwise.published.eyes import EyeSurface, SchematicEye
from rimwise.terms.errors import WrongInput


def schematic_model(eye: SchematicEye, refraction_dpt: float = 0.0) -> EyeModel:
    """Which model of surfaces does a published eye describe?

    Parameters
    ----------
    eye : SchematicEye
    refraction_dpt : float
        Spectacle refraction, for eyes whose prescription changes with it; within
        ``eye.refraction_limits_dpt``.

    Raises
    ------
    WrongInput
        If the prescription does not reach to this refraction.

    Examples
    --------
    >>> from rimwise.published.eyes import schematic_eye
    >>> round(eye_optics(schematic_model(schematic_eye("legrand"))).points.power_dpt, 3)
    59.94
    """
    low, high = eye.refraction_limits_dpt
    if not low <= refraction_dpt <= high:
        raise WrongInput(
            f"a refraction of {refraction_dpt} dpt came for {eye.name}; from {low} to {high} dpt "
            "is described"
        )
    parts = tuple(_part(surface, refraction_dpt) for surface in eye.surfaces)
    return EyeModel(
        eye.name, parts, eye.stop_depth.at(refraction_dpt), eye.retina_depth.at(refraction_dpt)
    )


def _part(given: EyeSurface, refraction_dpt: float) -> Part:
    """Papers count towards the retina; here +z points out of the eye."""
    pose = Pose.at(0.0, 0.0, 0.0 - given.depth.at(refraction_dpt))
    if given.radius is None or given.conic is None:
        surface = plane(pose, name=given.role)
    else:
        radius_mm = -given.radius.at(refraction_dpt)
        surface = conic(radius_mm, given.conic.at(refraction_dpt), pose, name=given.role)
    return Part(given.role, surface, _behind(given, pose, refraction_dpt))


def _behind(given: EyeSurface, pose: Pose, refraction_dpt: float) -> Medium:
    if given.index_behind is not None:
        return given.index_behind.at(refraction_dpt)
    n0, nz1, nz2, nr2 = (one.at(refraction_dpt) for one in given.gradient_behind)
    return Gradient(((0, 0, n0), (0, 1, -nz1), (0, 2, nz2), (1, 0, nr2)), pose, name=given.role)


@dataclass(frozen=True, slots=True)
class EyeOptics:
    """What a centred eye does to rays near its axis; places are z in mm, out of the eye positive.

    Parameters
    ----------
    points : CardinalPoints
        Of the whole eye.
    corneal_power_dpt, lens_power_dpt : float
        Of the two parts, each between its own media; None without a lens.
    entrance, exit : Pupil
        Images of the stop.
    refraction_dpt : float or None
        At the corneal vertex, of the point that is sharp on the retina; None where the eye has
        no retina.
    """

    points: CardinalPoints
    corneal_power_dpt: float
    lens_power_dpt: float | None
    entrance: Pupil
    exit: Pupil
    refraction_dpt: float | None


def eye_optics(model: EyeModel, meridian_rad: float = 0.0) -> EyeOptics:
    """Where are the cardinal points and pupils of this eye, and what is its refraction?

    Parameters
    ----------
    model : EyeModel
        Centred.
    meridian_rad : float
        A principal meridian where the eye has cylinder.

    Examples
    --------
    >>> from rimwise.published.eyes import schematic_eye
    >>> optics = eye_optics(schematic_model(schematic_eye("navarro1999")))
    >>> round(-optics.points.back_focus_z_mm, 3), round(abs(optics.refraction_dpt), 3)
    (23.92, 0.0)
    """
    system, count = model.refracting, model.stop_step
    points = cardinal_points(model.matrix, meridian_rad)
    cornea = ray_matrix(system, way=-1, upto=count).in_meridian(meridian_rad)[2]
    lens = None
    if count < len(system.steps):
        lens = -1000.0 * ray_matrix(system, way=-1, since=count).in_meridian(meridian_rad)[2]
    refraction = None
    if model.retina_depth_mm is not None:
        back = ray_matrix(system.reversed(), way=1)
        far_z_mm = image_z_mm(back, -model.retina_depth_mm, meridian_rad)
        refraction = 0.0 if math.isinf(far_z_mm) else -1000.0 / far_z_mm
    # Paraxial pupils ask how deep and how large, not how far off the axis.
    centred = replace(model, pupil_mm=(0.0, 0.0)).whole
    return EyeOptics(
        points,
        -1000.0 * cornea,
        lens,
        entrance_pupil(centred, count, way=-1, meridian_rad=meridian_rad),
        exit_pupil(centred, count, way=-1, meridian_rad=meridian_rad),
        refraction,
    )
