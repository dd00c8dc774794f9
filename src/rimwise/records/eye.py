"""The eye as a record: where it looks, how its lens stands, its measured and assumed numbers."""

from dataclasses import dataclass
from typing import Literal

ReflexName = Literal["P1", "P2", "P3", "P4"]
ReflexStatus = Literal["seen", "behind the iris", "missed", "total reflection", "no convergence"]


@dataclass(frozen=True, slots=True)
class LensPlace:
    """How a lens (or implant) stands against the corneal axis.

    Parameters
    ----------
    tilt_rad : tuple of 2 floats
        Where the anterior end of its axis points, x and y, each the arctangent of a slope.
    shift_mm : tuple of 2 floats
        How far its pivot lies from the corneal axis.
    pivot_depth_mm : float or None
        The point that stays when the lens is tilted, behind the corneal front; None for the
        middle between the lens's poles.
    """

    tilt_rad: tuple[float, float] = (0.0, 0.0)
    shift_mm: tuple[float, float] = (0.0, 0.0)
    pivot_depth_mm: float | None = None

    @property
    def upright(self) -> bool:
        """Does it stand upright on the corneal axis?"""
        return not any((*self.tilt_rad, *self.shift_mm))


@dataclass(frozen=True, slots=True)
class EyePose:
    """Where the whole eye is and where it looks, in the examiner's frame.

    Parameters
    ----------
    turn_rad : tuple of 2 floats
        Where the anterior end of the corneal axis points, x and y, each the arctangent of a
        slope.
    shift_mm : tuple of 3 floats
        Where the corneal vertex would be if the eye were turned back straight.
    torsion_rad : float
        Counter-clockwise turn about the corneal axis as the examiner sees it.
    pivot_depth_mm : float
        The globe turns about this point of the corneal axis (convention 20).
    """

    turn_rad: tuple[float, float] = (0.0, 0.0)
    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    torsion_rad: float = 0.0
    pivot_depth_mm: float = 13.5


@dataclass(frozen=True, slots=True)
class Reflex:
    """One mirror image of one lamp, as a camera sees it; numbers are NaN where it has no path.

    Parameters
    ----------
    name : str
        P1 (cornea front), P2 (cornea back), P3 (lens front), P4 (lens back).
    lamp : int
        Which lamp, counted from 0.
    status : str
        "behind the iris" where the path to the lens does not pass the pupil; its numbers hold
        all the same.
    px : tuple of 2 floats
        Column and row in the picture.
    plane_mm : tuple of 2 floats
        Where the line of sight crosses the plane in focus: right and up of the camera's axis.
    image_mm : tuple of 3 floats
        The image itself, in the world frame.
    distance_mm : float
        From the entrance pupil to the image, along the camera's axis.
    astigmatism_mm : float
        Distance between the image's two line foci.
    magnification : float
        Size of the image over that of a lamp across the camera's axis; negative inverted.
    light : float
        Share of the light that comes back (Fresnel, all surfaces crossed twice).
    defocus_dpt : float
        Vergence of the image less that of the plane in focus, at the entrance pupil.
    blur_px : float or None
        Diameter of its blur; None where the camera's aperture is not known.
    """

    name: ReflexName
    lamp: int
    status: ReflexStatus
    px: tuple[float, float]
    plane_mm: tuple[float, float]
    image_mm: tuple[float, float, float]
    distance_mm: float
    astigmatism_mm: float
    magnification: float
    light: float
    defocus_dpt: float
    blur_px: float | None

    @property
    def upright(self) -> bool:
        """Does the image stand the same way up as the lamps?"""
        return self.magnification > 0.0
