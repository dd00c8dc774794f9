"""The visual axis: found from a lamp that is looked at, and carried to the plane of the opening.

It is taken as the straight line from the lamp to the eye's first nodal point, an approximation to
the nodal ray to the fovea.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.eye.camera import Camera, eye_from_world
from rimwise.eye.model import EyeModel
from rimwise.eye.seen import EyePlane, Sight
from rimwise.optics.pose import Vec3
from rimwise.published.load import published_value
from rimwise.records.eye import EyePose
from rimwise.terms.arrays import FloatArray

_FAR_MM = 200.0
PIVOT_MM = EyePose().pivot_depth_mm


def nodal_depth_mm() -> float:
    """How far behind the corneal vertex is the first nodal point?

    0.3 mm more or less move the visual axis on the lens by 0.03 mm at 5 degrees.
    """
    return published_value("microscope", "nodal_depth").value


def nodal_point_aside(lens_mm: FloatArray) -> tuple[float, float]:
    """How far does a lens that stands aside draw the eye's nodal point along?

    Parameters
    ----------
    lens_mm : array (2,)
        Middle of the lens from the corneal axis.

    Notes
    -----
    Own derivation: a ray parallel to the corneal axis leaves the eye's optics parallel to it where
    cornea and lens bend it by as much to one side as to the other. At height y that is
    y·F_cornea = (d - y')·F_lens, and with y' at the lens this gives y = d·F_lens/F_eye.

    Examples
    --------
    >>> [round(one, 3) for one in nodal_point_aside(np.array([0.3, 0.0]))]
    [0.099, 0.0]
    """
    share = nodal_share()
    return share * float(lens_mm[0]), share * float(lens_mm[1])


def nodal_share() -> float:
    """Which share of a lens's way aside does the nodal point go along?"""
    return published_value("microscope", "lens_power_share").value


def axis_through(pose: EyePose, lamp_mm: Vec3) -> FloatArray:
    """Which slopes (x, y) against the corneal axis has the line from a lamp to the nodal point?

    Examples
    --------
    >>> axis_through(EyePose((0.05, 0.0)), (0.0, 0.0, 200.0)).round(3).tolist()
    [-0.052, 0.0]
    """
    x, y, z = eye_from_world(pose, np.array(lamp_mm, dtype=np.float64))
    return np.asarray(np.array([x, y]) / (z + nodal_depth_mm()))


def turn_onto(lamp_mm: Vec3, shift_mm: Vec3, axis: FloatArray) -> FloatArray:
    """Which turn, slopes (x, y), brings this axis onto the lamp, the globe's centre staying?

    Parameters
    ----------
    lamp_mm : tuple of 3 floats
        In the world.
    shift_mm : tuple of 3 floats
        Of the eye's pose.
    axis : array (2,)
        Slopes of the visual axis against the corneal axis.

    Examples
    --------
    >>> turn = turn_onto((3.0, 0.0, 200.0), (1.0, 0.0, 0.0), np.array([0.08, -0.01]))
    >>> pose = EyePose((float(turn[0]), float(turn[1])), (1.0, 0.0, 0.0))
    >>> axis_through(pose, (3.0, 0.0, 200.0)).round(9).tolist()
    [0.08, -0.01]
    """
    turn = -axis
    for _ in range(20):
        pose = EyePose((math.atan(turn[0]), math.atan(turn[1])), shift_mm)
        left = axis_through(pose, lamp_mm) - axis
        turn = turn + left
        if float(np.abs(left).max()) < 1e-13:
            break
    return np.arctan(turn)


@dataclass(frozen=True, slots=True)
class AxisLine:
    """A straight line in front of the eye, in the eye's frame: through the nodal point.

    Parameters
    ----------
    slope_x, slope_y : float
    aside_mm : (float, float)
        How far the nodal point lies from the corneal axis, see :func:`nodal_point_aside`.
    """

    slope_x: float
    slope_y: float
    aside_mm: tuple[float, float] = (0.0, 0.0)

    def on_lens(self, model: EyeModel, plane: EyePlane) -> FloatArray:
        """Where does it meet a plane behind the cornea, refracted there? Shape (3,).

        Examples
        --------
        >>> from rimwise.eye.schematic import schematic_model
        >>> from rimwise.published.eyes import schematic_eye
        >>> eye = schematic_model(schematic_eye("legrand"))
        >>> AxisLine(0.0, 0.0).on_lens(eye, EyePlane.at_depth(3.6)).round(9).tolist()
        [0.0, 0.0, -3.6]
        """
        way = _FAR_MM + nodal_depth_mm()
        x, y = self.aside_mm
        place = (x + self.slope_x * way, y + self.slope_y * way, _FAR_MM)
        camera = Camera(place, 1.0, _FAR_MM)
        aim = camera.px_from_slopes(np.array([[-self.slope_x, -self.slope_y]]))
        sight = Sight(model, EyePose(), camera, engine="numpy")
        return np.asarray(sight.back_project(aim, plane)[0])
