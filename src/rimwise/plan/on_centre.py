"""The opening planned on each candidate centre."""

from dataclasses import replace
from typing import Literal

import numpy as np

from rimwise.plan.best import Best, Wish, best_diameters_mm, centring_sd_needed_mm
from rimwise.plan.budget import margin_budget
from rimwise.plan.chance import Chance
from rimwise.plan.no_size import why_no_size
from rimwise.plan.room import narrowed, no_room, size_limits
from rimwise.plan.sources import Sources, gather_sources
from rimwise.plan.targets import CENTRES, Target, find_target
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet, Centre, Spread
from rimwise.records.cover import Reason
from rimwise.records.plan import CentrePlan, Curve, RestChance, SizeLimit

# The curve reaches a little past the limits, so that the reader sees what lies beyond.
_BEYOND_MM = 0.4
_CURVE_STEP_MM = 0.025


def plan_centres(
    spread: Spread, case: CaseSheet, optic_mm: float
) -> tuple[tuple[CentrePlan, ...], tuple[Assumption, ...]]:
    """How does the opening come out on each candidate centre, and on which priors does that rest?

    Parameters
    ----------
    spread : Spread
    case : CaseSheet
    optic_mm : float

    Examples
    --------
    >>> hand = Spread((0.0, 0.0), (0.1, 0.1), 0.0, 0.1, (0.1, 0.1))
    >>> plans, _ = plan_centres(hand, CaseSheet("E-1", "right", "none"), 6.0)
    >>> [one.centre for one in plans]
    ['visual_axis', 'lens', 'pupil', 'limbus']
    """
    targets = [find_target(case, centre) for centre in CENTRES]
    assumed = _assumed_for(targets, case.opening.centre) if spread.optic_rest == "lens" else ()
    plans = []
    for target in targets:
        room, of_room = size_limits(case, target)
        plans.append(_on_centre(target, spread, case, (optic_mm, room)))
        if case.opening.centre in (None, target.centre):
            assumed += of_room
    return tuple(plans), tuple(dict.fromkeys(assumed))


def _on_centre(
    target: Target, spread: Spread, case: CaseSheet, means: tuple[float, tuple[SizeLimit, ...]]
) -> CentrePlan:
    optic_mm, room = means
    sources = gather_sources(target, spread, case.side)
    chance, goal = Chance(sources, optic_mm), case.goal
    best, needed, reasons = _best(target.centre, sources, case, means)
    judged = case.opening.diameter_mm
    if judged is None:
        judged = goal.diameter_limits_mm[0] if best.complete_mm is None else best.complete_mm
    return CentrePlan(
        centre=target.centre,
        target_mm=target.place_mm,
        opening_from_optic=sources.offset(),
        judged_mm=judged,
        p_complete=chance.p_at(judged, 0.0),
        p_least_cover=chance.p_at(judged, goal.least_cover_mm),
        best_mm=best.complete_mm,
        best_least_cover_mm=best.least_cover_mm,
        centring_sd_needed_mm=needed,
        reasons=reasons,
        budget=margin_budget(sources, optic_mm, judged),
        curve=_curve(chance, case),
        at_rest=_at_rest(target, spread, case, (optic_mm, judged)),
        size_limits=room,
        place_sd_mm=_place_sd_mm(case, target.centre),
    )


def _place_sd_mm(case: CaseSheet, centre: Centre) -> float | None:
    given = case.centres
    if centre == "limbus":
        return 0.0
    if given is None or getattr(given, f"{centre}_mm") is None:
        return None
    return given.sd_mm


def _best(
    centre: Centre, sources: Sources, case: CaseSheet, means: tuple[float, tuple[SizeLimit, ...]]
) -> tuple[Best, tuple[float, float] | None, tuple[Reason, ...]]:
    """Return the largest sizes, and where there is none what must change."""
    (optic_mm, room), goal = means, case.goal
    limits = narrowed(goal.diameter_limits_mm, room)
    if limits is None:
        return Best(None, None), None, (no_room(centre, goal.diameter_limits_mm[0], room),)
    wish = Wish(goal.p_complete, limits)
    best = best_diameters_mm(Chance(sources, optic_mm), goal.least_cover_mm, wish)
    if best.complete_mm is not None:
        return best, None, ()
    needed = centring_sd_needed_mm(sources, optic_mm, wish)
    return best, needed, (why_no_size(sources, optic_mm, wish),)


def _at_rest(
    target: Target, spread: Spread, case: CaseSheet, sizes_mm: tuple[float, float]
) -> tuple[RestChance, ...]:
    """Return the chances with the optic resting at the lens centre, and at the target."""
    optic_mm, judged_mm = sizes_mm
    found = []
    places: tuple[tuple[Literal["lens", "target"], Literal["lens", "opening"]], ...] = (
        ("lens", "lens"),
        ("target", "opening"),
    )
    for place, rest in places:
        sources = gather_sources(target, replace(spread, optic_rest=rest), case.side)
        chance = Chance(sources, optic_mm)
        least = chance.p_at(judged_mm, case.goal.least_cover_mm)
        found.append(RestChance(place, chance.p_at(judged_mm, 0.0), least))
    return tuple(found)


def _curve(chance: Chance, case: CaseSheet) -> Curve:
    lower, upper = case.goal.diameter_limits_mm
    wanted = case.opening.diameter_mm
    ends = [lower, upper] if wanted is None else [lower, upper, wanted]
    first, last = min(ends) - _BEYOND_MM, max(ends) + _BEYOND_MM
    diameters = np.linspace(first, last, round((last - first) / _CURVE_STEP_MM) + 1)
    complete = chance.p_cover(diameters, 0.0)
    least = chance.p_cover(diameters, case.goal.least_cover_mm)
    return Curve(tuple(diameters.tolist()), tuple(complete.tolist()), tuple(least.tolist()))


def _assumed_for(targets: list[Target], chosen: Centre | None) -> tuple[Assumption, ...]:
    """Return the priors behind the chosen target, or behind all; each once."""
    used = [t for t in targets if chosen is None or t.centre == chosen]
    return tuple(dict.fromkeys(a for target in used for a in target.assumptions))
