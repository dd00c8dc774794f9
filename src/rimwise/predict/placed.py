"""Where does the implant stand, and which eye is that?"""

import math
from dataclasses import replace

from rimwise.eye.axes import fovea_mm
from rimwise.eye.build import eye_model
from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.published.load import published_value
from rimwise.records.eye import EyeRecord
from rimwise.records.sight import ImplantPlace, Pair
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import axis_deg

MOST_TILT_DEG = 45.0
_EXACT = Estimate(0.0, 0.0, "ideal placement")


def placed_model(record: EyeRecord, place: ImplantPlace) -> EyeModel:
    """Which surfaces has this eye with its implant standing there?

    Parameters
    ----------
    record : EyeRecord
        Of an eye with an implant.
    place : ImplantPlace
        Its values are taken, not its ±.

    Raises
    ------
    WrongInput
        If the eye holds no implant, the implant stands so far off or so oblique that light along
        the corneal axis misses its optic, or it would touch cornea or retina there.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_record(Known("right", "implant"))
    >>> placed_model(eye, place_at(eye, (0.3, 0.0))).lens.shift_mm
    (0.3, 0.0)
    """
    shape = record.implant
    if shape is None:
        raise WrongInput(
            f"a placement came for a {record.side} eye with a {record.lens} lens; only an implant "
            "is placed: give power_dpt in [implant]"
        )
    _check_place(place, shape.optic_diameter_mm)
    if place.marks_deg is not None:
        shape = replace(shape, axis_deg=axis_deg(place.marks_deg.value))
    numbers = record.numbers | {"lens_front_depth_mm": place.front_depth_mm}
    model = eye_model(replace(record, numbers=numbers, implant=shape))
    tilt_x, tilt_y = (math.radians(one.value) for one in place.tilt_deg)
    shift_x, shift_y = (one.value for one in place.shift_mm)
    return model.with_lens((tilt_x, tilt_y), (shift_x, shift_y))


def _check_place(place: ImplantPlace, optic_mm: float) -> None:
    """Refuse a place at which no optic images anything, whose numbers would still look like some.

    Raises
    ------
    WrongInput
        The optic is off the corneal axis by half its diameter, or tilted by more than 45°.
    """
    off_mm = math.hypot(*(one.value for one in place.shift_mm))
    if off_mm >= 0.5 * optic_mm:
        raise WrongInput(
            f"an optic of {optic_mm:g} mm came {off_mm:.2f} mm off the corneal axis, so that light "
            f"along it misses the optic; less than {0.5 * optic_mm:g} mm is allowed, check the "
            "placement"
        )
    tilt_deg = max(abs(one.value) for one in place.tilt_deg)
    if tilt_deg > MOST_TILT_DEG:
        raise WrongInput(
            f"a tilt of {tilt_deg:g}° came; up to {MOST_TILT_DEG:g}° is allowed, where light still "
            "passes both surfaces of an optic: check the placement"
        )


def place_at(
    record: EyeRecord,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    marks_deg: float | None = None,
    pair: Pair = "optic-from-limbus",
) -> ImplantPlace:
    """Where does an implant stand exactly here, at its eye's own depth, marks where they belong?

    Parameters
    ----------
    record : EyeRecord
        Of an eye with an implant.
    shift_mm, tilt_deg : (float, float)
        From the corneal axis.
    marks_deg : float, optional
        Of a toric implant; its planned axis if not given.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> place_at(eye_record(Known("right", "implant"))).shift_mm[0].sd
    0.0
    """
    if marks_deg is None and record.implant is not None and record.implant.cylinder_dpt:
        marks_deg = record.implant.axis_deg
    marks = None if marks_deg is None else Estimate(axis_deg(marks_deg), 0.0, "given")
    shift = (replace(_EXACT, value=shift_mm[0]), replace(_EXACT, value=shift_mm[1]))
    tilt = (replace(_EXACT, value=tilt_deg[0]), replace(_EXACT, value=tilt_deg[1]))
    depth = replace(record.numbers["lens_front_depth_mm"], sd=0.0)
    return ImplantPlace(shift, tilt, marks, depth, pair)


def fovea_of(record: EyeRecord) -> Vec3:
    """Where is the fovea of this eye, whatever its implant does?

    Returns
    -------
    tuple of 3 floats
        Where the visual axis of the eye with its implant upright on the corneal axis meets the
        retina's plane.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> fovea_of(eye_record(Known("right", "implant", axial_mm=23.6)))[2]
    -23.6
    """
    visual = (record.value("visual_x_deg"), record.value("visual_y_deg"))
    return fovea_mm(eye_model(record), visual)


def unknown_tilt() -> tuple[Estimate, Estimate]:
    """How does an implant stand whose tilt nobody measured? Upright, with the prior's ±.

    Examples
    --------
    >>> unknown_tilt()[0].sd > 0.0
    True
    """
    prior = published_value("eye_priors", "lens_tilt")
    one = Estimate(prior.value, prior.sd or 0.0, "published prior")
    return one, one
