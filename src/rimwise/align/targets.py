"""Where axes meet the plane of the opening, in the picture and in mm, and what marks them."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.align.axes import (
    PIVOT_MM,
    AxisLine,
    nodal_depth_mm,
    nodal_point_aside,
    nodal_share,
)
from rimwise.align.fit import FrameFit, Sighted
from rimwise.align.looking import Looking
from rimwise.eye.seen import EyePlane, parallax_mm
from rimwise.optics.pose import Vec3
from rimwise.purkinje.scene import LENS, PUPIL, SHIFT, TILT, TURN
from rimwise.records.cover import Reason
from rimwise.records.eye import EyePose
from rimwise.records.frame import CornealMark, Pair, TargetFinding, TargetName
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

LARGEST_SEMI_AXIS_MM = 0.25
_95 = math.sqrt(5.991464547107979)  # of a plane normal law: sqrt of chi-square's 95 % with 2 dof
_RING = 72
_ONE_DEG = math.radians(1.0)
# Depths are seen through the cornea, which enlarges by about an eighth there (tests/published).
_THROUGH_CORNEA = 1.13
# The pupil lies up to half a millimetre off the plane of the opening, and is looked at aslant by
# some five degrees.
_PUPIL_PLANE_MM = 0.04


@dataclass(frozen=True, slots=True)
class Aim:
    """One eye and everything that targets are made from.

    Parameters
    ----------
    of : Looking
    fit : FrameFit
    seen : Sighted
    axis : (mean, covariance) or None
        Slopes of the visual axis before the frame's parameters, (2 + n,) and (2 + n, 2 + n).
    opening_mm : float or None
        Diameter of the planned opening.
    """

    of: Looking
    fit: FrameFit
    seen: Sighted
    axis: tuple[FloatArray, FloatArray] | None
    opening_mm: float | None

    @property
    def depth_mm(self) -> float:
        """Depth of the plane of the opening, lens upright."""
        limits = self.fit.model.lens_limits_mm
        return limits[0] if limits is not None else self.fit.model.stop_depth_mm

    @property
    def plane(self) -> EyePlane:
        """The plane of the opening: the front of the lens."""
        if self.fit.has_lens:
            return EyePlane.of_lens(self.fit.model, self.depth_mm)
        return EyePlane.at_depth(self.depth_mm)


Places = dict[TargetName, FloatArray | None]


def targets(
    aim: Aim, places: Places
) -> tuple[dict[TargetName, TargetFinding | None], tuple[Reason, ...]]:
    """Where are the targets, and why are some not told?"""
    sight = aim.fit.sight(aim.of)
    found: dict[TargetName, TargetFinding | None] = dict.fromkeys(places)
    reasons = []
    told: dict[TargetName, tuple[FloatArray, FloatArray]] = {}
    for name, point in places.items():
        if point is None:
            continue
        covariance = _spread_mm(aim, name)
        semi = _95 * math.sqrt(float(np.linalg.eigvalsh(covariance)[-1]))
        if semi > LARGEST_SEMI_AXIS_MM:
            sentence = (
                f"the target {name.replace('_', ' ')} is known to {semi:.2f} mm only (95 %), and "
                f"{LARGEST_SEMI_AXIS_MM} mm is the most that is told"
            )
            reasons.append(Reason("target-too-wide", sentence))
            continue
        told[name] = point, covariance
    if told:
        # All in one go: the way through the cornea costs the same for one point and for many.
        shapes = [_shape(aim, point) for point, _ in told.values()]
        seen = np.split(sight.project(np.concatenate(shapes)), len(shapes))
        for (name, (point, covariance)), px in zip(told.items(), seen, strict=True):
            found[name] = _finding(aim, px, point, (name, covariance))
    return found, tuple(reasons)


def _shape(aim: Aim, point: FloatArray) -> FloatArray:
    """Return a target and, where one is planned, the opening around it."""
    return point[None] if aim.opening_mm is None else np.vstack([point[None], _circle(aim, point)])


def target_places(aim: Aim) -> Places:
    """Which points of the opening's plane are the targets, in the eye's frame?"""
    plane, model = aim.plane, aim.fit.model
    sight = aim.fit.sight(aim.of)
    visual = None
    if aim.axis is not None:
        aside = nodal_point_aside(aim.fit.mean[LENS]) if aim.fit.has_lens else (0.0, 0.0)
        line = AxisLine(float(aim.axis[0][0]), float(aim.axis[0][1]), aside)
        visual = line.on_lens(model, plane)
    pupil = None
    if aim.seen.pupil_px is not None:
        pupil = sight.back_project(np.array([aim.seen.pupil_px[0]]), plane)[0]
    return {
        "visual_axis": visual,
        "line_of_sight": pupil,
        "lens_pole": np.array(plane.point_mm) if aim.fit.has_lens and _lens_told(aim) else None,
        "corneal_axis": AxisLine(0.0, 0.0).on_lens(model, plane),
    }


def _lens_told(aim: Aim) -> bool:
    return aim.fit.learnt(LENS) or aim.fit.learnt(TILT)


def _rows(aim: Aim, name: TargetName) -> FloatArray:
    """How does a target move across the view with the axis and the frame's parameters?"""
    n = len(aim.fit.mean)
    rows = np.zeros((2, n + 2))
    half = aim.fit.model.pivot_mm[2] + aim.depth_mm
    for k in range(2):
        rows[k, 2 + SHIFT.start + k] = 1.0
        rows[k, 2 + TURN.start + k] = PIVOT_MM - aim.depth_mm
        if name == "lens_pole":
            rows[k, 2 + LENS.start + k] = _THROUGH_CORNEA
            rows[k, 2 + TILT.start + k] = -half * _THROUGH_CORNEA
        elif name == "visual_axis":
            rows[k, k] = nodal_depth_mm() - aim.depth_mm
            rows[k, 2 + LENS.start + k] = nodal_share() if aim.fit.has_lens else 0.0
        elif name == "line_of_sight":
            rows[k, 2 + PUPIL.start + k] = _THROUGH_CORNEA
    return rows


def _covariance(aim: Aim) -> FloatArray:
    if aim.axis is not None:
        return aim.axis[1]
    n = len(aim.fit.mean)
    whole = np.zeros((n + 2, n + 2))
    whole[2:, 2:] = aim.fit.covariance
    return whole


def _spread_mm(aim: Aim, name: TargetName) -> FloatArray:
    """Return the covariance of where a target is seen, mm of the plane in focus."""
    rows = _rows(aim, name)
    spread = rows @ _covariance(aim) @ rows.T
    if name == "line_of_sight":
        spread = spread + _PUPIL_PLANE_MM**2 * np.eye(2)
    return np.asarray(spread)


def _finding(
    aim: Aim, seen: FloatArray, point: FloatArray, what: tuple[TargetName, FloatArray]
) -> TargetFinding:
    name, covariance = what
    px, ring = seen[0], seen[1:]
    scale = aim.of.px_per_mm.value
    frame = aim.of.camera.frame
    turned = frame.picture_from_examiner(np.eye(2))
    spread = turned.T @ covariance @ turned * scale**2
    return TargetFinding(
        (float(px[0]), float(px[1])),
        _from_pole(aim, point, name),
        tuple((float(u), float(v)) for u, v in ring) if _whole(ring) else None,
        (float(spread[0, 0]), float(spread[1, 1]), float(spread[0, 1])),
    )


def _from_pole(aim: Aim, point: FloatArray, name: TargetName) -> Pair | None:
    if not (aim.fit.has_lens and _lens_told(aim)):
        return None
    pole = np.array(aim.plane.point_mm)
    rows = (_rows(aim, name) - _rows(aim, "lens_pole")) / _THROUGH_CORNEA
    sd = np.sqrt(np.maximum(np.diag(rows @ _covariance(aim) @ rows.T), 0.0))
    x, y = (Estimate(float(point[k] - pole[k]), float(sd[k]), "reflexes") for k in range(2))
    return x, y


def _whole(ring: FloatArray) -> bool:
    """Is the whole planned opening in sight through the cornea?"""
    return len(ring) > 0 and bool(np.isfinite(ring).all())


def _circle(aim: Aim, point: FloatArray) -> FloatArray:
    """Return a circle of the opening's size in its plane, in the eye's frame."""
    normal = np.array(aim.plane.normal)
    across = np.cross([0.0, 1.0, 0.0], normal)
    across /= np.linalg.norm(across)
    up = np.cross(normal, across)
    angle = 2.0 * np.pi * np.arange(_RING) / _RING
    radius = 0.5 * (aim.opening_mm or 0.0)
    return np.asarray(
        point + radius * (np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * up)
    )


def corneal_mark(
    aim: Aim,
    places: Places,
    found: dict[TargetName, TargetFinding | None],
    p1_px: FloatArray,
) -> CornealMark | None:
    """Where on the cornea would a mark lie over the target, and how does it drift?

    Parameters
    ----------
    aim : Aim
    places : dict
        Of :func:`target_places`.
    found : dict
        The targets; the visual axis is marked where it is told, else the lens's pole, else the
        line of sight.
    p1_px : array (2,)
        Mean of P1.
    """
    order: tuple[TargetName, ...] = ("visual_axis", "lens_pole", "line_of_sight")
    name = next((one for one in order if found.get(one) is not None), None)
    if name is None:
        return None
    point = places[name]
    if point is None:
        return None
    sight = aim.fit.sight(aim.of)
    mark = sight.on_cornea(point[None])[0]
    px = sight.project_in_air(mark[None])[0]
    away = aim.of.camera.frame.examiner_from_picture((px - p1_px)[None])[0] / aim.of.px_per_mm.value
    ring = None
    if aim.opening_mm is not None:
        around = sight.on_cornea(_circle(aim, point))
        ring = 2.0 * float(np.linalg.norm(around - around.mean(axis=0), axis=1).mean())
    return CornealMark(
        name,
        (float(px[0]), float(px[1])),
        (float(away[0]), float(away[1])),
        ring,
        _drift(aim, _vec3(mark), _vec3(point)),
    )


def _vec3(point: FloatArray) -> Vec3:
    return float(point[0]), float(point[1]), float(point[2])


def _drift(aim: Aim, mark: Vec3, point: Vec3) -> float:
    pose = aim.fit.pose
    turned = EyePose((pose.turn_rad[0] + _ONE_DEG, pose.turn_rad[1]), pose.shift_mm)
    now, then = (parallax_mm(aim.fit.sight(aim.of, one), mark, point) for one in (pose, turned))
    return math.hypot(then[0] - now[0], then[1] - now[1])
