"""From the record of an eye to its surfaces."""

import math

from rimwise.eye.implant import implant_parts
from rimwise.eye.model import EyeModel, Part
from rimwise.optics.pose import Pose
from rimwise.optics.surface import Surface, biconic, conic
from rimwise.published.load import published_value
from rimwise.records.eye import EyeRecord


def eye_model(record: EyeRecord) -> EyeModel:
    """Which surfaces has this eye?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> model = eye_model(eye_record(Known("right", axial_mm=23.6)))
    >>> [part.role for part in model.parts]
    ['cornea front', 'cornea back', 'lens front', 'lens back']
    """
    n = record.value
    axis = record.steep_axis_deg
    aqueous = published_value("cornea", "index_aqueous").value
    front = _corneal(record, "front", Pose())
    back = _corneal(record, "back", Pose.at(0.0, 0.0, -n("corneal_thickness_mm")))
    parts = [
        Part("cornea front", front, published_value("cornea", "index_cornea").value),
        Part("cornea back", back, aqueous),
    ]
    vitreous = published_value("eye_priors", "index_vitreous").value
    if record.lens == "implant" and record.implant is not None:
        parts += implant_parts(record.implant, n("lens_front_depth_mm"), vitreous)
    elif record.lens == "natural":
        parts += _natural_lens(record, vitreous)
    # Without a lens the pupil hangs free: where the iris of such an eye usually is.
    depth = n("lens_front_depth_mm") if record.lens != "none" else _free_iris_mm()
    if record.lens == "implant":
        depth = min(depth, _free_iris_mm())
    name = f"{record.side} eye, {record.lens} lens" + ("" if axis is None else f", {axis:g}°")
    return EyeModel(
        name,
        tuple(parts),
        depth,
        n("axial_mm"),
        pupil_mm=(n("pupil_x_mm"), n("pupil_y_mm")),
        pupil_diameter_mm=n("pupil_diameter_mm"),
    )


def _free_iris_mm() -> float:
    return published_value("eye_priors", "iris_depth_without_lens").value


def _corneal(record: EyeRecord, which: str, pose: Pose) -> Surface:
    flat, steep = (record.value(f"{which}_{one}_mm") for one in ("flat", "steep"))
    k, name = record.value(f"{which}_conic"), f"cornea {which}"
    if flat == steep or record.steep_axis_deg is None:
        mean = 2.0 / (1.0 / flat + 1.0 / steep)
        return conic(-mean, k, pose, name=name)
    # The first radius lies along axis_rad: the steep meridian.
    axis = math.radians(record.steep_axis_deg)
    return biconic((-steep, -flat), (k, k), axis, pose, name=name)


def _natural_lens(record: EyeRecord, vitreous: float) -> list[Part]:
    n = record.value
    depth, thickness = n("lens_front_depth_mm"), n("lens_thickness_mm")
    front = conic(-n("lens_front_radius_mm"), n("lens_front_conic"),
                  Pose.at(0.0, 0.0, -depth), name="lens front")  # fmt: skip
    back = conic(n("lens_back_radius_mm"), n("lens_back_conic"),
                 Pose.at(0.0, 0.0, -depth - thickness), name="lens back")  # fmt: skip
    return [Part("lens front", front, n("lens_index")), Part("lens back", back, vitreous)]
