"""What a camera sees of things behind the cornea, exactly, and the way back into the eye.

A picture point is turned into a plane of the eye by one trace through the corneal surfaces; a
point of the eye into the picture by solving that trace backwards. What lies on the cornea or the
limbus is seen straight, through air.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rimwise.eye.camera import Camera, eye_from_world, eye_rotation, world_from_eye
from rimwise.eye.model import EyeModel
from rimwise.optics.media import Gradient, Medium
from rimwise.optics.paraxial import ray_matrix
from rimwise.optics.pose import Vec3, tilt_rotation
from rimwise.optics.rays import rays
from rimwise.optics.system import System
from rimwise.optics.trace import Engine, trace
from rimwise.records.eye import EyePose
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

PROBE_MM = 1e-4
NEAR_MM = 1e-12
FOUND_MM = 1e-9
MAX_TURNS = 40


@dataclass(frozen=True, slots=True)
class EyePlane:
    """A plane in the eye's own frame.

    Parameters
    ----------
    point_mm : tuple of 3 floats
    normal : tuple of 3 floats
        Any length but 0.

    Examples
    --------
    >>> EyePlane.at_depth(3.1).point_mm
    (0.0, 0.0, -3.1)
    """

    point_mm: Vec3
    normal: Vec3 = (0.0, 0.0, 1.0)

    @classmethod
    def at_depth(cls, depth_mm: float) -> "EyePlane":
        """Return the plane across the corneal axis at this depth behind the corneal front."""
        return cls((0.0, 0.0, -float(depth_mm)))

    @classmethod
    def of_lens(cls, model: EyeModel, depth_mm: float) -> "EyePlane":
        """Return the plane that lies at this depth while the lens is upright, and moves with it."""
        lens, pivot = model.lens, np.array(model.pivot_mm)
        rotation = tilt_rotation(*lens.tilt_rad)
        point = pivot + rotation @ (np.array([0.0, 0.0, -depth_mm]) - pivot)
        x, y, z = point + np.array([*lens.shift_mm, 0.0])
        a, b, c = rotation[:, 2]
        return cls((float(x), float(y), float(z)), (float(a), float(b), float(c)))

    def met(self, points_mm: FloatArray, directions: FloatArray) -> FloatArray:
        """Return where rays, (n, 3) each, meet the plane ahead of them; NaN where they do not."""
        normal = np.array(self.normal)
        with np.errstate(divide="ignore", invalid="ignore"):
            way = ((np.array(self.point_mm) - points_mm) @ normal) / (directions @ normal)
            way = np.where(way >= -NEAR_MM, way, np.nan)
            return np.asarray(points_mm + way[:, None] * directions)


Solver = Callable[[EyeModel, EyePose, Camera, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Sight:
    """One eye before one camera.

    Parameters
    ----------
    model : EyeModel
    pose : EyePose
    camera : Camera
    engine : str
        As for :func:`rimwise.optics.trace.trace`.
    solver : callable, optional
        What solves for the slopes under which points are seen in place of the trace: model, pose,
        camera and points (n, 3) to slopes (n, 2), NaN where not seen.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> sight = Sight(schematic_model(schematic_eye("legrand")), EyePose(), Camera.in_front(200.0))
    >>> px = sight.project(np.array([[2.5, 0.0, -3.6]]))
    >>> round(float(px[0, 0]), 3)
    2.753
    >>> sight.back_project(px, EyePlane.at_depth(3.6)).round(9).tolist()
    [[2.5, 0.0, -3.6]]
    """

    model: EyeModel
    pose: EyePose
    camera: Camera
    engine: Engine = "auto"
    solver: Solver | None = None

    def back_project(self, px: FloatArray, plane: EyePlane) -> FloatArray:
        """Which points of a plane behind the cornea are seen at these picture points?

        Parameters
        ----------
        px : array, shape (n, 2)
        plane : EyePlane

        Returns
        -------
        array, shape (n, 3)
            Real mm in the eye's frame; NaN where the line of sight misses cornea or plane.
        """
        places, ways = self._behind_cornea(self.camera.slopes_from_px(px))
        return plane.met(places, ways)

    def project(self, points_mm: FloatArray) -> FloatArray:
        """At which picture points are points behind the cornea seen?

        Parameters
        ----------
        points_mm : array, shape (n, 3)
            In the eye's frame, behind the cornea.

        Returns
        -------
        array, shape (n, 2)
            Picture points; NaN where no line of sight through the cornea reaches the point.

        Raises
        ------
        WrongInput
            If a point lies in front of the cornea's back; see :meth:`project_in_air`.
        """
        last_mm = max(part.depth_mm for part in self.model.parts if not part.of_lens)
        shallow = points_mm[:, 2] > -last_mm
        if np.any(shallow):
            raise WrongInput(
                f"a point {-float(points_mm[shallow][0, 2]):.6g} mm behind the corneal front is "
                f"asked for, and {last_mm:g} mm (the cornea's back) or more is seen through the "
                "cornea; what lies on the cornea is seen in air"
            )
        return self.camera.px_from_slopes(self._solve(points_mm))

    def project_in_air(self, points_mm: FloatArray) -> FloatArray:
        """At which picture points are points on the cornea or the limbus seen? (n, 3) to (n, 2)."""
        return self.camera.px_from_slopes(self.camera.slopes(world_from_eye(self.pose, points_mm)))

    def back_project_in_air(self, px: FloatArray, plane: EyePlane) -> FloatArray:
        """Which points of a plane would be seen there if no cornea stood before it? (n, 3) mm.

        With the limbus plane these are apparent millimetres (convention 6).
        """
        origin, ways = self._lines(self.camera.slopes_from_px(px))
        return plane.met(np.broadcast_to(origin, ways.shape), ways)

    def on_cornea(self, points_mm: FloatArray) -> FloatArray:
        """Where on the corneal front does the line of sight to points behind it pass?

        A mark made there lies over the point for this camera and this pose.

        Returns
        -------
        array, shape (n, 3)
            In the eye's frame.
        """
        origin, ways = self._lines(self._solve(points_mm))
        first = System(self.model.cornea.steps[:1])
        return trace(first, rays(origin, ways), engine="numpy").positions_mm

    def _lines(self, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the camera, (3,), and directions, (n, 3), of lines of sight in the eye's frame."""
        ways = self.camera.directions(slopes) @ eye_rotation(self.pose)
        return eye_from_world(self.pose, np.array(self.camera.place_mm)), ways

    def _behind_cornea(self, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
        origin, ways = self._lines(slopes)
        lost = ~np.isfinite(ways).all(axis=1)
        ways[lost] = (0.0, 0.0, 1.0)
        out = trace(self.model.cornea, rays(origin, ways), engine=self.engine)
        out.positions_mm[lost] = np.nan
        return out.positions_mm, out.directions

    def _landing(self, slopes: FloatArray, points_mm: FloatArray) -> FloatArray:
        """By how much, (n, 2) mm across, do lines of sight pass by their points?"""
        places, ways = self._behind_cornea(slopes)
        with np.errstate(divide="ignore", invalid="ignore"):
            way = (points_mm[:, 2] - places[:, 2]) / ways[:, 2]
        landed: FloatArray = places[:, :2] + way[:, None] * ways[:, :2] - points_mm[:, :2]
        return landed

    def _start(self, points_mm: FloatArray) -> FloatArray:
        """Return the slopes under which the paraxial images of the points are seen."""
        cornea = [part.rounded for part in self.model.parts if not part.of_lens]
        upright = EyeModel(self.model.name, tuple(cornea), self.model.stop_depth_mm)
        out = upright.cornea.reversed()
        a, b, c, d = ray_matrix(out, way=1).in_meridian()
        reduced = (-points_mm[:, 2] - cornea[-1].depth_mm) / _uniform(out.start)
        image_z = -(a * reduced + b) / (c * reduced + d)
        size = (a + image_z * c)[:, None]
        images = np.column_stack([size * points_mm[:, :2], image_z])
        return self.camera.slopes(world_from_eye(self.pose, images))

    def _solve(self, points_mm: FloatArray) -> FloatArray:
        """Solve for the slopes: Broyden's method from the paraxial image and its derivative."""
        if self.solver is not None:
            return self.solver(self.model, self.pose, self.camera, points_mm)
        slopes = self._start(points_mm)
        by, gap = self._start_by_point(points_mm), self._landing(slopes, points_mm)
        for _ in range(MAX_TURNS):
            on = np.flatnonzero(np.hypot(*gap.T) > NEAR_MM)
            if not len(on):
                break
            step = -np.einsum("nij,nj->ni", by[on], gap[on])
            new = self._landing(slopes[on] + step, points_mm[on])
            gain = np.hypot(*new.T) < np.hypot(*gap[on].T)
            on, step, new = on[gain], step[gain], new[gain]
            if not len(on):
                break
            change = np.einsum("nij,nj->ni", by[on], new - gap[on])
            row = np.einsum("ni,nij->nj", step, by[on])
            below = np.einsum("ni,ni->n", step, change)
            with np.errstate(divide="ignore", invalid="ignore"):
                update = (step - change)[:, :, None] * row[:, None, :] / below[:, None, None]
            by[on] += np.where(np.isfinite(update), update, 0.0)
            slopes[on], gap[on] = slopes[on] + step, new
        # Round-off of the way from a far camera stays below a nanometre.
        slopes[~(np.hypot(*gap.T) <= FOUND_MM)] = np.nan
        return slopes

    def _start_by_point(self, points_mm: FloatArray) -> FloatArray:
        """Return how the paraxial slopes follow x and y of the points, (n, 2, 2)."""
        # Both ways along x and y, all at once.
        probes = PROBE_MM * np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
        probed = (points_mm[None] + probes[:, None]).reshape(-1, 3)
        ahead_x, behind_x, ahead_y, behind_y = self._start(probed).reshape(4, -1, 2)
        ways = (ahead_x - behind_x, ahead_y - behind_y)
        return np.stack(ways, axis=2) / (2.0 * PROBE_MM)


def _uniform(medium: Medium) -> float:
    if isinstance(medium, Gradient):
        raise WrongInput("the medium behind the cornea is a gradient; a uniform one is needed")
    return medium


def parallax_mm(sight: Sight, mark_mm: Vec3, target_mm: Vec3) -> tuple[float, float]:
    """By how much does a mark on the cornea seem to lie beside a target behind it?

    Parameters
    ----------
    sight : Sight
    mark_mm, target_mm : tuple of 3 floats
        In the eye's frame: on the corneal front, and behind the cornea.

    Returns
    -------
    tuple of 2 floats
        Mark less target in the camera's plane in focus: right and up of its axis, mm. Zero where
        the mark covers the target.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> turned = Sight(eye, EyePose((0.0873, 0.0), pivot_depth_mm=0.0), Camera.in_front(200.0))
    >>> round(parallax_mm(turned, (0.0, 0.0, 0.0), (0.0, 0.0, -3.6))[0], 2)  # 5 degrees
    0.26
    """
    camera = sight.camera
    mark = camera.slopes(world_from_eye(sight.pose, np.array([mark_mm])))
    target = camera.slopes_from_px(sight.project(np.array([target_mm], dtype=np.float64)))
    x, y = camera.plane_mm_from_slopes(mark - target)[0]
    return float(x), float(y)
