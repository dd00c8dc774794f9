"""Bare arcs of an eye: how wide, how deep, and whether they grow."""

import math

import numpy as np

from rimwise.geometry.arcs import arc_span_deg
from rimwise.records.healing import BareArc, Visit
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, examiner_from_nasal_superior
from rimwise.terms.units import rad_from_deg

_MONTH_DAYS = 30.44
_LEAST_MONTHS = 0.9  # four weeks are a month
_NEAR_HAPTIC_DEG = 30.0
Arc = tuple[float, float]


def bare_arcs(visits: tuple[Visit, ...], side: Side) -> tuple[BareArc, ...]:
    """Which arcs are bare at the last visit that tells, and how have they grown?

    Earlier arcs are turned by the roll between the pictures before they are compared.

    Examples
    --------
    >>> bare_arcs((), "left")
    ()
    """
    told = [one for one in visits if one.finding.cover is not None]
    if not told or told[-1].finding.cover is None:
        return ()
    last = told[-1]
    arcs = last.finding.cover.bare_arcs_deg if last.finding.cover is not None else None
    return tuple(_arc(arc, last, told[:-1], side) for arc in arcs or ())


def _arc(arc: Arc, last: Visit, earlier: list[Visit], side: Side) -> BareArc:
    cover, optic = last.finding.cover, last.finding.optic
    assert cover is not None
    width = np.array([np.nan if w is None else w for w in cover.width_mm])
    inside = np.array([_within(direction, arc) for direction in range(360)])
    bare = np.maximum(-np.nan_to_num(width[inside], nan=0.0), 0.0)
    radius = 0.5 * (optic.diameter_mm if optic is not None else 6.0)
    seen = _ends_seen(arc, last)
    return BareArc(
        from_deg=arc[0],
        to_deg=arc[1],
        width_deg=arc_span_deg(arc),
        depth_mm=float(bare.max()) if len(bare) else 0.0,
        area_mm2=float((radius * bare + 0.5 * bare**2).sum() * rad_from_deg(1.0)),
        growth_from_deg_per_month=_grown(0, arc, last, earlier) if seen[0] else None,
        growth_to_deg_per_month=_grown(1, arc, last, earlier) if seen[1] else None,
        haptic_within_30_deg=_near_haptic(arc, last),
        drift_towards_mm=_drift(arc, last, side),
        from_seen=seen[0],
        to_seen=seen[1],
    )


def _ends_seen(arc: Arc, visit: Visit) -> tuple[bool, bool]:
    """Is cover seen beside each end? Else the arc goes on for as far as nothing is seen."""
    cover = visit.finding.cover
    assert cover is not None
    if arc_span_deg(arc) >= 360.0:
        return True, True
    beside = (math.ceil(arc[0]) - 1, math.floor(arc[1]) + 1)
    before, after = (cover.width_mm[direction % 360] is not None for direction in beside)
    return before, after


def _within(direction_deg: float, arc: Arc) -> bool:
    return (direction_deg - arc[0]) % 360.0 <= arc_span_deg(arc)


def _roll(visit: Visit) -> float:
    return 0.0 if visit.change is None else visit.change.roll_deg or 0.0


def _grown(end: int, arc: Arc, last: Visit, earlier: list[Visit]) -> float | None:
    """Growth of an end since the earliest visit, a month ago or more, that shows it too.

    An end moves by a degree between two pictures of one day: over a week that would look like
    several degrees a month.
    """
    for visit in earlier:
        cover = visit.finding.cover
        months = (last.day - visit.day) / _MONTH_DAYS
        if cover is None or months < _LEAST_MONTHS:
            continue
        turn = _roll(last) - _roll(visit)
        for was in cover.bare_arcs_deg or ():
            then = (was[0] + turn, was[1] + turn)
            if _ends_seen(was, visit)[end] and (_within(then[0], arc) or _within(arc[0], then)):
                moved = (arc[0], then[0]) if end == 0 else (then[1], arc[1])
                return round(_signed(*moved) / months, 2)
    return None


def _signed(from_deg: float, to_deg: float) -> float:
    return (to_deg - from_deg + 180.0) % 360.0 - 180.0


def _near_haptic(arc: Arc, visit: Visit) -> bool | None:
    axis = visit.finding.haptic_axis_deg
    if axis is None:
        return None
    wide = (arc[0] - _NEAR_HAPTIC_DEG, arc[0] + arc_span_deg(arc) + _NEAR_HAPTIC_DEG)
    if wide[1] - wide[0] >= 360.0:
        return True
    return any(_within(end, wide) for end in (axis.value, axis.value + 180.0))


def _drift(arc: Arc, visit: Visit, side: Side) -> Estimate | None:
    change = visit.change
    if change is None or change.shift_nasal_mm is None or change.shift_superior_mm is None:
        return None
    x, y = examiner_from_nasal_superior(
        change.shift_nasal_mm.value, change.shift_superior_mm.value, side
    )
    middle = rad_from_deg(arc[0] + 0.5 * arc_span_deg(arc) - _roll(visit))
    towards = x * math.cos(middle) + y * math.sin(middle)
    return Estimate(towards, change.shift_nasal_mm.sd, "shift of the optic along the arc's middle")
