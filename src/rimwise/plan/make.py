"""The whole plan of one eye's opening."""

import math
from dataclasses import replace

from rimwise.eye.cornea import CorneaSeen, apparent_mm, cornea_seen
from rimwise.plan.biometry_rules import biometry_warnings, goal_warning
from rimwise.plan.cautions import no_apparent_size, plan_warnings, refusal, urgent_first
from rimwise.plan.cut import child_stretch, cut_expected
from rimwise.plan.expected import expected_refractions
from rimwise.plan.expected_toric import expected_toric
from rimwise.plan.margin import plan_margin
from rimwise.plan.on_centre import plan_centres
from rimwise.plan.room import room_warnings
from rimwise.plan.spread import spread_for
from rimwise.plan.traced import traced_refractions
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet, Centre, Spread
from rimwise.records.cover import Reason
from rimwise.records.lens_power import ExpectedRefraction
from rimwise.records.plan import CentrePlan, HealingExpected, Plan
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate


def make_plan(case: CaseSheet, spread_default: Spread | None = None) -> Plan:
    """What should be made in this eye, how likely does it cover, and what spoils it first?

    Parameters
    ----------
    case : CaseSheet
        The implant's optic diameter must be known; everything else may be left to priors, which
        the plan lists.
    spread_default : Spread, optional
        The surgeon's spread from the casebook, used where the sheet gives none.

    Returns
    -------
    Plan
        With the sheet's centre chosen; without one all candidates are planned and none is chosen,
        unless they agree to the last digit (then the lens stands for all).

    Raises
    ------
    WrongInput
        If no implant with an optic diameter is given.

    Examples
    --------
    >>> from rimwise.records.case import OpeningWish, PlannedImplant
    >>> hand = Spread((0.0, 0.0), (0.1, 0.1), 0.0, 0.1, (0.0, 0.0), "opening")
    >>> case = CaseSheet("E-1", "right", "none", implant=PlannedImplant(6.0), spread=hand)
    >>> plan = make_plan(case)
    >>> round(plan.chosen.best_mm, 3)
    5.463
    """
    optic_mm = _optic_diameter_mm(case)
    spread, assumed, own = spread_for(case, spread_default)
    refused = refusal(case)
    centres, of_targets = ((), ()) if refused else plan_centres(spread, case, optic_mm)
    assumed = () if refused else _limits_assumed(case) + assumed + of_targets
    chosen, reasons = _choose(case, centres, refused)
    planned = _planned_mm(case, centres, chosen)
    seen_size, seen_reason, seen_assumed = _apparent(case, planned)
    reasons += [] if seen_reason is None or refused else [seen_reason]
    refraction, refraction_notes, trace_assumed = _refraction(case, refused)
    toric, toric_assumed = expected_toric(case) if refused is None else (None, ())
    shown = tuple(one for one in centres if chosen in (None, one.centre))
    notes = _of_refused(case, refused) if refused else _warned(case, spread, own, shown)
    notes += refraction_notes + (() if toric is None else toric.notes)
    plan = Plan(
        code=case.code,
        side=case.side,
        optic_diameter_mm=optic_mm,
        least_cover_mm=case.goal.least_cover_mm,
        p_goal=case.goal.p_complete,
        limits_mm=case.goal.diameter_limits_mm,
        wanted_mm=None if refused else case.opening.diameter_mm,
        centre=chosen,
        centres=centres,
        spread=spread,
        apparent_diameter_mm=seen_size,
        reasons=tuple(reasons),
        warnings=urgent_first((*notes, *_priors_used(assumed + seen_assumed))),
        assumptions=tuple(dict.fromkeys(assumed + seen_assumed + trace_assumed + toric_assumed)),
        refraction=refraction,
        toric=toric,
        cut=None if refused else cut_expected(case, planned),
        healing=None if refused else _healing(),
        corneal_surgery=case.corneal_surgery,
    )
    return replace(plan, margin=plan_margin(case, plan))


def _healing() -> HealingExpected:
    """Two terms from published figures; the baseline is week 1, never the theatre."""
    gain, loss = (published_value("healing", key) for key in ("contraction_gain", "drift_loss"))
    return HealingExpected(
        Estimate(gain.value, gain.sd or 0.0, gain.source.status),
        Estimate(loss.value, loss.sd or 0.0, loss.source.status),
    )


def _refraction(
    case: CaseSheet, refused: Reason | None
) -> tuple[tuple[ExpectedRefraction, ...], tuple[Reason, ...], tuple[Assumption, ...]]:
    """Return the exact trace first, then the vergence formulas at the same powers."""
    if refused is not None and refused.code == "child":
        return (), (), ()
    formulas, notes = expected_refractions(case)
    powers = tuple(dict.fromkeys(line.power_dpt for line in formulas))
    traced, said, assumed = traced_refractions(case, powers)
    lines = traced + formulas
    return lines, notes + said + goal_warning(case, lines), assumed


def _optic_diameter_mm(case: CaseSheet) -> float:
    diameter = None if case.implant is None else case.implant.optic_diameter_mm
    if diameter is None or not 0.0 < diameter < math.inf:
        given = "no implant" if diameter is None else f"an optic of {diameter:g} mm"
        raise WrongInput(
            f"the case sheet of {case.code} gives {given}, and a plan needs the optic's diameter; "
            "add optic_diameter_mm, from 4.5 to 7.5 mm, to [implant]."
        )
    return diameter


def _choose(
    case: CaseSheet, centres: tuple[CentrePlan, ...], refused: Reason | None
) -> tuple[Centre | None, list[Reason]]:
    if refused is not None:
        return None, [refused]
    if case.opening.centre is not None:
        return case.opening.centre, []
    if len({plan.opening_from_optic for plan in centres}) == 1:
        return "lens", []
    return None, [
        Reason(
            "centre-not-chosen",
            "No centre is chosen, so all four are shown and the opening has no probability of its "
            "own; set centre in [opening] to visual_axis, lens, pupil or limbus.",
        )
    ]


def _planned_mm(
    case: CaseSheet, centres: tuple[CentrePlan, ...], chosen: Centre | None
) -> float | None:
    if not centres:
        return None
    if case.opening.diameter_mm is not None:
        return case.opening.diameter_mm
    return next((plan.best_mm for plan in centres if plan.centre == chosen), None)


def _apparent(
    case: CaseSheet, diameter_mm: float | None
) -> tuple[Estimate | None, Reason | None, tuple[Assumption, ...]]:
    """How large will the planned opening look, or why can't that be told?"""
    reason = no_apparent_size(case)
    if reason is not None:
        return None, reason, ()
    if diameter_mm is None:
        return None, None, ()
    seen: CorneaSeen = cornea_seen(case.cornea, case.lengths.chamber_depth_mm)
    planned = Estimate(diameter_mm, 0.0, "planned diameter")
    return apparent_mm(planned, seen), None, seen.assumptions


def _limits_assumed(case: CaseSheet) -> tuple[Assumption, ...]:
    lower = published_value("opening", "diameter_lower_limit")
    upper = published_value("opening", "diameter_upper_limit")
    if case.goal.diameter_limits_mm != (lower.value, upper.value):
        return ()
    return (
        Assumption.of("smallest diameter proposed", lower),
        Assumption.of("largest diameter proposed", upper),
    )


def _warned(
    case: CaseSheet, spread: Spread, own: bool, shown: tuple[CentrePlan, ...]
) -> tuple[Reason, ...]:
    """Return first what spoils this eye's opening; of several centres the first that lacks room."""
    tight = [reason for one in shown for reason in room_warnings(one)]
    room = tuple({one.code: one for one in reversed(tight)}.values())
    return (*room, *plan_warnings(case, spread, own), *biometry_warnings(case))


def _of_refused(case: CaseSheet, refused: Reason) -> tuple[Reason, ...]:
    child = child_stretch(case) if refused.code == "child" else ()
    return (*child, *biometry_warnings(case))


def _priors_used(assumed: tuple[Assumption, ...]) -> tuple[Reason, ...]:
    """Say how much was not measured; limits of size, without a scatter, are no measurement."""
    names = sorted({a.what for a in assumed if a.sd is not None})
    if not names:
        return ()
    counted = "One number was" if len(names) == 1 else f"{len(names)} numbers were"
    told = f"{counted} not measured in this eye but taken from priors; each stands with its source "
    return (Reason("priors-used", told + "under what is assumed."),)
