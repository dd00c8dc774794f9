"""Cover of an optic by the edge of an opening, direction by direction (convention 8).

cover(θ) = optic edge radius - opening edge radius along θ from the optic's centre; positive is
covered, negative is bare. Lengths in mm at the optic plane (any one unit works).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.arcs import Arc, arc_span_deg
from rimwise.geometry.curve import ClosedCurve
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import WrongInput

Opening = ClosedCurve | Callable[[FloatArray], FloatArray]


def cover_of_circles(
    optic_radius_mm: float, opening_radius_mm: float, offset_mm: FloatArray, angles_rad: FloatArray
) -> FloatArray:
    """How wide is the cover in each direction if optic and opening are circles?

    Parameters
    ----------
    optic_radius_mm, opening_radius_mm : float
        Above 0.
    offset_mm : array, shape (2,)
        Opening centre from optic centre, (x, y).
    angles_rad : array, shape (n,)
        Directions about the optic's centre.

    Raises
    ------
    WrongInput
        The optic's centre is not inside the opening: cover by direction has no meaning there.

    Examples
    --------
    >>> cover_of_circles(3.0, 2.5, np.array([0.2, 0.0]), np.array([0.0, np.pi])).round(9).tolist()
    [0.3, 0.7]
    """
    x, y = float(offset_mm[0]), float(offset_mm[1])
    if not (optic_radius_mm > 0.0 and math.hypot(x, y) < opening_radius_mm):
        raise WrongInput(
            f"the optic's centre must lie inside the opening, got an offset of ({x}, {y}) mm "
            f"with an opening of radius {opening_radius_mm} mm"
        )
    cos, sin = np.cos(angles_rad), np.sin(angles_rad)
    along, across = x * cos + y * sin, y * cos - x * sin
    return np.asarray(optic_radius_mm - along - np.sqrt(opening_radius_mm**2 - across**2))


def cover_of_curve(
    optic_radius_mm: float | FloatArray, opening: Opening, angles_rad: FloatArray
) -> FloatArray:
    """How wide is the cover in each direction if the opening is a measured curve?

    Parameters
    ----------
    optic_radius_mm : float or array (n,)
        Radius of the optic edge, one or one per direction.
    opening : ClosedCurve or callable
        The edge in coordinates about the optic's centre, or its radius about that centre as a
        function of direction.
    angles_rad : array, shape (n,)

    Raises
    ------
    WrongInput
        The curve is not star-shaped about the optic's centre.

    Examples
    --------
    >>> angles = np.linspace(0.0, 6.0, 7)
    >>> cover_of_curve(3.0, lambda theta: 2.5 + 0.0 * theta, angles)[:2].tolist()
    [0.5, 0.5]
    """
    if isinstance(opening, ClosedCurve):
        return np.asarray(optic_radius_mm - opening.radius_along(angles_rad, (0.0, 0.0)))
    return np.asarray(optic_radius_mm - opening(np.asarray(angles_rad, dtype=np.float64)))


def _widths(width_mm: Sequence[float | None] | FloatArray) -> FloatArray:
    values = np.array([np.nan if w is None else w for w in width_mm], dtype=np.float64)
    if values.ndim != 1 or len(values) < 3 or np.isinf(values).any():
        raise WrongInput("cover is a row of at least three finite widths or unknowns round a turn")
    return values


def bare_arcs(width_mm: Sequence[float | None] | FloatArray) -> tuple[Arc, ...]:
    """Over which arcs is the optic bare?

    Parameters
    ----------
    width_mm : sequence (n,)
        Cover in n equal steps round a turn, index 0 at 0°; None or NaN where unknown.

    Returns
    -------
    tuple of (from_deg, to_deg)
        Counter-clockwise, ends in [0, 360) by linear interpolation of the cover; an arc over 0°
        has from > to; ((0, 360),) where all is bare. Beside an unknown direction an arc ends half
        a step beyond the last bare direction: each direction stands for its own step.

    Examples
    --------
    >>> bare_arcs([-1.0, 1.0, 1.0, 1.0])
    ((315.0, 45.0),)
    >>> bare_arcs([None, -1.0, 1.0, 1.0])
    ((45.0, 135.0),)
    >>> bare_arcs([0.0, -1.0, -1.0, -1.0])
    ((0.0, 360.0),)
    """
    values = _widths(width_mm)
    count, step = len(values), 360.0 / len(values)
    bare: BoolArray = values < 0.0
    if bare.all():
        return ((0.0, 360.0),)
    starts = np.flatnonzero(bare & ~np.roll(bare, 1))
    ends = np.flatnonzero(bare & ~np.roll(bare, -1))
    arcs = []
    for start in starts:
        run = int(((ends - start) % count).min())
        end = (start + run) % count
        first = start - _reach(values[start], values[start - 1])
        last = start + run + _reach(values[end], values[(end + 1) % count])
        if last - first >= count:  # bare all round but for a direction in which the edges touch
            return ((0.0, 360.0),)
        arcs.append((_wrapped(first * step), _wrapped(last * step)))
    return tuple(sorted(arcs))


def _reach(inside: float, outside: float) -> float:
    """How much of a step beyond a bare direction does the arc run?"""
    return 0.5 if math.isnan(outside) else inside / (inside - outside)


def _wrapped(angle_deg: float) -> float:
    wrapped = float(angle_deg) % 360.0
    return 0.0 if wrapped >= 360.0 else wrapped


def bare_total_deg(width_mm: Sequence[float | None] | FloatArray) -> float:
    """How many degrees of the optic edge are bare in all?

    Examples
    --------
    >>> bare_total_deg([-1.0, 1.0, 1.0, 1.0])
    90.0
    """
    return float(sum(arc_span_deg(arc) for arc in bare_arcs(width_mm)))


def least_cover(width_mm: Sequence[float | None] | FloatArray) -> tuple[float, float] | None:
    """What is the least cover, and in which direction?

    Returns
    -------
    (width_mm, direction_deg) or None
        Of the direction with the least known width, refined by a parabola through its neighbours
        where both are known; None where nothing is known.

    Examples
    --------
    >>> least_cover([0.5, 0.3, 0.5, 0.7])
    (0.3, 90.0)
    """
    values = _widths(width_mm)
    if np.isnan(values).all():
        return None
    at = int(np.nanargmin(values))
    before, here, after = values[at - 1], values[at], values[(at + 1) % len(values)]
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend > 0.0 else 0.0
    shift = 0.0 if math.isnan(shift) else float(np.clip(shift, -0.5, 0.5))
    dip = 0.0 if shift == 0.0 else 0.25 * (before - after) * shift
    return float(here - dip), _wrapped((at + shift) * 360.0 / len(values))


@dataclass(frozen=True, slots=True)
class CoverAreas:
    """Areas of optic and opening against each other.

    Parameters
    ----------
    covered_mm2, covered_percent : float
        Part of the optic under the capsule; percent of the optic's area.
    outside_mm2, outside_percent : float
        Part of the opening beyond the optic; percent of the opening's area.
    """

    covered_mm2: float
    covered_percent: float
    outside_mm2: float
    outside_percent: float


def cover_areas(optic_radius_mm: float, width_mm: FloatArray) -> CoverAreas:
    """Which part of the optic is covered, and which part of the opening lies beyond it?

    Parameters
    ----------
    optic_radius_mm : float
    width_mm : array, shape (n,)
        Cover in n equal steps round a whole turn; all known (360 steps are good to 0.001 mm²).

    Examples
    --------
    >>> round(cover_areas(3.0, np.full(360, 0.5)).covered_percent, 4)
    30.5556
    """
    widths = _widths(width_mm)
    if np.isnan(widths).any():
        raise WrongInput("areas need the cover in every direction; fill the gaps by a curve first")
    # ½(Ro² - ρ²) is the area per radian between the two edges, signed like the cover.
    between = 0.5 * (optic_radius_mm**2 - (optic_radius_mm - widths) ** 2)
    covered = 2.0 * math.pi * float(np.mean(np.clip(between, 0.0, None)))
    outside = 2.0 * math.pi * float(np.mean(np.clip(-between, 0.0, None)))
    optic = math.pi * optic_radius_mm**2
    opening = optic - covered + outside
    return CoverAreas(covered, 100.0 * covered / optic, outside, 100.0 * outside / opening)


@dataclass(frozen=True, slots=True)
class CircleCover:
    """Cover of a round optic by a round opening, all of it in closed form.

    Parameters
    ----------
    least_mm, most_mm, mean_mm : float
        Cover over all directions.
    covered_deg : float
        Directions with cover, 0 to 360.
    outside_mm2, covered_mm2 : float
        Opening beyond the optic; optic under the capsule.
    """

    least_mm: float
    most_mm: float
    mean_mm: float
    covered_deg: float
    outside_mm2: float
    covered_mm2: float


def circle_cover(optic_radius_mm: float, opening_radius_mm: float, offset_mm: float) -> CircleCover:
    """How does a round opening, so far off centre, cover a round optic?

    Parameters
    ----------
    optic_radius_mm, opening_radius_mm : float
        Above 0.
    offset_mm : float
        Distance of the centres, 0 or more, less than the opening's radius.

    Notes
    -----
    Mean by the complete elliptic integral of the second kind; areas by the lens of two circles
    (own derivation, elementary).

    Examples
    --------
    >>> partial = circle_cover(3.0, 2.5, 0.7)
    >>> round(partial.covered_deg, 3), round(partial.outside_mm2, 6)
    (280.965, 0.559082)
    """
    from scipy.special import ellipe  # noqa: PLC0415  scipy is loaded late

    big, small, d = optic_radius_mm, opening_radius_mm, offset_mm
    if not (big > 0.0 and 0.0 <= d < small):
        raise WrongInput(
            f"the optic's centre must lie inside the opening, got an offset of {d} mm with an "
            f"opening of radius {small} mm"
        )
    mean = big - 2.0 / math.pi * small * float(ellipe((d / small) ** 2))
    common = _lens_area(big, small, d)
    if d <= abs(big - small):
        covered_deg = 360.0 if big >= small else 0.0
    else:
        covered_deg = 360.0 - 2.0 * math.degrees(
            math.acos((big**2 + d**2 - small**2) / (2 * d * big))
        )
    return CircleCover(
        big - small - d,
        big - small + d,
        mean,
        covered_deg,
        math.pi * small**2 - common,
        math.pi * big**2 - common,
    )


def _lens_area(big: float, small: float, d: float) -> float:
    """Area common to two circles whose centres are d apart."""
    if d <= abs(big - small):
        return math.pi * min(big, small) ** 2
    if d >= big + small:
        return 0.0
    first = math.acos((d * d + big * big - small * small) / (2.0 * d * big))
    second = math.acos((d * d + small * small - big * big) / (2.0 * d * small))
    return big * big * (first - 0.5 * math.sin(2.0 * first)) + small * small * (
        second - 0.5 * math.sin(2.0 * second)
    )
