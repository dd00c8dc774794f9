"""The eye as a record: where it looks, how its lens stands, its measured and assumed numbers."""

from dataclasses import dataclass


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
