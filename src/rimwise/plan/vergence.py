"""The eye as two thin lenses: what every published vergence formula is made of.

Cornea and implant are thin; the formulas differ only in where they put the implant, how long they
take the eye to be and how strong the cornea. Numbers or arrays that broadcast; lengths in mm.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused

VERTEX_MM = 12.0  # spectacle plane, convention 12
Numbers = float | FloatArray
_MM = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class ThinEye:
    """An eye of two thin lenses.

    Parameters
    ----------
    length_mm : number or array
        Cornea to retina as the formula takes it.
    lens_mm : number or array
        Cornea to implant, the effective position.
    cornea_dpt : number or array
    index : float
        Behind the cornea.
    """

    length_mm: Numbers
    lens_mm: Numbers
    cornea_dpt: Numbers
    index: float

    def power_dpt(self, refraction_dpt: Numbers, vertex_mm: float = VERTEX_MM) -> FloatArray:
        """Which power leaves this refraction at the spectacle plane?"""
        n = _MM * self.index
        vergence_dpt = self.cornea_dpt + at_cornea_dpt(refraction_dpt, vertex_mm)
        gap_mm = np.subtract(self.length_mm, self.lens_mm)
        return np.asarray(n / gap_mm - n / (n / vergence_dpt - self.lens_mm))

    def refraction_dpt(self, power_dpt: Numbers, vertex_mm: float = VERTEX_MM) -> FloatArray:
        """Which refraction at the spectacle plane does this power leave?"""
        return at_spectacles_dpt(self.at_cornea_dpt(power_dpt), vertex_mm)

    def at_cornea_dpt(self, power_dpt: Numbers) -> FloatArray:
        """Which refraction at the cornea does this power leave?"""
        n = _MM * self.index
        wanted_dpt = n / np.subtract(self.length_mm, self.lens_mm) - power_dpt
        return np.asarray(n * wanted_dpt / (n + wanted_dpt * self.lens_mm) - self.cornea_dpt)

    def slope_dpt_per_mm(self, power_dpt: Numbers) -> FloatArray:
        """How much does the refraction at the cornea change for each mm of the implant's position?

        Own derivation: with v = n/(L - d) - P the cornea needs z = n v / (n + v d), and
        dz/dd = n (n v' - v²) / (n + v d)², v' = n/(L - d)².
        """
        n = _MM * self.index
        gap_mm = np.subtract(self.length_mm, self.lens_mm)
        v = n / gap_mm - power_dpt
        return np.asarray(n * (n * n / gap_mm**2 - v * v) / (n + v * self.lens_mm) ** 2)


def at_cornea_dpt(spectacle_dpt: Numbers, vertex_mm: float = VERTEX_MM) -> FloatArray:
    """Which power at the cornea does the same as this one at the spectacle plane?

    Examples
    --------
    >>> float(at_cornea_dpt(-10.0).round(4))
    -8.9286
    """
    return np.asarray(spectacle_dpt / (1.0 - vertex_mm / _MM * np.asarray(spectacle_dpt)))


def at_spectacles_dpt(cornea_dpt: Numbers, vertex_mm: float = VERTEX_MM) -> FloatArray:
    """Which power at the spectacle plane does the same as this one at the cornea?

    Examples
    --------
    >>> float(at_spectacles_dpt(-10.0).round(4))
    -11.3636
    """
    return np.asarray(cornea_dpt / (1.0 + vertex_mm / _MM * np.asarray(cornea_dpt)))


def lens_position_mm(
    eye: ThinEye, power_dpt: float, refraction_dpt: float, vertex_mm: float = VERTEX_MM
) -> float:
    """Where must a thin implant of this power have come to rest to leave this refraction?

    Parameters
    ----------
    eye : ThinEye
        Length and cornea; its ``lens_mm`` is not used.
    power_dpt, refraction_dpt : float
        Implanted power, refraction achieved at the spectacle plane.

    Returns
    -------
    float
        Behind the cornea, mm, between cornea and retina.

    Raises
    ------
    MeasurementRefused
        No position answers ("no-lens-position"), or only one outside the eye
        ("lens-position-outside"): a weak implant says next to nothing about where it is.

    Notes
    -----
    d = ((L + u) - √((u - L)² + 4 n (u - L) / P)) / 2 with u = n / z (own derivation).

    Examples
    --------
    >>> eye = ThinEye(23.5, 0.0, 331.5 / 7.76, 1.336)
    >>> round(lens_position_mm(eye, 21.0, -0.25), 6)
    4.629571
    """
    n, length = _MM * eye.index, float(eye.length_mm)
    reach_mm = n / float(eye.cornea_dpt + at_cornea_dpt(refraction_dpt, vertex_mm))
    beyond_mm = reach_mm - length
    root = beyond_mm**2 + 4.0 * n * beyond_mm / power_dpt if power_dpt != 0.0 else -1.0
    if root < 0.0:
        raise MeasurementRefused(
            "no-lens-position",
            f"No position of a thin implant of {power_dpt:g} dpt leaves {refraction_dpt:+.2f} dpt "
            f"in an eye of {length:g} mm; check length, keratometry, power and refraction.",
        )
    position = 0.5 * (length + reach_mm - float(np.sqrt(root)))
    if not 0.0 < position < length:
        raise MeasurementRefused(
            "lens-position-outside",
            f"An implant of {power_dpt:g} dpt that leaves {refraction_dpt:+.2f} dpt would lie at "
            f"{position:.2f} mm in an eye of {length:g} mm, outside the eye; check the numbers.",
        )
    return position
