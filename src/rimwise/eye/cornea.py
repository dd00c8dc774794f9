"""How large and how deep something behind the cornea looks: two surfaces, paraxial.

Light leaves the eye along +z, through the back surface (aqueous to cornea) and the front surface
(cornea to air). The exact trace of a wide ring looks about one per cent smaller than the paraxial
form says; that difference is carried as an uncertainty, see ``paraxial_magnification_error``.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.picture import CorneaSheet
from rimwise.terms.estimate import Estimate
from rimwise.terms.units import radius_mm_from_dpt


@dataclass(frozen=True, slots=True)
class Cornea:
    """Two centred surfaces: radii and thickness in mm, refractive indices of cornea and aqueous."""

    front_radius_mm: float
    back_radius_mm: float
    thickness_mm: float
    index_cornea: float
    index_aqueous: float


@dataclass(frozen=True, slots=True)
class CorneaSeen:
    """What is known of the cornea and of the plane seen through it, each number with its sd.

    Exactly one of ``back_radius_mm`` (measured) and ``back_to_front`` (the prior for the ratio of
    back to front radius) is there. ``depth_mm`` runs from the corneal front to the plane.
    """

    front_radius_mm: Estimate
    back_radius_mm: Estimate | None
    back_to_front: Estimate | None
    thickness_mm: Estimate
    depth_mm: Estimate
    assumptions: tuple[Assumption, ...] = ()


def seen_from_front(cornea: Cornea, depth_mm: float) -> tuple[float, float]:
    """How large and how deep does a plane behind the cornea look from far in front?

    Parameters
    ----------
    cornea : Cornea
    depth_mm : float
        From the corneal front to the plane, mm; not less than the corneal thickness.

    Returns
    -------
    tuple of float
        Apparent size divided by real size, and the apparent depth behind the corneal front, mm.

    Raises
    ------
    ValueError
        If the plane lies in front of the corneal back or no upright image forms.

    Notes
    -----
    Vergences n/s before and after each surface, own derivation from the paraxial law of
    refraction; the size changes by the ratio of vergence before to vergence after.

    Examples
    --------
    >>> factor, depth_mm = seen_from_front(Cornea(7.8488, 6.4649, 0.5, 1.376, 1.336), 3.0)
    >>> round(factor, 4), round(depth_mm, 4)
    (1.1058, 2.4757)
    """
    gap_mm = depth_mm - cornea.thickness_mm
    if not gap_mm >= 0.0:
        raise ValueError(
            f"a plane seen through the cornea lies behind it, got a depth of {depth_mm} mm "
            f"with a corneal thickness of {cornea.thickness_mm} mm"
        )
    # Reduced distances gap/n keep the plane on the corneal back itself (gap 0) free of a division.
    reduced = gap_mm / cornea.index_aqueous
    step = (cornea.index_cornea - cornea.index_aqueous) / cornea.back_radius_mm
    first = 1.0 / (1.0 + step * reduced)
    reduced = reduced * first + cornea.thickness_mm / cornea.index_cornea
    power = (cornea.index_cornea - 1.0) / cornea.front_radius_mm
    second = 1.0 / (1.0 - power * reduced)
    if not 0.0 < second < math.inf:
        raise ValueError(f"no upright image forms of a plane {depth_mm} mm behind this cornea")
    return first * second, reduced * second


def cornea_seen(sheet: CorneaSheet, depth_mm: float | None) -> CorneaSeen:
    """What do the sheet and, where it is silent, the published priors say of this cornea?

    Parameters
    ----------
    sheet : CorneaSheet
    depth_mm : float or None
        Measured depth of the plane behind the corneal front, mm; None takes the natural lens's
        front from the published prior.

    Examples
    --------
    >>> seen = cornea_seen(CorneaSheet(radius_mm=7.7, thickness_um=550.0), 3.1)
    >>> [assumption.what for assumption in seen.assumptions]
    ['ratio of back to front corneal radius']
    """
    assumptions: list[Assumption] = []
    front = _front(sheet, assumptions)
    back = _mean_radius_mm(sheet.posterior_flat_mm, sheet.posterior_steep_mm)
    ratio = None
    if back is None:
        ratio = _prior(
            "cornea", "back_to_front_radius", assumptions, "ratio of back to front corneal radius"
        )
    if sheet.thickness_um is None:
        thickness = _prior("cornea", "thickness", assumptions, "corneal thickness")
    else:
        thickness = _measured(sheet.thickness_um / 1000.0, "corneal_thickness")
    if depth_mm is None:
        depth = _prior(
            "lengths", "lens_front_depth_natural", assumptions, "depth of the lens front"
        )
    else:
        depth = _measured(depth_mm, "chamber_depth")
    return CorneaSeen(
        front,
        None if back is None else _measured(back, "back_radius"),
        ratio,
        thickness,
        depth,
        tuple(assumptions),
    )


def magnification(seen: CorneaSeen) -> Estimate:
    """By which factor does this cornea enlarge the plane, and how sure is that?

    Returns
    -------
    Estimate
        Apparent over real size. The sd joins the spread of each input (half the difference between
        one sd up and one sd down) and the known error of the paraxial form, in quadrature.

    Examples
    --------
    >>> seen = cornea_seen(CorneaSheet(radius_mm=7.7, thickness_um=550.0), 3.1)
    >>> factor = magnification(seen)
    >>> round(factor.value, 3), round(factor.sd, 3)
    (1.112, 0.013)
    """
    value = _factor(seen)
    parts = [_half_difference(seen, name) for name in _INPUTS if getattr(seen, name) is not None]
    form = published_value("cornea", "paraxial_magnification_error")
    parts.append(value * (form.sd or 0.0))
    return Estimate(value, math.hypot(*parts), "two-surface paraxial cornea")


def apparent_mm(real_mm: Estimate, seen: CorneaSeen) -> Estimate:
    """How large does a length on the plane look through this cornea?

    Parameters
    ----------
    real_mm : Estimate
        Real length in the plane, mm.
    seen : CorneaSeen

    Returns
    -------
    Estimate
        Apparent length, mm, referred to the limbus plane.

    Examples
    --------
    >>> seen = cornea_seen(CorneaSheet(radius_mm=7.7, thickness_um=550.0), 3.1)
    >>> round(apparent_mm(Estimate(5.0, 0.0), seen).value, 2)
    5.56
    """
    factor = magnification(seen)
    sd = math.hypot(factor.value * real_mm.sd, factor.sd * real_mm.value)
    return Estimate(factor.value * real_mm.value, sd, f"{real_mm.origin} seen through the cornea")


def real_mm(apparent: Estimate, seen: CorneaSeen) -> Estimate:
    """How large is a length on the plane that looks this large through the cornea?

    Parameters
    ----------
    apparent : Estimate
        Apparent length, mm, referred to the limbus plane.
    seen : CorneaSeen

    Returns
    -------
    Estimate
        Real length in the plane, mm.

    Examples
    --------
    >>> seen = cornea_seen(CorneaSheet(radius_mm=7.7, thickness_um=550.0), 3.1)
    >>> round(real_mm(Estimate(5.56, 0.0), seen).value, 2)
    5.0
    """
    factor = magnification(seen)
    value = apparent.value / factor.value
    sd = math.hypot(apparent.sd, value * factor.sd) / factor.value
    return Estimate(value, sd, f"{apparent.origin} taken back through the cornea")


_INPUTS = ("front_radius_mm", "back_radius_mm", "back_to_front", "thickness_mm", "depth_mm")


def _factor(seen: CorneaSeen) -> float:
    front = seen.front_radius_mm.value
    if seen.back_radius_mm is not None:
        back = seen.back_radius_mm.value
    elif seen.back_to_front is not None:
        back = front * seen.back_to_front.value
    else:
        raise ValueError("a cornea needs its back radius or the ratio of back to front radius")
    cornea = Cornea(
        front,
        back,
        seen.thickness_mm.value,
        published_value("cornea", "index_cornea").value,
        published_value("cornea", "index_aqueous").value,
    )
    return seen_from_front(cornea, seen.depth_mm.value)[0]


def _half_difference(seen: CorneaSeen, name: str) -> float:
    given: Estimate = getattr(seen, name)
    steps: list[dict[str, Any]] = [
        {name: replace(given, value=given.value + sign * given.sd)} for sign in (1.0, -1.0)
    ]
    up, down = (_factor(replace(seen, **step)) for step in steps)
    return (up - down) / 2.0


def _front(sheet: CorneaSheet, assumptions: list[Assumption]) -> Estimate:
    radius = sheet.radius_mm
    if radius is None:
        radius = _mean_radius_mm(sheet.radius_flat_mm, sheet.radius_steep_mm)
    if radius is not None:
        return _measured(radius, "front_radius")
    power = _prior("cornea", "mean_power", assumptions, "corneal power, as keratometers print it")
    index = published_value("cornea", "index_keratometric").value
    radius = radius_mm_from_dpt(power.value, index)
    return Estimate(radius, radius * power.sd / power.value, power.origin)


def _mean_radius_mm(flat_mm: float | None, steep_mm: float | None) -> float | None:
    """Return the radius of the mean curvature of the meridians that are known."""
    known = [radius for radius in (flat_mm, steep_mm) if radius is not None]
    return len(known) / sum(1.0 / radius for radius in known) if known else None


def _measured(value: float, instrument: str) -> Estimate:
    return Estimate(value, published_value("instruments", instrument).sd or 0.0, "measured")


def _prior(table: str, key: str, assumptions: list[Assumption], what: str) -> Estimate:
    published = published_value(table, key)
    assumptions.append(Assumption.of(what, published))
    return Estimate(published.value, published.sd or 0.0, "published prior")
