"""Which spectacle lens cancels this wavefront? Power vectors and their forms."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.optics.pupil_change import powers_of
from rimwise.optics.zernike import Wavefront
from rimwise.terms.frames import axis_deg
from rimwise.terms.units import deg_from_rad, rad_from_deg


@dataclass(frozen=True, slots=True)
class PowerVector:
    """A thin spherocylinder as three independent dioptres.

    M = S + C / 2, J0 = -C / 2 · cos 2α, J45 = -C / 2 · sin 2α (L. N. Thibos, W. Wheeler,
    D. Horner, "Power vectors", Optom. Vis. Sci. 74, 367, 1997, cited from memory).

    Examples
    --------
    >>> lens = PowerVector.of(-1.0, -2.0, 180.0)
    >>> lens.m_dpt, lens.j0_dpt, abs(round(lens.j45_dpt, 12))
    (-2.0, 1.0, 0.0)
    >>> tuple(round(v, 9) for v in lens.sphere_cylinder_axis())
    (-1.0, -2.0, 180.0)
    """

    m_dpt: float
    j0_dpt: float
    j45_dpt: float

    @classmethod
    def of(cls, sphere_dpt: float, cylinder_dpt: float, axis_in_deg: float) -> "PowerVector":
        """Return the power vector of sphere, cylinder (either sign) and axis."""
        double = 2.0 * rad_from_deg(axis_in_deg)
        half = 0.5 * cylinder_dpt
        return cls(sphere_dpt + half, -half * math.cos(double), -half * math.sin(double))

    def sphere_cylinder_axis(self) -> tuple[float, float, float]:
        """Return sphere, minus cylinder and axis in (0, 180]; axis 180 without a cylinder."""
        half = math.hypot(self.j0_dpt, self.j45_dpt)
        if half == 0.0:
            return self.m_dpt, 0.0, 180.0
        axis = axis_deg(deg_from_rad(0.5 * math.atan2(self.j45_dpt, self.j0_dpt)))
        return self.m_dpt + half, -2.0 * half, axis

    def plus(self, other: "PowerVector") -> "PowerVector":
        """Return both lenses in contact."""
        return PowerVector(
            self.m_dpt + other.m_dpt, self.j0_dpt + other.j0_dpt, self.j45_dpt + other.j45_dpt
        )

    def minus(self, other: "PowerVector") -> "PowerVector":
        """Return the lens that is left when the other is taken away."""
        return self.plus(PowerVector(-other.m_dpt, -other.j0_dpt, -other.j45_dpt))

    def blur_dpt(self) -> float:
        """Return the length √(M² + J0² + J45²) of the vector."""
        return math.sqrt(self.m_dpt**2 + self.j0_dpt**2 + self.j45_dpt**2)

    def moved_towards_light(self, distance_mm: float) -> "PowerVector":
        """Which lens further from the eye (by this distance, mm) does the same?

        F' = F (1 + d F)⁻¹ with the 2 × 2 power matrix; negative distances come nearer.

        Examples
        --------
        >>> round(PowerVector(-10.0, 0.0, 0.0).moved_towards_light(12.0).m_dpt, 4)
        -11.3636
        """
        power = np.array(
            [[self.m_dpt + self.j0_dpt, self.j45_dpt], [self.j45_dpt, self.m_dpt - self.j0_dpt]]
        )
        moved = power @ np.linalg.inv(np.eye(2) + distance_mm / 1000.0 * power)
        return PowerVector(
            float(0.5 * (moved[0, 0] + moved[1, 1])),
            float(0.5 * (moved[0, 0] - moved[1, 1])),
            float(moved[0, 1]),
        )


def least_squares_refraction(wavefront: Wavefront) -> PowerVector:
    """Which lens leaves the smallest mean square wavefront error?

    Returns
    -------
    PowerVector
        At the plane of the wavefront: M = -4√3 c(2,0) / a², J0 = -2√6 c(2,2) / a²,
        J45 = -2√6 c(2,-2) / a², a the pupil radius (follows from W = -½ (M r² + ...)).

    Examples
    --------
    >>> myopia = Wavefront(np.array([0.0, 0.0, 0.0, 0.0, 1.0]), 3.0)
    >>> round(least_squares_refraction(myopia).m_dpt, 4)
    -0.7698
    """
    a2 = wavefront.pupil_radius_mm**2
    return PowerVector(
        -4.0 * math.sqrt(3.0) * wavefront.coefficient_um(2, 0) / a2,
        -2.0 * math.sqrt(6.0) * wavefront.coefficient_um(2, 2) / a2,
        -2.0 * math.sqrt(6.0) * wavefront.coefficient_um(2, -2) / a2,
    )


def paraxial_refraction(wavefront: Wavefront) -> PowerVector:
    """Which lens flattens the wavefront at the centre of the pupil?

    Returns
    -------
    PowerVector
        From the curvature at the centre, to which every even order contributes.

    Examples
    --------
    >>> ball = Wavefront(np.eye(15)[12] * 0.1, 3.0)
    >>> round(paraxial_refraction(ball).m_dpt, 4)
    0.2981
    """
    if wavefront.order < 2:
        return PowerVector(0.0, 0.0, 0.0)
    powers, a2 = powers_of(wavefront), wavefront.pupil_radius_mm**2
    return PowerVector(
        -2.0 * float(powers[1, 1].real) / a2,
        -4.0 * float(powers[2, 0].real) / a2,
        4.0 * float(powers[2, 0].imag) / a2,
    )


def wavefront_of_lens_um(lens: PowerVector, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """Return the wavefront error, µm, of an eye that this lens would correct."""
    round_part = lens.m_dpt * (x_mm * x_mm + y_mm * y_mm)
    cross = lens.j0_dpt * (x_mm * x_mm - y_mm * y_mm) + 2.0 * lens.j45_dpt * x_mm * y_mm
    return np.asarray(-0.5 * (round_part + cross))
