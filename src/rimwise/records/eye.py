"""The eye as a record: where it looks, how its lens stands, its measured and assumed numbers."""

from dataclasses import dataclass
from typing import Literal

from rimwise.records.assumption import Assumption
from rimwise.records.cover import Reason
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side

ReflexName = Literal["P1", "P2", "P3", "P4"]
ReflexStatus = Literal[
    "seen",
    "behind the iris",
    "beside the optic",
    "missed",
    "total reflection",
    "no convergence",
]


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
        "behind the iris" or "beside the optic" where the path to the lens does not pass them;
        its numbers hold all the same.
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


@dataclass(frozen=True, slots=True)
class ImplantShape:
    """A generic implant's optic; light crosses the front first.

    Parameters
    ----------
    optic_diameter_mm, edge_mm, thickness_mm : float
        Diameter, thickness at the rim and in the middle.
    index : float
    front_radius_mm : float
        Positive where it bulges forward; infinity for a plane.
    back_radius_weak_mm, back_radius_steep_mm : float
        Positive where it bulges backward, along the weak meridian and across it; equal without
        cylinder.
    front_conic, back_conic : float
    power_dpt, cylinder_dpt : float
        In aqueous (convention 13); the power is the mean of the two meridians.
    axis_deg : float or None
        Weak meridian, on which the toric marks lie (convention 14); None without cylinder.
    haptic_axis_deg : float or None
    front_r4_per_mm3 : float
        What an aspheric front falls back by beyond its conic, times r⁴.
    """

    optic_diameter_mm: float
    edge_mm: float
    thickness_mm: float
    index: float
    front_radius_mm: float
    back_radius_weak_mm: float
    back_radius_steep_mm: float
    front_conic: float
    back_conic: float
    power_dpt: float
    cylinder_dpt: float = 0.0
    axis_deg: float | None = None
    haptic_axis_deg: float | None = None
    front_r4_per_mm3: float = 0.0


LensKind = Literal["natural", "implant", "none"]


@dataclass(frozen=True, slots=True)
class EyeRecord:
    """Everything a model of one eye needs, each number with its spread and origin.

    Parameters
    ----------
    side : "right" or "left"
    lens : "natural", "implant" or "none"
        Which lens is in the eye.
    numbers : dict
        Name (with its unit) to estimate; ``NUMBERS`` of :mod:`rimwise.eye.this_eye` lists them.
    steep_axis_deg : float or None
        Direction of the steeper corneal meridian; None where the cornea is taken as round.
    implant : ImplantShape or None
        Where one is in the eye.
    assumptions : tuple of Assumption
        What nobody measured.
    warnings : tuple of Reason
        Unusual but possible values.
    """

    side: Side
    lens: LensKind
    numbers: dict[str, Estimate]
    steep_axis_deg: float | None = None
    implant: ImplantShape | None = None
    assumptions: tuple[Assumption, ...] = ()
    warnings: tuple[Reason, ...] = ()

    def value(self, name: str) -> float:
        """Return the best value of a number."""
        return self.numbers[name].value


@dataclass(frozen=True, slots=True)
class ReflexSighting:
    """What was found in one frame, in picture pixels; None where not found.

    Parameters
    ----------
    reflexes_px : dict
        Name of the reflex to one place a lamp, in the lamps' order.
    reflex_sd_px : float
        Standard deviation of each coordinate.
    pupil_px, limbus_px : tuple of 2 floats or None
        Centres of their ellipses.
    pupil_sd_px, limbus_sd_px : float
    """

    reflexes_px: dict[ReflexName, tuple[tuple[float, float] | None, ...]]
    reflex_sd_px: float
    pupil_px: tuple[float, float] | None = None
    pupil_sd_px: float = 1.0
    limbus_px: tuple[float, float] | None = None
    limbus_sd_px: float = 2.0


@dataclass(frozen=True, slots=True)
class EyeFinding:
    """Where the eye looks and how its lens stands, with what stands behind the numbers.

    Parameters
    ----------
    turn_deg : tuple of 2 Estimates
        Corneal axis from the camera's axis of an untilted camera (examiner's +z), x and y.
    shift_mm : tuple of 3 Estimates
        Place of the eye, see :class:`EyePose`.
    lens_tilt_deg, lens_shift_mm, lens_pole_mm : tuple of 2 Estimates or None
        Lens axis from the corneal axis; its middle, and its front pole, from the corneal axis.
    covariance : tuple of rows
        Of ``parameters`` in their units.
    parameters : tuple of str
    chi2, dof, p_fit : float, int, float
        Test of fit: residuals and priors together.
    from_prior : tuple of str
        Parameters whose answer is the prior's: the data took away less than half its variance.
    used : tuple of str
        What went in, such as "P1 lamp 0" or "limbus".
    """

    turn_deg: tuple[Estimate, Estimate]
    shift_mm: tuple[Estimate, Estimate, Estimate]
    lens_tilt_deg: tuple[Estimate, Estimate] | None
    lens_shift_mm: tuple[Estimate, Estimate] | None
    lens_pole_mm: tuple[Estimate, Estimate] | None
    covariance: tuple[tuple[float, ...], ...]
    parameters: tuple[str, ...]
    chi2: float
    dof: int
    p_fit: float
    from_prior: tuple[str, ...]
    used: tuple[str, ...]
