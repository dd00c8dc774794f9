"""What is to be said of one eye: cardinal points, axes, and the reflexes it will show."""

import math

from rimwise.eye.axes import eye_axes, fovea_mm
from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera
from rimwise.eye.model import EyeModel
from rimwise.eye.schematic import eye_optics
from rimwise.published.load import published_value
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.scene import limbus_of
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyePose, EyeRecord
from rimwise.records.eye_description import AxisAngles, CardinalDepths, EyeDescription


def describe_eye(code: str, record: EyeRecord) -> EyeDescription:
    """What do this eye's optics do, where do its axes run, where will its reflexes appear?

    Parameters
    ----------
    code : str
        Pseudonym of the eye.
    record : EyeRecord

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> told = describe_eye("E-1", eye_record(Known("right", axial_mm=23.6)))
    >>> [one.name for one in told.reflexes], 55.0 < told.cardinal.power_dpt < 68.0
    (['P1', 'P2', 'P3', 'P4'], True)
    """
    model = eye_model(record)
    visual = (record.value("visual_x_deg"), record.value("visual_y_deg"))
    _, depth = limbus_of(record, model)
    axes = eye_axes(model, fovea_mm(model, visual), (0.0, 0.0, -depth))
    angles = AxisAngles(
        axes.visual.direction_deg,
        axes.line_of_sight.direction_deg,
        axes.pupillary.direction_deg,
        axes.optical.direction_deg,
        axes.alpha_deg,
        axes.kappa_deg,
        axes.lambda_deg,
        axes.chord_mu_mm,
        axes.chord_mu_real_mm,
        axes.chord_alpha_mm,
    )
    away = published_value("eye_priors", "working_distance").value
    x, y = (math.radians(-one) for one in axes.visual.direction_deg)
    pivot = published_value("eye_priors", "centre_of_rotation").value
    # Turned so that the visual axis runs along the camera's axis.
    pose = EyePose((x, y), pivot_depth_mm=pivot)
    seen = reflexes(model, pose, SetUp(Camera.in_front(away), ((0.0, 0.0, away),)))
    return EyeDescription(code, record, _cardinal(model), angles, seen, away)


def _cardinal(model: EyeModel) -> CardinalDepths:
    optics = eye_optics(
        EyeModel(
            model.name,
            tuple(part.rounded for part in model.parts),
            model.stop_depth_mm,
            model.retina_depth_mm,
        )
    )
    p = optics.points
    return CardinalDepths(
        p.power_dpt,
        optics.corneal_power_dpt,
        optics.lens_power_dpt,
        optics.refraction_dpt,
        -p.front_focus_z_mm,
        -p.back_focus_z_mm,
        -p.front_principal_z_mm,
        -p.back_principal_z_mm,
        -p.front_nodal_z_mm,
        -p.back_nodal_z_mm,
        -optics.entrance.z_mm,
        -optics.exit.z_mm,
        optics.entrance.magnification,
        optics.exit.magnification,
    )
