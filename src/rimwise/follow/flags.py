"""What in an eye's course should be looked at: a plain list with reasons."""

import math

from rimwise.published.load import published_value
from rimwise.records.cover import Reason
from rimwise.records.healing import BareArc, Visit

_EARLY_DAYS = 14
_MONTH_DAYS = 30.44
# A missed change costs an eye more than a look at an unchanged one: limits count half a standard
# deviation early. Over simulated courses this finds more than 95 % and cries wolf below 3 %.
_LEAN_SD = 0.5


def flags_of(
    visits: tuple[Visit, ...], arcs: tuple[BareArc, ...], least_limit_mm: float = 0.0
) -> tuple[Reason, ...]:
    """Which flags does this course raise?

    A change is flagged where it passes its limit, or comes nearer to it than half its ±; the
    sentence says which.

    Parameters
    ----------
    visits : tuple of Visit
        In the order of their days.
    arcs : tuple of BareArc
    least_limit_mm : float
        Least cover below which an eye is flagged.

    Examples
    --------
    >>> flags_of((), ())
    ()
    """
    raised: list[Reason] = []
    for visit in visits:
        raised += [*_contraction(visit), *_turned(visit)]
    raised += _low(visits, least_limit_mm) + _fast(visits)
    if any((arc.growth_from_deg_per_month or 0.0) + (arc.growth_to_deg_per_month or 0.0) > 5.0
           for arc in arcs):  # fmt: skip
        raised.append(Reason("bare-arc-grows", "A bare arc grows by more than 5° a month."))
    return tuple({one.code: one for one in raised}.values())


def _against(value: float, limit: float) -> str:
    return "more than" if value > limit else "within its ± of"


def _contraction(visit: Visit) -> list[Reason]:
    limit = published_value("healing", "contraction_flag").value
    area = None if visit.change is None else visit.change.area_percent
    if area is None or -area.value + _LEAN_SD * area.sd <= limit:
        return []
    return [
        Reason(
            "contraction",
            f"The opening has lost {-area.value:.0f} ± {area.sd:.0f} % of its area by day "
            f"{visit.day}, {_against(-area.value, limit)} {limit:.0f} % (common practice, "
            "no source).",
        )
    ]


def _turned(visit: Visit) -> list[Reason]:
    turn = None if visit.change is None else visit.change.turn_deg
    if turn is None or visit.finding.implant_toric_axis_deg is None:
        return []
    early = visit.day <= _EARLY_DAYS
    limit = published_value("healing", "early_turn_flag" if early else "late_turn_flag").value
    if abs(turn.value) + _LEAN_SD * turn.sd <= limit:
        return []
    when = "in the first two weeks" if early else "later"
    return [
        Reason(
            "implant-turned",
            f"The toric implant has turned by {turn.value:+.1f} ± {turn.sd:.1f}° by day "
            f"{visit.day}, {_against(abs(turn.value), limit)} {limit:.0f}° {when} (common "
            "practice, no source).",
        )
    ]


def _least(visit: Visit) -> tuple[float, float] | None:
    cover = visit.finding.cover
    return None if cover is None or cover.min_mm is None else (cover.min_mm.value, cover.min_mm.sd)


def _low(visits: tuple[Visit, ...], limit_mm: float) -> list[Reason]:
    told = [(visit, least) for visit in visits if (least := _least(visit)) is not None]
    if not told:
        return []
    visit, (value, sd) = told[-1]
    if value - _LEAN_SD * sd >= limit_mm:
        return []
    where = "below" if value < limit_mm else "within its ± of"
    return [
        Reason(
            "cover-low",
            f"The least cover is {value:.2f} ± {sd:.2f} mm on day {visit.day}, {where} "
            f"{limit_mm:.2f} mm.",
        )
    ]


def _fast(visits: tuple[Visit, ...]) -> list[Reason]:
    limit = published_value("healing", "fast_loss_flag").value
    told = [(visit, least) for visit in visits if (least := _least(visit)) is not None]
    if len(told) < 2:
        return []
    (before, was), (after, is_now) = told[-2:]
    # Two pictures of one week say nothing about a month.
    months = max((after.day - before.day) / _MONTH_DAYS, 1.0)
    lost = (was[0] - is_now[0]) / months
    lost_sd = math.hypot(was[1], is_now[1]) / months
    if lost + _LEAN_SD * lost_sd <= limit:
        return []
    speed = "faster than" if lost > limit else "about as fast as"
    return [
        Reason(
            "fast-loss",
            f"The least cover fell by {was[0] - is_now[0]:.2f} mm from day {before.day} to day "
            f"{after.day}, {speed} {limit:.2f} mm a month (common practice, no source).",
        )
    ]
