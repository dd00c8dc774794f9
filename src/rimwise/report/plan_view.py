"""Where everything of a plan appears in the surgeon's picture while the patient fixates."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera
from rimwise.eye.seen import EyePlane, Sight
from rimwise.purkinje.describe import describe_eye
from rimwise.purkinje.scene import limbus_of
from rimwise.records.case import Centre
from rimwise.records.eye import EyePose, EyeRecord
from rimwise.records.eye_description import EyeDescription
from rimwise.records.lens_power import ToricPlan
from rimwise.records.plan import CentrePlan, Plan
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import PictureFrame, Side, examiner_from_nasal_superior, nasal_superior

Seat = Literal["head", "side"]
Point = tuple[float, float]
_TURNS = np.radians(np.arange(0.0, 361.0, 3.0))


def seat_frame(seat: Seat, side: Side) -> PictureFrame:
    """How is the eye turned in the picture of a surgeon who sits there?

    At the head end superior points down; at the patient's side (the temple) temporal does.

    Examples
    --------
    >>> seat_frame("head", "left").superior_deg, seat_frame("side", "right").superior_deg
    (270.0, 180.0)
    >>> seat_frame("side", "left").superior_deg
    0.0
    """
    if seat == "head":
        return PictureFrame(270.0)
    return PictureFrame(90.0 + 90.0 * nasal_superior(1.0, 0.0, side)[0])


@dataclass(frozen=True, slots=True)
class SeenOpening:
    """One planned opening as it looks: its edge, (n, 2), and its target."""

    plan: CentrePlan
    edge_mm: FloatArray
    target_mm: Point


@dataclass(frozen=True, slots=True)
class PlanView:
    """What the surgeon's picture shows, examiner's frame, apparent mm at the limbus plane.

    Parameters
    ----------
    limbus_mm, pupil_mm, optic_mm : array (n, 2)
        Closed curves; the optic where it is expected to rest.
    openings : tuple of SeenOpening
        Of the chosen centre, or of all.
    targets : tuple of (centre, point)
        All candidates.
    reflexes : tuple of (name, point)
        Of one lamp on the axis of the microscope, before the operation, with fixation.
    dilated : bool
        Whether the pupil is the measured dilated one; else it is that of a room's light.
    marks_mm : array (2, 2) or None
        Ends of the optic's diameter along which the marks of a toric implant are meant to lie.
    """

    limbus_mm: FloatArray
    pupil_mm: FloatArray
    optic_mm: FloatArray
    openings: tuple[SeenOpening, ...]
    targets: tuple[tuple[Centre, Point], ...]
    reflexes: tuple[tuple[str, Point], ...]
    dilated: bool = True
    marks_mm: FloatArray | None = None


def seen_through(plan: Plan) -> bool:
    """Can it be told how things look through this cornea?

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import CaseSheet, OpeningWish, PlannedImplant
    >>> lens, wish = PlannedImplant(6.0), OpeningWish(5.1, "lens")
    >>> seen_through(make_plan(CaseSheet("E-1", "left", "graft", implant=lens, opening=wish)))
    False
    """
    return not {"cornea-irregular", "cornea-back-unknown"} & {one.code for one in plan.reasons}


def fixating(plan: Plan, told: EyeDescription, opening_depth_mm: float) -> EyeDescription:
    """How does this eye look when its visual axis runs where the plan has it?

    The plan's visual axis is a point of the opening plane; the axis goes through it and the front
    nodal point.

    Parameters
    ----------
    plan : Plan
        With centres.
    told : EyeDescription
        Of the eye before the operation, its visual axis from a prior.
    opening_depth_mm : float
        From the corneal front.
    """
    at = next(one.target_mm for one in plan.centres if one.centre == "visual_axis")
    ahead_mm = told.cardinal.front_nodal_mm - opening_depth_mm
    x, y = (math.degrees(math.atan2(one, ahead_mm)) for one in at)
    record = told.record
    numbers = {
        **record.numbers,
        "visual_x_deg": Estimate(x, 0.0, "the plan's visual axis"),
        "visual_y_deg": Estimate(y, 0.0, "the plan's visual axis"),
    }
    return describe_eye(told.code, replace(record, numbers=numbers))


def plan_view(
    plan: Plan, told: EyeDescription, optic_depth_mm: float, pupil_dilated_mm: float | None
) -> PlanView:
    """Where do limbus, pupil, reflexes, opening and optic appear in the surgeon's picture?

    Every curve is traced through this cornea to the microscope, the eye turned so that its visual
    axis runs along the microscope's. Where it cannot be told how things look through this cornea,
    the curves are in real mm and no reflex is predicted.

    Parameters
    ----------
    plan : Plan
        With centres.
    told : EyeDescription
        Of the eye before the operation, with its natural lens.
    optic_depth_mm : float
        Expected depth of the implant's middle behind the corneal front.
    pupil_dilated_mm : float or None
        As measured through the cornea; None takes the pupil of the record.

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import CaseSheet, OpeningWish, PlannedImplant
    >>> lens, wish = PlannedImplant(6.0), OpeningWish(5.1, "lens")
    >>> plan = make_plan(CaseSheet("E-1", "left", "none", implant=lens, opening=wish))
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> told = describe_eye("E-1", eye_record(Known("left")))
    >>> view = plan_view(plan, told, 4.9, 7.0)
    >>> [name for name, _ in view.reflexes], len(view.openings)
    (['P1', 'P2', 'P3', 'P4'], 1)
    """
    record = told.record
    depth_mm = record.value("lens_front_depth_mm")
    told = fixating(plan, told, depth_mm)
    sight, limbus_depth_mm = _sight(told)
    plane = EyePlane.at_depth(limbus_depth_mm)

    def behind(points_mm: FloatArray, depth: float) -> FloatArray:
        if not seen_through(plan):
            return points_mm
        return _flat(sight, sight.project(_at(points_mm, depth)), plane)

    shown = plan.centres if plan.chosen is None else (plan.chosen,)
    openings = tuple(
        SeenOpening(
            one,
            behind(_circle(one.target_mm, one.judged_mm), depth_mm),
            _point(behind(np.array([one.target_mm]), depth_mm)),
        )
        for one in shown
    )
    limbus = _circle((0.0, 0.0), record.value("white_to_white_mm"))
    optic_at = _optic_mm(plan, shown[0])
    pupil_at = next(one.target_mm for one in plan.centres if one.centre == "pupil")
    return PlanView(
        limbus,
        _pupil(behind, record, pupil_at, pupil_dilated_mm),
        behind(_circle(optic_at, plan.optic_diameter_mm), optic_depth_mm),
        openings,
        tuple(
            (one.centre, _point(behind(np.array([one.target_mm]), depth_mm)))
            for one in plan.centres
        ),
        _reflexes(told, sight, plane) if seen_through(plan) else (),
        pupil_dilated_mm is not None,
        None if plan.toric is None else behind(_marks(plan, plan.toric, optic_at), optic_depth_mm),
    )


def _sight(told: EyeDescription) -> tuple[Sight, float]:
    """Return the microscope before the eye that fixates its axis, and the limbus's depth."""
    model = eye_model(told.record)
    x, y = (math.radians(-one) for one in told.axes.visual_deg)
    # The same pose that the reflexes were reckoned with; the pivot is a convention.
    pose = EyePose((x, y))
    return Sight(model, pose, Camera.in_front(told.working_distance_mm)), limbus_of(
        told.record, model
    )[1]


def _optic_mm(plan: Plan, shown: CentrePlan) -> Point:
    """Where is the optic expected to rest, from the limbus centre? Without the hand's bias."""
    bias = examiner_from_nasal_superior(*plan.spread.opening_from_target_bias_mm, plan.side)
    off = shown.opening_from_optic.mean_mm
    return (
        shown.target_mm[0] - (off[0] - bias[0]),
        shown.target_mm[1] - (off[1] - bias[1]),
    )


def _marks(plan: Plan, toric: ToricPlan, optic_at_mm: Point) -> FloatArray:
    """Return where the axis of the marks meets the optic's rim, (2, 2)."""
    turn = math.radians(toric.axis_deg)
    half = 0.5 * plan.optic_diameter_mm * np.array([math.cos(turn), math.sin(turn)])
    return np.asarray(np.array(optic_at_mm) + np.stack([-half, half]))


def _pupil(
    behind: Callable[[FloatArray, float], FloatArray],
    record: EyeRecord,
    at_mm: Point,
    dilated_mm: float | None,
) -> FloatArray:
    depth_mm = record.value("lens_front_depth_mm")
    if dilated_mm is None:
        return behind(_circle(at_mm, record.value("pupil_diameter_mm")), depth_mm)
    centre = _point(behind(np.array([at_mm]), depth_mm))
    return _circle(centre, dilated_mm)


def _reflexes(told: EyeDescription, sight: Sight, plane: EyePlane) -> tuple[tuple[str, Point], ...]:
    found = []
    for one in told.reflexes:
        px = np.array([one.px])
        if np.isfinite(px).all() and one.status == "seen":
            found.append((one.name, _point(_flat(sight, px, plane))))
    return tuple(found)


def _flat(sight: Sight, px: FloatArray, plane: EyePlane) -> FloatArray:
    """Return picture points as apparent mm at the limbus plane."""
    return sight.back_project_in_air(px, plane)[:, :2]


def _circle(centre_mm: Point, diameter_mm: float) -> FloatArray:
    around = np.column_stack([np.cos(_TURNS), np.sin(_TURNS)])
    return np.asarray(np.array(centre_mm) + 0.5 * diameter_mm * around)


def _at(points_mm: FloatArray, depth_mm: float) -> FloatArray:
    return np.column_stack([points_mm, np.full(len(points_mm), -depth_mm)])


def _point(points_mm: FloatArray) -> Point:
    return float(points_mm[0, 0]), float(points_mm[0, 1])
