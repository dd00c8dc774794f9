"""Optical surfaces: what shape, how wide, and where."""

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from rimwise.optics.pose import Pose
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

Kind = Literal["conic", "even asphere", "biconic", "toric"]
MAX_COEFFICIENTS = 8


@dataclass(frozen=True, slots=True)
class Surface:
    """One surface in its own frame, its vertex at the origin and its axis along z, and its pose.

    Use :func:`plane`, :func:`sphere`, :func:`conic`, :func:`even_asphere`, :func:`biconic` or
    :func:`toric` to make one.

    Parameters
    ----------
    kind : str
        Which formula of the sag holds; planes and spheres are conics.
    curvature_x_per_mm, curvature_y_per_mm : float
        1 / radius; positive where the centre of curvature lies at +z of the vertex.
    conic_x, conic_y : float
        Conic constant k: 0 sphere, -1 parabola.
    coefficients : tuple of floats
        Factors of r⁴, r⁶, r⁸ ... (at most 8), in mm⁻³, mm⁻⁵ ...; even asphere only.
    axis_rad : float
        Direction of the surface's own x meridian, counter-clockwise from the pose's x axis.
    semi_diameter_mm : float
        Rays further from the axis are clipped; infinity lets all pass.
    pose : Pose
        Where the surface stands in the system's frame.
    name : str
        For people.
    """

    kind: Kind
    curvature_x_per_mm: float = 0.0
    curvature_y_per_mm: float = 0.0
    conic_x: float = 0.0
    conic_y: float = 0.0
    coefficients: tuple[float, ...] = ()
    axis_rad: float = 0.0
    semi_diameter_mm: float = math.inf
    pose: Pose = field(default_factory=Pose)
    name: str = ""

    def __post_init__(self) -> None:
        numbers = (self.curvature_x_per_mm, self.curvature_y_per_mm, self.conic_x, self.conic_y)
        if not all(math.isfinite(v) for v in (*numbers, *self.coefficients, self.axis_rad)):
            raise WrongInput(
                f"the surface {self.name or self.kind!r} has a shape that is not finite; "
                "give finite conics and coefficients and a radius other than 0"
            )
        if not self.semi_diameter_mm > 0.0:
            raise WrongInput(
                f"the surface {self.name or self.kind!r} has semi_diameter_mm = "
                f"{self.semi_diameter_mm}; give a number above 0, or leave it out"
            )
        if len(self.coefficients) > MAX_COEFFICIENTS:
            raise WrongInput(
                f"the surface {self.name or self.kind!r} has {len(self.coefficients)} aspheric "
                f"coefficients; at most {MAX_COEFFICIENTS} (r⁴ to r¹⁸) are allowed"
            )

    def placed(self, pose: Pose) -> "Surface":
        """Return the same surface standing elsewhere."""
        return replace(self, pose=pose)

    def sag_mm(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """How high is the surface above its tangent plane, in its pose's own x and y?

        Parameters
        ----------
        x_mm, y_mm : array
            Places in the frame of the pose (before the turn by ``axis_rad``).

        Returns
        -------
        array
            z in mm; NaN where the surface does not reach.

        Examples
        --------
        >>> round(float(sphere(5.0).sag_mm(np.array(3.0), np.array(0.0))), 12)
        1.0
        """
        c, s = math.cos(self.axis_rad), math.sin(self.axis_rad)
        x, y = c * x_mm + s * y_mm, c * y_mm - s * x_mm
        cx, cy = self.curvature_x_per_mm, self.curvature_y_per_mm
        with np.errstate(invalid="ignore"):
            if self.kind == "toric":
                profile = cy * y * y / (1.0 + np.sqrt(1.0 - (1.0 + self.conic_y) * (cy * y) ** 2))
                q = np.sqrt((1.0 - cx * profile) ** 2 - (cx * x) ** 2)
                return np.asarray((cx * x * x + profile * (2.0 - cx * profile)) / (1.0 + q))
            bent = (1.0 + self.conic_x) * (cx * x) ** 2 + (1.0 + self.conic_y) * (cy * y) ** 2
            base = (cx * x * x + cy * y * y) / (1.0 + np.sqrt(1.0 - bent))
        r2 = x * x + y * y
        extra = np.zeros_like(r2)
        for factor in reversed(self.coefficients):
            extra = (extra + factor) * r2
        return np.asarray(base + extra * r2)


def _curvature(radius_mm: float) -> float:
    return math.nan if radius_mm == 0.0 else 1.0 / radius_mm


def plane(pose: Pose | None = None, semi_diameter_mm: float = math.inf, name: str = "") -> Surface:
    """Make a plane; with a semi-diameter it serves as a stop."""
    return Surface("conic", semi_diameter_mm=semi_diameter_mm, pose=pose or Pose(), name=name)


def sphere(
    radius_mm: float, pose: Pose | None = None, semi_diameter_mm: float = math.inf, name: str = ""
) -> Surface:
    """Make a sphere; the radius is positive where the centre lies at +z of the vertex."""
    return conic(radius_mm, 0.0, pose, semi_diameter_mm, name)


def conic(
    radius_mm: float,
    k: float,
    pose: Pose | None = None,
    semi_diameter_mm: float = math.inf,
    name: str = "",
) -> Surface:
    """Make a conic of revolution: z = c r² / (1 + √(1 - (1 + k) c² r²)), c = 1 / radius.

    Examples
    --------
    >>> parabola = conic(5.0, -1.0)
    >>> round(float(parabola.sag_mm(np.array(3.0), np.array(0.0))), 12)
    0.9
    """
    c = _curvature(radius_mm)
    return Surface("conic", c, c, k, k, (), 0.0, semi_diameter_mm, pose or Pose(), name)


def even_asphere(
    radius_mm: float,
    k: float,
    coefficients: tuple[float, ...],
    pose: Pose | None = None,
    semi_diameter_mm: float = math.inf,
    name: str = "",
) -> Surface:
    """Make a conic with a₄ r⁴ + a₆ r⁶ + ... added to its sag.

    Examples
    --------
    >>> flat = even_asphere(math.inf, 0.0, (0.01,))
    >>> round(float(flat.sag_mm(np.array(2.0), np.array(0.0))), 12)
    0.16
    """
    c = _curvature(radius_mm)
    terms = tuple(float(a) for a in coefficients)
    return Surface("even asphere", c, c, k, k, terms, 0.0, semi_diameter_mm, pose or Pose(), name)


def biconic(
    radii_mm: tuple[float, float],
    conics: tuple[float, float] = (0.0, 0.0),
    axis_rad: float = 0.0,
    pose: Pose | None = None,
    semi_diameter_mm: float = math.inf,
    name: str = "",
) -> Surface:
    """Make a surface with two conic meridians.

    z = (cx x² + cy y²) / (1 + √(1 - (1 + kx) cx² x² - (1 + ky) cy² y²)), where x lies along
    ``axis_rad``; ``radii_mm`` and ``conics`` give the x meridian first.

    Examples
    --------
    >>> cornea = biconic((-7.8, -7.6))
    >>> round(float(cornea.sag_mm(np.array(3.0), np.array(0.0))), 4)
    -0.6
    """
    cx, cy = _curvature(radii_mm[0]), _curvature(radii_mm[1])
    kx, ky = conics
    return Surface("biconic", cx, cy, kx, ky, (), axis_rad, semi_diameter_mm, pose or Pose(), name)


def toric(
    radii_mm: tuple[float, float],
    k: float = 0.0,
    axis_rad: float = 0.0,
    pose: Pose | None = None,
    semi_diameter_mm: float = math.inf,
    name: str = "",
) -> Surface:
    """Make a torus: the conic profile of the y meridian revolved in the x meridian's circle.

    ``radii_mm`` gives the x meridian (along ``axis_rad``) first; ``k`` belongs to the profile.
    """
    cx, cy = _curvature(radii_mm[0]), _curvature(radii_mm[1])
    return Surface("toric", cx, cy, 0.0, k, (), axis_rad, semi_diameter_mm, pose or Pose(), name)
