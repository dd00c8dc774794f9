"""What an optic centred on each of the four candidate centres would cost in contrast."""

import math
from dataclasses import replace

import numpy as np

from rimwise.eye.axes import front_nodal_depth_mm
from rimwise.eye.build import eye_model
from rimwise.eye.known import known_from_case
from rimwise.eye.this_eye import eye_record
from rimwise.optics.refraction import least_squares_refraction
from rimwise.plan.traced import FLATTEST_DPT
from rimwise.predict.carry import carrying, chebyshev
from rimwise.predict.criteria import best_sphere_dpt, view_of
from rimwise.predict.gratings import USUAL
from rimwise.predict.make import GLASSES_PUPIL_MM, JUDGED_CPD
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.sensitivity import Elsewhere
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord
from rimwise.records.plan import CentreContrast, ContrastCost, Plan
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.terms.estimate import Estimate

# Gauss's three points of the normal law and their weights: exact for a parabola and its square.
_STEPS_SD = (-math.sqrt(3.0), 0.0, math.sqrt(3.0))
_WEIGHTS = (1.0 / 6.0, 2.0 / 3.0, 1.0 / 6.0)

_NODES = 3
_LEAST_HALF_MM = 0.05  # where all places lie in one line
# How far off may the optic stand: by this loss, looked for up to there, along these directions.
_LOSS, _REACH_MM, _RINGS, _SPOKES, _WIDE_NODES = 0.1, 1.0, 10, 16, 5


def with_contrast(case: CaseSheet, plan: Plan) -> Plan:
    """What would each centre cost in contrast, were the optic to rest there?

    Parameters
    ----------
    case : CaseSheet
    plan : Plan
        Made from this sheet.

    Returns
    -------
    Plan
        With ``contrast``; without it and with a reason where it cannot be told. A refused plan as
        it came.

    Notes
    -----
    All places are looked at through the same glasses, those of the optic on the corneal axis. The
    ± is that of the optic about its rest, a normal law taken by Gauss's points.

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import PlannedImplant
    >>> case = CaseSheet("E-1", "right", "none", implant=PlannedImplant(6.0))
    >>> [one.code for one in with_contrast(case, make_plan(case)).warnings][-1]
    'contrast-not-told'
    """
    if not plan.centres:
        return plan
    lacks = _lacks(case)
    if lacks:
        return _not_told(plan, f"which takes {lacks}")
    record = _eye(case, plan)
    try:
        return replace(plan, contrast=_costs(record, plan))
    except (MeasurementRefused, WrongInput) as refusal:
        return _not_told(plan, f"for this eye: {refusal.sentence.rstrip('.')}")


def _lacks(case: CaseSheet) -> str:
    """Return what is missing or stands in the way, as for a sight with this implant."""
    implant, cornea = case.implant, case.cornea
    if case.corneal_surgery != "none":
        return "a cornea that was never operated and is not irregular"
    if implant is None or implant.power_dpt is None:
        return "power_dpt in [implant]"
    if implant.profile is not None:
        return "an implant without a profile"
    if case.lengths.axial_mm is None:
        return "axial_mm in [lengths]"
    if cornea.radius_mm is None and cornea.radius_flat_mm is None:
        return "radius_flat_mm and radius_steep_mm in [cornea]"
    return ""


def _not_told(plan: Plan, why: str) -> Plan:
    reason = Reason(
        "contrast-not-told",
        f"What each centre would cost in contrast is not told, {why}.",
    )
    return replace(plan, warnings=(*plan.warnings, reason))


def _eye(case: CaseSheet, plan: Plan) -> EyeRecord:
    """Return the eye with its implant, its visual axis where the plan has it."""
    implant = case.implant
    assert implant is not None
    axis = implant.axis_deg if plan.toric is None else plan.toric.axis_deg
    implant = replace(implant, axis_deg=axis, power_dpt=implant.power_dpt or FLATTEST_DPT)
    record = eye_record(known_from_case(replace(case, implant=implant), "implant"))
    natural = eye_record(known_from_case(case))
    at = next(one.target_mm for one in plan.centres if one.centre == "visual_axis")
    ahead_mm = front_nodal_depth_mm(eye_model(natural)) - natural.value("lens_front_depth_mm")
    x, y = (math.degrees(math.atan2(one, ahead_mm)) for one in at)
    said = {"visual_x_deg": x, "visual_y_deg": y}
    places = {name: Estimate(value, 0.0, "the plan's visual axis") for name, value in said.items()}
    return replace(record, numbers=record.numbers | places)


def _ask(record: EyeRecord) -> Elsewhere:
    """Return the eye behind the glasses that suit the optic on the corneal axis best."""
    best = view_of(placed_model(record, place_at(record)), fovea_of(record), GLASSES_PUPIL_MM)
    squares = least_squares_refraction(best.green)
    glasses = replace(squares, m_dpt=best_sphere_dpt(best, squares))
    return Elsewhere(record, glasses, record.value("pupil_diameter_mm"), JUDGED_CPD, USUAL)


def _costs(record: EyeRecord, plan: Plan) -> ContrastCost:
    asked = _ask(record)
    sd_x, sd_y = plan.spread.optic_from_rest_sd_mm
    about = np.array([(x * sd_x, y * sd_y) for x in _STEPS_SD for y in _STEPS_SD])
    weight = np.outer(_WEIGHTS, _WEIGHTS).ravel()
    middles = np.array([one.target_mm for one in plan.centres])
    kept = _contrasts(asked, (middles[:, None] + about).reshape(-1, 2))
    by_centre = kept.reshape(len(middles), len(about))
    at_rest = by_centre[:, len(about) // 2]
    sd = np.sqrt((by_centre - (by_centre @ weight)[:, None]) ** 2 @ weight)
    return ContrastCost(
        asked.pupil_mm,
        asked.frequency_cpd,
        tuple(
            CentreContrast(one.centre, Estimate(float(at_rest.max() - here), float(scatter)))
            for one, here, scatter in zip(plan.centres, at_rest, sd, strict=True)
        ),
        _LOSS,
        _allowed_mm(asked),
        _REACH_MM,
    )


def _allowed_mm(asked: Elsewhere) -> float | None:
    """Return how far off the corneal axis no direction loses more than the allowed share.

    Straight between rings of places a tenth of a millimetre apart: within 0.01 mm of the circle
    on the map of the sight.
    """
    radii = _REACH_MM * np.arange(_RINGS + 1) / _RINGS
    turn = 2.0 * math.pi * np.arange(_SPOKES) / _SPOKES
    ways = np.column_stack([np.cos(turn), np.sin(turn)])
    places = (radii[1:, None, None] * ways).reshape(-1, 2)
    kept = _contrasts(asked, np.vstack([[[0.0, 0.0]], places]), _WIDE_NODES)
    least = np.concatenate([kept[:1], kept[1:].reshape(_RINGS, _SPOKES).min(axis=1)])
    floor = (1.0 - _LOSS) * least[0]
    below = np.flatnonzero(least < floor)
    if not len(below):
        return None
    k = int(below[0])
    share = (least[k - 1] - floor) / (least[k - 1] - least[k])
    return float(radii[k - 1] + share * (radii[k] - radii[k - 1]))


def _contrasts(asked: Elsewhere, places_mm: FloatArray, count: int = _NODES) -> FloatArray:
    """Return the contrast of optics at these places, (n, 2) from the corneal axis, (n,).

    Waves bend with the optic's place as a parabola does, to a thousandth of the contrast over the
    few tenths of a millimetre here: nine places are traced, and their waves carried to the rest;
    further off a side of the square needs more than three of them, ``count``.
    """
    fovea = fovea_of(asked.record)
    low, high = places_mm.min(axis=0), places_mm.max(axis=0)
    half = np.maximum(0.5 * (high - low), _LEAST_HALF_MM)
    nodes = 0.5 * (low + high) + half * chebyshev(count)[:, None]
    told = np.array(
        [
            [asked.view(place_at(asked.record, (x, y)), fovea).colours_um for y in nodes[:, 1]]
            for x in nodes[:, 0]
        ]
    )
    across = carrying(nodes[:, 0], places_mm[:, 0])
    along = carrying(nodes[:, 1], places_mm[:, 1])
    return asked.contrast(np.einsum("pi,pj,ij...->...p", across, along, told))
