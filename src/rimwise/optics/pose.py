"""Where a surface or a medium stands: its vertex, and how its own axes are turned."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray

Vec3 = tuple[float, float, float]
Matrix3 = tuple[Vec3, Vec3, Vec3]

UNTURNED: Matrix3 = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Pose:
    """A vertex and a rotation from the body's own axes to the system's axes.

    Parameters
    ----------
    vertex_mm : tuple of 3 floats
        The body's origin in the system's frame.
    rotation : 3 rows of 3 floats
        Proper rotation; its columns are the body's x, y and z axes in the system's frame.
    pivot : str
        Name of the point that stayed where it was when the body was tilted.

    Examples
    --------
    >>> Pose.at(0.0, 0.0, -3.1).vertex_mm
    (0.0, 0.0, -3.1)
    """

    vertex_mm: Vec3 = (0.0, 0.0, 0.0)
    rotation: Matrix3 = UNTURNED
    pivot: str = "vertex"

    @classmethod
    def at(cls, x_mm: float, y_mm: float, z_mm: float) -> "Pose":
        """Return the untilted pose with its vertex here."""
        return cls((float(x_mm), float(y_mm), float(z_mm)))

    def tilted(
        self, x_rad: float, y_rad: float, pivot_mm: Vec3 | None = None, pivot: str = "vertex"
    ) -> "Pose":
        """Where does the body stand when its axis is tilted about a named point?

        Parameters
        ----------
        x_rad, y_rad : float
            Where the +z end of a body that stood upright points: each the arctangent of a slope.
        pivot_mm : tuple of 3 floats, optional
            The point that stays, in the system's frame; the body's vertex if not given.
        pivot : str
            That point's name.

        Returns
        -------
        Pose
            The tilt is the smallest rotation that brings the system's z axis there.

        Examples
        --------
        >>> lens = Pose.at(0.0, 0.0, -4.0).tilted(0.1, 0.0, (0.0, 0.0, -6.0), "lens centre")
        >>> round(lens.vertex_mm[0], 12) == round(2.0 * math.sin(0.1), 12), lens.pivot
        (True, 'lens centre')
        """
        return self.moved(tilt_rotation(x_rad, y_rad), pivot_mm, pivot=pivot)

    def turned(self, angle_rad: float) -> "Pose":
        """Return the body turned counter-clockwise about its own z axis."""
        c, s = math.cos(angle_rad), math.sin(angle_rad)
        own = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return Pose(self.vertex_mm, as_matrix3(self.matrix() @ own), self.pivot)

    def moved(
        self,
        rotation: FloatArray,
        about_mm: Vec3 | None = None,
        shift_mm: Vec3 = (0.0, 0.0, 0.0),
        pivot: str | None = None,
    ) -> "Pose":
        """Return the body after a rotation about a point (default its vertex), then a shift."""
        vertex = np.array(self.vertex_mm)
        about = vertex if about_mm is None else np.array(about_mm)
        placed = about + rotation @ (vertex - about) + np.array(shift_mm)
        name = self.pivot if pivot is None else pivot
        return Pose(as_vec3(placed), as_matrix3(rotation @ self.matrix()), name)

    def matrix(self) -> FloatArray:
        """Return the rotation as a 3 × 3 array, own axes to system axes."""
        return np.array(self.rotation, dtype=np.float64)

    def origin(self) -> FloatArray:
        """Return the vertex as an array of 3, mm."""
        return np.array(self.vertex_mm, dtype=np.float64)

    def inward(self, points_mm: FloatArray) -> FloatArray:
        """Return points of the system's frame, (..., 3), in the body's own frame."""
        local: FloatArray = (points_mm - self.origin()) @ self.matrix()
        return local

    def outward(self, points_mm: FloatArray) -> FloatArray:
        """Return points of the body's own frame, (..., 3), in the system's frame."""
        placed: FloatArray = points_mm @ self.matrix().T + self.origin()
        return placed


def tilt_rotation(x_rad: float, y_rad: float) -> FloatArray:
    """Which smallest rotation brings +z to the direction with these slope angles?

    Parameters
    ----------
    x_rad, y_rad : float
        Arctangents of the slopes dx/dz and dy/dz, each in (-π/2, π/2).

    Returns
    -------
    array, shape (3, 3)

    Notes
    -----
    Rodrigues' formula about the axis z × a: R = I + K + K² / (1 + a·z), own derivation.

    Examples
    --------
    >>> bool(np.allclose(tilt_rotation(0.1, 0.0)[:, 2], [math.sin(0.1), 0.0, math.cos(0.1)]))
    True
    """
    across, along = math.tan(x_rad), math.tan(y_rad)
    az = 1.0 / math.sqrt(1.0 + across * across + along * along)
    ax, ay, share = across * az, along * az, 1.0 / (1.0 + az)
    mixed = -ax * ay * share
    return np.array(
        [[1.0 - ax * ax * share, mixed, ax], [mixed, 1.0 - ay * ay * share, ay], [-ax, -ay, az]]
    )


def as_vec3(values: FloatArray) -> Vec3:
    """Return three numbers as a plain tuple."""
    return float(values[0]), float(values[1]), float(values[2])


def as_matrix3(values: FloatArray) -> Matrix3:
    """Return a 3 × 3 array as plain tuples."""
    return as_vec3(values[0]), as_vec3(values[1]), as_vec3(values[2])
