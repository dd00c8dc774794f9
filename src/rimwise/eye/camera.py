"""The camera: a pinhole at its entrance pupil, looking along an axis, its picture held somehow.

World frame: the examiner's, its origin where the corneal vertex of an unshifted eye is.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from rimwise.optics.pose import UNTURNED, Matrix3, Vec3, as_matrix3, tilt_rotation
from rimwise.records.eye import EyePose
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import PictureFrame


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera is, where it looks, and how its picture is scaled and held.

    Parameters
    ----------
    place_mm : tuple of 3 floats
        Its entrance pupil in the world frame.
    px_per_mm : float
        Scale of the plane across its axis at ``focus_mm``.
    focus_mm : float
        From the entrance pupil to the plane in focus, along its axis.
    centre_px : tuple of 2 floats
        Where its axis meets the picture (column, row).
    frame : PictureFrame
        Where superior points in the picture, and whether it is mirrored.
    axes : 3 rows of 3 floats
        Rotation of its axes: columns are its right, its up and the direction from the eye
        towards it; unturned it looks along -z.
    aperture_mm : float or None
        Diameter of the entrance pupil, for the blur of what is out of focus.
    """

    place_mm: Vec3
    px_per_mm: float
    focus_mm: float
    centre_px: tuple[float, float] = (0.0, 0.0)
    frame: PictureFrame = field(default_factory=PictureFrame)
    axes: Matrix3 = UNTURNED
    aperture_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("px_per_mm", "focus_mm"):
            value = getattr(self, name)
            if not 0.0 < value < math.inf:
                raise WrongInput(f"the camera's {name} is {value}; a number above 0 is allowed")

    @classmethod
    def in_front(
        cls,
        working_distance_mm: float,
        px_per_mm: float = 1.0,
        centre_px: tuple[float, float] = (0.0, 0.0),
        frame: PictureFrame | None = None,
    ) -> "Camera":
        """Return a camera on the z axis, looking at the corneal vertex, in focus there.

        Examples
        --------
        >>> Camera.in_front(200.0).place_mm
        (0.0, 0.0, 200.0)
        """
        return cls(
            (0.0, 0.0, float(working_distance_mm)),
            px_per_mm,
            float(working_distance_mm),
            centre_px,
            PictureFrame() if frame is None else frame,
        )

    def turned(self, x_rad: float, y_rad: float) -> "Camera":
        """Return the camera carried about the world's origin, to where these slopes point."""
        rotation = tilt_rotation(x_rad, y_rad)
        return self.moved(rotation)

    def moved(self, rotation: FloatArray) -> "Camera":
        """Return the camera after a rotation of the world about its origin."""
        x, y, z = rotation @ np.array(self.place_mm)
        axes = as_matrix3(rotation @ np.array(self.axes))
        return Camera(
            (float(x), float(y), float(z)),
            self.px_per_mm,
            self.focus_mm,
            self.centre_px,
            self.frame,
            axes,
            self.aperture_mm,
        )

    def directions(self, slopes: FloatArray) -> FloatArray:
        """Return world directions, (n, 3), of rays leaving the camera with slopes (n, 2)."""
        back = -np.ones((len(slopes), 1))
        ways: FloatArray = np.hstack([slopes, back]) @ np.array(self.axes).T
        return ways

    def slopes(self, points_mm: FloatArray) -> FloatArray:
        """Return the slopes, (n, 2), under which the camera sees world points (n, 3) directly.

        NaN for points that are not in front of it.
        """
        local = (points_mm - np.array(self.place_mm)) @ np.array(self.axes)
        ahead = np.where(local[:, 2:] < 0.0, -local[:, 2:], np.nan)
        seen: FloatArray = local[:, :2] / ahead
        return seen

    def plane_mm_from_slopes(self, slopes: FloatArray) -> FloatArray:
        """Return where such rays cross the plane in focus: right and up of the axis, mm."""
        return slopes * self.focus_mm

    def px_from_slopes(self, slopes: FloatArray) -> FloatArray:
        """Return the picture points (column, row) of rays with slopes (n, 2).

        Examples
        --------
        >>> camera = Camera.in_front(200.0, 50.0, (400.0, 300.0))
        >>> camera.px_from_slopes(np.array([[0.005, 0.0], [0.0, 0.005]])).tolist()
        [[450.0, 300.0], [400.0, 250.0]]
        """
        vectors = self.frame.picture_from_examiner(slopes * (self.focus_mm * self.px_per_mm))
        return np.asarray(vectors + np.array(self.centre_px))

    def slopes_from_px(self, px: FloatArray) -> FloatArray:
        """Return the slopes of the rays that make these picture points; the inverse."""
        vectors = self.frame.examiner_from_picture(px - np.array(self.centre_px))
        return np.asarray(vectors / (self.focus_mm * self.px_per_mm))


def eye_rotation(pose: EyePose) -> FloatArray:
    """Which rotation takes the straight eye to where it looks? Torsion first, then the turn.

    Examples
    --------
    >>> eye_rotation(EyePose(turn_rad=(0.1, 0.0)))[:, 2].round(6).tolist()
    [0.099833, 0.0, 0.995004]
    """
    turned = tilt_rotation(*pose.turn_rad)
    if pose.torsion_rad == 0.0:
        return turned
    c, s = math.cos(pose.torsion_rad), math.sin(pose.torsion_rad)
    return np.asarray(turned @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]))


def world_from_eye(pose: EyePose, points_mm: FloatArray) -> FloatArray:
    """Where in the world are points (..., 3) of the eye's own frame?

    Examples
    --------
    >>> world_from_eye(EyePose(shift_mm=(1.0, 0.0, 0.0)), np.zeros(3)).tolist()
    [1.0, 0.0, 0.0]
    """
    pivot = np.array([0.0, 0.0, -pose.pivot_depth_mm])
    turned = (points_mm - pivot) @ eye_rotation(pose).T
    return np.asarray(turned + pivot + np.array(pose.shift_mm))


def eye_from_world(pose: EyePose, points_mm: FloatArray) -> FloatArray:
    """Where in the eye's own frame are world points (..., 3)?

    Examples
    --------
    >>> eye_from_world(EyePose(shift_mm=(1.0, 0.0, 0.0)), np.array([1.0, 0.0, 0.0])).tolist()
    [0.0, 0.0, 0.0]
    """
    pivot = np.array([0.0, 0.0, -pose.pivot_depth_mm])
    centred = points_mm - np.array(pose.shift_mm) - pivot
    return np.asarray(centred @ eye_rotation(pose) + pivot)
