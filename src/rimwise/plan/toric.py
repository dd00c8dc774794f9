"""Toric implants in power vectors: what is left, its ellipse, and what each degree costs.

Powers are 2 × 2 matrices behind the power vectors, so that nothing needs aligned meridians.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.optics.refraction import PowerVector
from rimwise.plan.thick_cornea import thick_cornea
from rimwise.plan.vergence import ThinEye
from rimwise.records.lens_power import VectorEllipse
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import axis_deg
from rimwise.terms.units import deg_from_rad, rad_from_deg

_MM = 1000.0
_CHI2_95 = 5.991464547107979  # two degrees of freedom
STEP_DEG = 1.0


def steep_cylinder(cylinder_dpt: float, steep_deg: float) -> PowerVector:
    """Which power vector, without mean power, is stronger by this much along this meridian?

    Examples
    --------
    >>> vector = steep_cylinder(1.0, 90.0)
    >>> round(vector.j0_dpt, 9), abs(round(vector.j45_dpt, 9))
    (-0.5, 0.0)
    """
    double = 2.0 * rad_from_deg(steep_deg)
    half = 0.5 * cylinder_dpt
    return PowerVector(0.0, half * math.cos(double), half * math.sin(double))


def steep_meridian(vector: PowerVector) -> tuple[float, float]:
    """How large is the cylinder of a power, and along which meridian is it strongest?

    Returns
    -------
    (cylinder_dpt, steep_deg)
        0 or more, and (0, 180].

    Examples
    --------
    >>> tuple(round(part, 9) for part in steep_meridian(steep_cylinder(0.75, 15.0)))
    (0.75, 15.0)
    """
    size = 2.0 * math.hypot(vector.j0_dpt, vector.j45_dpt)
    return size, axis_deg(deg_from_rad(0.5 * math.atan2(vector.j45_dpt, vector.j0_dpt)))


def induced_astigmatism(before: PowerVector, after: PowerVector) -> tuple[float, float]:
    """Which astigmatism did an operation add: size and steep meridian?

    Examples
    --------
    >>> added = induced_astigmatism(steep_cylinder(1.0, 90.0), steep_cylinder(0.5, 90.0))
    >>> tuple(round(part, 9) for part in added)
    (0.5, 180.0)
    """
    return steep_meridian(after.minus(before))


@dataclass(frozen=True, slots=True, eq=False)
class Incision:
    """What this surgeon's incision adds to the cornea's astigmatism.

    Parameters
    ----------
    centroid : PowerVector
        Mean of what was added, without mean power.
    covariance : array, shape (2, 2)
        Of (J0, J45), dpt²; the scatter from eye to eye.
    eyes : int
        0 where none was measured.
    """

    centroid: PowerVector
    covariance: FloatArray
    eyes: int


def incision_of(added: list[PowerVector]) -> Incision:
    """Which centroid and scatter do these eyes show? (the mean size is no measure of either)

    Raises
    ------
    WrongInput
        Fewer than three eyes.

    Examples
    --------
    >>> made = incision_of([steep_cylinder(0.3, 180.0), steep_cylinder(0.5, 10.0),
    ...                     steep_cylinder(0.4, 170.0)])
    >>> [round(part, 3) for part in steep_meridian(made.centroid)]
    [0.382, 0.855]
    """
    if len(added) < 3:
        raise WrongInput(f"a scatter was asked of {len(added)} eyes, and at least 3 are needed")
    table = np.array([(one.j0_dpt, one.j45_dpt) for one in added])
    mean = table.mean(axis=0)
    centroid = PowerVector(0.0, float(mean[0]), float(mean[1]))
    return Incision(centroid, np.cov(table.T), len(added))


def corneal_power(
    front_mm: tuple[float, float], steep_deg: float, back: PowerVector
) -> PowerVector:
    """Which power has a thin cornea of these front radii (flat, steep) and this back surface?

    Parameters
    ----------
    front_mm : (flat, steep)
        Radii, mm.
    steep_deg : float
        Steep meridian of the front.
    back : PowerVector
        Power of the back surface, dpt; its mean is below 0.

    Examples
    --------
    >>> power = corneal_power((7.8, 7.6), 90.0, PowerVector(-6.0, 0.0, 0.0))
    >>> round(steep_meridian(power)[0], 3), round(steep_meridian(power)[1], 3)
    (1.269, 90.0)
    """
    flat, steep = (thick_cornea(r, r, 1e-9).front_dpt for r in front_mm)
    front = PowerVector(0.5 * (flat + steep), 0.0, 0.0)
    return front.plus(steep_cylinder(steep - flat, steep_deg)).plus(back)


@dataclass(frozen=True, slots=True)
class ToricEye:
    """A thin-lens eye with cylinders.

    Parameters
    ----------
    length_mm, lens_mm : float
        Cornea to retina and to the implant, as a formula takes them.
    cornea : PowerVector
    index : float
    """

    length_mm: float
    lens_mm: float
    cornea: PowerVector
    index: float = 1.336

    def refraction(self, implant: PowerVector) -> PowerVector:
        """Which refraction at the cornea does an implant of this power, in place, leave?

        The light is followed back from the retina: v = n/(L - d) - P behind the implant's front,
        z = v (1 + d v / n)⁻¹ at the cornea, and the cornea gives part of it.

        Examples
        --------
        >>> eye = ToricEye(23.5, 5.1, PowerVector.of(42.5, 2.5, 180.0))
        >>> left = eye.refraction(PowerVector.of(20.0, 3.0, 90.0))
        >>> tuple(round(part, 6) for part in left.sphere_cylinder_axis())
        (-0.790097, -0.399502, 180.0)
        """
        n = _MM * self.index
        wanted = PowerVector(n / (self.length_mm - self.lens_mm), 0.0, 0.0).minus(implant)
        at_cornea = wanted.moved_towards_light(self.lens_mm / self.index)
        return at_cornea.minus(self.cornea)

    def implant_for(self, refraction: PowerVector) -> PowerVector:
        """Which implant would leave this refraction at the cornea?

        Examples
        --------
        >>> eye = ToricEye(23.5, 5.1, PowerVector.of(42.5, 2.5, 180.0))
        >>> wanted = eye.implant_for(PowerVector(0.0, 0.0, 0.0))
        >>> round(abs(eye.refraction(wanted).blur_dpt()), 9)
        0.0
        """
        n = _MM * self.index
        reaching = self.cornea.plus(refraction).moved_towards_light(-self.lens_mm / self.index)
        return PowerVector(n / (self.length_mm - self.lens_mm), 0.0, 0.0).minus(reaching)


def cylinder_ratio(eye: ThinEye, flat_dpt: float, steep_dpt: float) -> float:
    """How many dioptres of cylinder at the implant make one at the cornea in this eye?

    Powers for no refraction in the two meridians; ``eye.cornea_dpt`` is not used.

    Examples
    --------
    >>> round(cylinder_ratio(ThinEye(23.5, 5.1, 0.0, 1.336), 42.5, 45.0), 6)
    1.441234
    """
    flat, steep = (
        float(ThinEye(eye.length_mm, eye.lens_mm, k, eye.index).power_dpt(0.0))
        for k in (flat_dpt, steep_dpt)
    )
    return (flat - steep) / (steep_dpt - flat_dpt)


def rotation_residual_dpt(cylinder_dpt: float, turn_deg: float) -> float:
    """How much cylinder is left between two equal ones that are turned apart?

    2 · C · sin θ (convention 14; own derivation by double angles).

    Examples
    --------
    >>> round(rotation_residual_dpt(2.0, 10.0), 6)
    0.694593
    """
    return 2.0 * abs(cylinder_dpt) * abs(math.sin(rad_from_deg(turn_deg)))


def turned(implant: PowerVector, turn_deg: float) -> PowerVector:
    """Which power has the implant when it is turned counter-clockwise?

    Examples
    --------
    >>> round(turned(PowerVector.of(20.0, 3.0, 90.0), 10.0).sphere_cylinder_axis()[2], 9)
    10.0
    """
    double = 2.0 * rad_from_deg(turn_deg)
    cos, sin = math.cos(double), math.sin(double)
    return PowerVector(
        implant.m_dpt,
        implant.j0_dpt * cos - implant.j45_dpt * sin,
        implant.j0_dpt * sin + implant.j45_dpt * cos,
    )


def ellipse_95(covariance: FloatArray) -> VectorEllipse:
    """Which ellipse holds 95 % of a normal law with this covariance (2, 2)?

    Examples
    --------
    >>> ellipse = ellipse_95(np.diag([0.01, 0.04]))
    >>> round(ellipse.major_dpt, 4), round(ellipse.minor_dpt, 4), ellipse.angle_deg
    (0.4895, 0.2448, 90.0)
    """
    values, vectors = np.linalg.eigh(np.asarray(covariance, dtype=np.float64))
    minor, major = np.sqrt(_CHI2_95 * np.clip(values, 0.0, None))
    x, y = vectors[:, 1]
    return VectorEllipse(float(major), float(minor), axis_deg(math.degrees(math.atan2(y, x))))


@dataclass(frozen=True, slots=True)
class ToricScatter:
    """What blurs the residual: one sd each.

    Parameters
    ----------
    cornea_dpt : float
        Of each component (J0, J45) of the corneal astigmatism.
    rotation_deg : float
        Of the implant's axis at rest.
    """

    cornea_dpt: float
    rotation_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class ToricExpectation:
    """What is expected to be left with one implant, at the corneal plane.

    Parameters
    ----------
    residual : PowerVector
        Refraction with the incision's centroid added to the cornea.
    covariance : array, shape (2, 2)
        Of the residual's (J0, J45), dpt².
    ellipse : VectorEllipse
        95 %.
    cost_dpt_per_deg : float
        Cylinder that one degree of rotation adds to what is left, crossed with it: 2 C sin 1°.
    """

    residual: PowerVector
    covariance: FloatArray
    ellipse: VectorEllipse
    cost_dpt_per_deg: float


def expect_toric(
    eye: ToricEye, implant: PowerVector, incision: Incision, scatter: ToricScatter
) -> ToricExpectation:
    """What is a toric implant in place expected to leave, how surely, and what costs a degree?

    Parameters
    ----------
    eye : ToricEye
        Before the incision.
    implant : PowerVector
        As it is to lie.
    incision : Incision
    scatter : ToricScatter

    Notes
    -----
    Slopes by differences through the whole eye; independent sources add their covariances.

    Examples
    --------
    >>> eye = ToricEye(23.5, 5.1, PowerVector.of(42.5, 2.5, 180.0))
    >>> none = Incision(PowerVector(0.0, 0.0, 0.0), np.zeros((2, 2)), 0)
    >>> implant = eye.implant_for(PowerVector(0.0, 0.0, 0.0))
    >>> found = expect_toric(eye, implant, none, ToricScatter(0.1, 4.0))
    >>> round(found.residual.blur_dpt(), 9), round(found.cost_dpt_per_deg, 4)
    (0.0, 0.0873)
    """
    cut = ToricEye(eye.length_mm, eye.lens_mm, eye.cornea.plus(incision.centroid), eye.index)
    residual = cut.refraction(implant)

    def left(turn_deg: float) -> FloatArray:
        found = cut.refraction(turned(implant, turn_deg))
        return np.array([found.j0_dpt, found.j45_dpt])

    return toric_expectation(
        residual, (left(0.5 * STEP_DEG) - left(-0.5 * STEP_DEG)) / STEP_DEG, incision, scatter
    )


def toric_expectation(
    residual: PowerVector, slope: FloatArray, incision: Incision, scatter: ToricScatter
) -> ToricExpectation:
    """How surely is this residual expected, and what does a degree cost?

    Parameters
    ----------
    residual : PowerVector
        At the cornea.
    slope : array, shape (2,)
        Change of its (J0, J45) by a degree of turn.
    incision : Incision
    scatter : ToricScatter

    Examples
    --------
    >>> none = Incision(PowerVector(0.0, 0.0, 0.0), np.zeros((2, 2)), 0)
    >>> left = PowerVector(0.0, 0.1, 0.0)
    >>> found = toric_expectation(left, np.array([0.0, 0.03]), none, ToricScatter(0.1, 4.0))
    >>> round(found.cost_dpt_per_deg, 3), found.ellipse.angle_deg
    (0.06, 90.0)
    """
    covariance = (
        incision.covariance
        + scatter.cornea_dpt**2 * np.eye(2)
        + scatter.rotation_deg**2 * np.outer(slope, slope)
    )
    cost = 2.0 * float(np.hypot(*slope))
    return ToricExpectation(residual, covariance, ellipse_95(covariance), cost)
