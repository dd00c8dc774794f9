"""Conversions between the units used inside (mm, rad) and those at the border (degrees, dioptres).

The only file in which a number changes its unit.
"""

import math


def deg_from_rad(angle_rad: float) -> float:
    """How many degrees is this angle in radians?

    Examples
    --------
    >>> round(deg_from_rad(math.pi), 12)
    180.0
    """
    return math.degrees(angle_rad)


def rad_from_deg(angle_deg: float) -> float:
    """How many radians is this angle in degrees?

    Examples
    --------
    >>> round(rad_from_deg(180.0), 12) == round(math.pi, 12)
    True
    """
    return math.radians(angle_deg)


def radius_mm_from_dpt(power_dpt: float, index: float) -> float:
    """Which corneal radius lies behind a keratometer's reading in dioptres?

    Parameters
    ----------
    power_dpt : float
        The reading, dpt, above 0.
    index : float
        The keratometric index the instrument used, above 1.

    Returns
    -------
    float
        Radius in mm.

    Notes
    -----
    r = 1000 (n - 1) / K (paraxial power of one spherical surface; any optics textbook).

    Examples
    --------
    >>> round(radius_mm_from_dpt(43.83116883, 1.3375), 4)
    7.7
    """
    return 1000.0 * (index - 1.0) / power_dpt


def dpt_from_radius_mm(radius_mm: float, index: float) -> float:
    """Which dioptres would a keratometer with this index print for a corneal radius?

    Examples
    --------
    >>> round(dpt_from_radius_mm(7.7, 1.3375), 6)
    43.831169
    """
    return 1000.0 * (index - 1.0) / radius_mm


def percent(probability: float) -> str:
    """How is this probability written, without calling anything certain?

    Examples
    --------
    >>> percent(0.9512), percent(0.99999), percent(0.00001)
    ('95.1 %', 'over 99.9 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{100.0 * probability:.1f} %"
