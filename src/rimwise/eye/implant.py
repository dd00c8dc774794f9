"""From an implant in general terms to the shape of its optic."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.eye.model import Part
from rimwise.optics.pose import Pose
from rimwise.optics.rays import rays
from rimwise.optics.surface import biconic, conic, even_asphere, plane
from rimwise.optics.system import System, pass_through, refract
from rimwise.optics.trace import trace
from rimwise.published.load import published_value
from rimwise.records.eye import ImplantShape
from rimwise.terms.errors import WrongInput

_TURNS = 60
_MOST_R4_MM = 0.15


@dataclass(frozen=True, slots=True)
class ImplantTerms:
    """What is said of an implant; what is left out follows from the rest.

    Parameters
    ----------
    power_dpt : float
        In aqueous, mean of the meridians.
    index : float
    optic_diameter_mm : float
    shape_factor : float
        (c1 + c2) / (c1 - c2) with curvatures positive where the centre lies towards the retina;
        0 is equiconvex, 1 flat behind, -1 flat in front.
    edge_mm : float
        At the rim; the middle's thickness follows.
    front_conic, back_conic : float
    spherical_aberration_um : float or None
        Zernike c(4, 0) that the implant alone gives to a far point's light of
        ``aberration_aperture_mm`` in aqueous; positive as of a plain lens. Sets the r⁴ term.
    aberration_aperture_mm : float
    cylinder_dpt : float
        On the back surface, in aqueous.
    axis_deg, haptic_axis_deg : float or None
    front_r4_per_mm3 : float
        What the front falls back by beyond its conic, times r⁴.
    """

    power_dpt: float
    index: float
    optic_diameter_mm: float = 6.0
    shape_factor: float = 0.0
    edge_mm: float = 0.25
    front_conic: float = 0.0
    back_conic: float = 0.0
    spherical_aberration_um: float | None = None
    aberration_aperture_mm: float = 5.0
    cylinder_dpt: float = 0.0
    axis_deg: float | None = None
    haptic_axis_deg: float | None = None
    front_r4_per_mm3: float = 0.0


def implant_shape(terms: ImplantTerms) -> ImplantShape:
    """Which radii and which thickness does an implant of these terms have?

    Raises
    ------
    WrongInput
        If no such optic exists.

    Notes
    -----
    Thick lens: P = P1 + P2 - (t/n) P1 P2; the thickness is that of the rim and both sags.

    Examples
    --------
    >>> shape = implant_shape(ImplantTerms(power_dpt=21.0, index=1.49))
    >>> round(shape.front_radius_mm, 2), shape.front_radius_mm == shape.back_radius_weak_mm
    (14.62, True)
    """
    around = published_value("cornea", "index_aqueous").value
    if not terms.index > around:
        raise WrongInput(
            f"the implant's index is {terms.index}, and more than {around} (aqueous) is allowed"
        )
    if terms.cylinder_dpt and terms.axis_deg is None:
        raise WrongInput(
            f"the implant has a cylinder of {terms.cylinder_dpt} dpt and no axis_deg; give the "
            "direction of its marks, above 0 to 180"
        )
    shape = _spherical(terms, around)
    if terms.spherical_aberration_um is not None:
        shape = _with_aberration(terms)
    if terms.cylinder_dpt == 0.0:
        return shape
    weak, steep = (_back_radius(shape, terms, around, half) for half in (-0.5, 0.5))
    return replace(shape, back_radius_weak_mm=weak, back_radius_steep_mm=steep)


def implant_parts(shape: ImplantShape, depth_mm: float, behind: float) -> tuple[Part, Part]:
    """Which two surfaces does the implant put into an eye, its front this deep?

    Parameters
    ----------
    shape : ImplantShape
    depth_mm : float
        From the corneal front to the front of the implant.
    behind : float
        Index of the vitreous.

    Examples
    --------
    >>> shape = implant_shape(ImplantTerms(power_dpt=21.0, index=1.49))
    >>> [part.role for part in implant_parts(shape, 4.5, 1.336)]
    ['lens front', 'lens back']
    """
    half = shape.optic_diameter_mm / 2.0
    front_pose = Pose.at(0.0, 0.0, -depth_mm)
    back_pose = Pose.at(0.0, 0.0, -depth_mm - shape.thickness_mm)
    front = conic(-shape.front_radius_mm, shape.front_conic, front_pose, half, "lens front")
    if shape.front_r4_per_mm3:
        front = even_asphere(
            -shape.front_radius_mm,
            shape.front_conic,
            (-shape.front_r4_per_mm3,),
            front_pose,
            half,
            "lens front",
        )
    if shape.back_radius_weak_mm == shape.back_radius_steep_mm:
        back = conic(shape.back_radius_weak_mm, shape.back_conic, back_pose, half, "lens back")
    else:
        back = biconic(
            (shape.back_radius_weak_mm, shape.back_radius_steep_mm),
            (shape.back_conic, shape.back_conic),
            math.radians(shape.axis_deg or 0.0),
            back_pose,
            half,
            "lens back",
        )
    return Part("lens front", front, shape.index), Part("lens back", back, behind)


def aberration_um(shape: ImplantShape, aperture_mm: float) -> float:
    """Which spherical aberration has the implant alone, in aqueous, for a far point's light?

    Parameters
    ----------
    shape : ImplantShape
        Its cylinder is left out of account.
    aperture_mm : float
        Diameter of the beam.

    Returns
    -------
    float
        Zernike c(4, 0), µm, of the path to a sphere about the paraxial focus through the implant's
        back; positive where the margin focuses nearer, as of a plain lens.

    Examples
    --------
    >>> aberration_um(implant_shape(ImplantTerms(power_dpt=21.0, index=1.49)), 5.0) > 0.04
    True
    """
    around = published_value("cornea", "index_aqueous").value
    flat = replace(shape, back_radius_steep_mm=shape.back_radius_weak_mm)
    one, other = implant_parts(flat, 1.0, around)
    steps = [refract(p.surface, p.behind) for p in (one, other)]
    system = System((pass_through(plane()), *steps), around).unclipped()
    node, weight = np.polynomial.legendre.leggauss(12)
    rho, weight = 0.5 * (node + 1.0), 0.5 * weight
    height = np.append(1e-4, rho * aperture_mm / 2.0)
    out = trace(
        system, rays(np.column_stack([height, 0 * height, 0 * height]), [0, 0, -1.0]),
        engine="numpy",
    )  # fmt: skip
    slope = out.directions[:, 0] / out.directions[:, 2]
    focus_z = out.positions_mm[0, 2] - out.positions_mm[0, 0] / slope[0]
    # A sphere about the focus through the implant's back, its exit pupil: further off, the way
    # that strongly bent rays have gone astray would count as path.
    to_centre = np.array([0.0, 0.0, focus_z]) - out.positions_mm
    along = np.einsum("ij,ij->i", to_centre, out.directions)
    aside2 = np.einsum("ij,ij->i", to_centre, to_centre) - along**2
    radius = focus_z - out.positions_mm[0, 2]
    path = out.opl_mm + around * (along - np.sign(along) * np.sqrt(radius**2 - aside2))
    wave_um = 1000.0 * (path[1:] - path[0])
    zernike = math.sqrt(5.0) * (6.0 * rho**4 - 6.0 * rho**2 + 1.0)
    return -2.0 * float(np.sum(weight * rho * zernike * wave_um))


def _spherical(terms: ImplantTerms, around: float) -> ImplantShape:
    """Find radii and thickness together, each from the other."""
    half, x, n = terms.optic_diameter_mm / 2.0, terms.shape_factor, terms.index
    step, power = (n - around) * 1000.0, terms.power_dpt
    thickness = terms.edge_mm
    for _ in range(_TURNS):
        # Front and back curvature are (1 ± x) / 2 of their sum k; k solves a quadratic.
        bend = 0.25 * (1.0 - x * x) * step * step * thickness / (1000.0 * n)
        under = step * step - 4.0 * bend * power
        if under < 0.0:
            raise WrongInput(f"no optic of {power} dpt is {thickness:.3g} mm thick")
        k = 2.0 * power / (step + math.sqrt(under))
        curves = (0.5 * (1.0 + x) * k, 0.5 * (1.0 - x) * k)
        sags = [_sag(c, terms.front_conic if i == 0 else terms.back_conic, half)
                for i, c in enumerate(curves)]  # fmt: skip
        new = terms.edge_mm + sum(sags) + terms.front_r4_per_mm3 * half**4
        if not new > 0.0:
            raise WrongInput(
                f"an optic of {power} dpt and {terms.optic_diameter_mm} mm has no thickness left "
                f"in its middle with an edge_mm of {terms.edge_mm}; give a thicker edge"
            )
        if abs(new - thickness) < 1e-14:
            break
        thickness = new
    front, back = (math.inf if c == 0.0 else 1.0 / c for c in curves)
    return ImplantShape(
        terms.optic_diameter_mm, terms.edge_mm, thickness, n, front, back, back,
        terms.front_conic, terms.back_conic, power, terms.cylinder_dpt, terms.axis_deg,
        terms.haptic_axis_deg, terms.front_r4_per_mm3,
    )  # fmt: skip


def _sag(curvature: float, k: float, half_mm: float) -> float:
    under = 1.0 - (1.0 + k) * (curvature * half_mm) ** 2
    if under < 0.0:
        raise WrongInput(
            f"a surface of radius {1.0 / curvature:.4g} mm does not reach over an optic of "
            f"{2.0 * half_mm:g} mm; lower the power or the optic's diameter"
        )
    return curvature * half_mm**2 / (1.0 + math.sqrt(under))


def _back_radius(shape: ImplantShape, terms: ImplantTerms, around: float, half: float) -> float:
    """Return the back radius of a meridian that is ``half`` of the cylinder off the mean power."""
    step = (terms.index - around) * 1000.0
    first = step / shape.front_radius_mm
    power = terms.power_dpt + half * terms.cylinder_dpt
    second = (power - first) / (1.0 - shape.thickness_mm / (1000.0 * terms.index) * first)
    return math.inf if second == 0.0 else step / second


def _with_aberration(terms: ImplantTerms) -> ImplantShape:
    """Search the r⁴ term that gives the aberration asked for; the thickness follows it."""
    wanted = terms.spherical_aberration_um or 0.0
    around = published_value("cornea", "index_aqueous").value

    def made(r4: float) -> ImplantShape:
        return _spherical(replace(terms, front_r4_per_mm3=r4), around)

    def excess(r4: float) -> float:
        return aberration_um(made(r4), terms.aberration_aperture_mm) - wanted

    reach = _MOST_R4_MM / (terms.optic_diameter_mm / 2.0) ** 4
    low, high = -reach, reach
    below, above = excess(low), excess(high)
    if not below * above < 0.0:
        raise WrongInput(
            f"no asphere that leaves the sphere by up to {_MOST_R4_MM} mm at the rim gives an "
            f"implant of {terms.power_dpt} dpt {wanted} µm of spherical aberration; check the "
            "number, its sign and aberration_aperture_mm"
        )
    for _ in range(_TURNS):
        middle = 0.5 * (low + high)
        value = excess(middle)
        low, high = (middle, high) if value * below > 0.0 else (low, middle)
    return made(0.5 * (low + high))
