"""The step: the visits of one eye set against its first."""

from dataclasses import replace

import numpy as np

from rimwise.follow.arcs import bare_arcs
from rimwise.follow.changes import SeenVisit, change_of
from rimwise.follow.flags import flags_of
from rimwise.follow.trend import foretell, usual_healing
from rimwise.measure.opacification import grade_opacification
from rimwise.records.assumption import Assumption
from rimwise.records.cover import Reason
from rimwise.records.healing import Foretold, Healing, Visit
from rimwise.terms.errors import MeasurementRefused

FORETOLD_DAYS = (91, 365)
_CONFLICT = (
    "Whether an optic drifts towards its bare arc or away from it is reported both ways in print; "
    "the movement here is this eye's own."
)


def follow_visits(code: str, visits: list[SeenVisit], least_limit_mm: float = 0.0) -> Healing:
    """What has changed in this eye since its first visit, and what is to be expected?

    Parameters
    ----------
    code : str
        Of the eye.
    visits : list of SeenVisit
        At least two, of one eye and side; any order.
    least_limit_mm : float
        Least cover below which the eye is flagged.

    Raises
    ------
    MeasurementRefused
        The first picture cannot be measured, so nothing can be compared with it.
    """
    ordered = sorted(visits, key=lambda one: one.day)
    first = next((one for one in ordered if one.finding.status != "refused"), None)
    if first is None:
        raise MeasurementRefused(
            "no-visit", f"No picture of {code} could be measured; see the reasons of each."
        )
    told = tuple(_visit(first, one) for one in ordered)
    arcs = bare_arcs(told, first.sheet.side)
    forecast, assumptions = _forecast(told)
    notes = [] if not arcs else [Reason("drift-conflict", _CONFLICT)]
    if any(v.change is not None and not v.change.registered_by for v in told):
        notes.append(
            Reason(
                "not-registered",
                "Some pictures could not be laid on the first one (vessels about the limbus are "
                "hidden or do not match): shift, turn and edge movement are not told for them.",
            )
        )
    return Healing(
        code=code,
        side=first.sheet.side,
        first_day=first.day,
        visits=told,
        bare_arcs=arcs,
        forecast=forecast,
        flags=flags_of(told, arcs, least_limit_mm),
        notes=tuple(notes),
        assumptions=assumptions,
    )


def _visit(first: SeenVisit, now: SeenVisit) -> Visit:
    visit = Visit(now.day, now.finding)
    if now.finding.status == "refused":
        return visit
    graded = grade_opacification(now.raster, now.finding)
    if graded is not None:
        visit = replace(visit, opacification_score=round(graded.score.value, 3))
    return visit if now is first else replace(visit, change=change_of(first, now))


def _forecast(visits: tuple[Visit, ...]) -> tuple[tuple[Foretold, ...], tuple[Assumption, ...]]:
    told = [
        (visit.day, least.value, least.sd)
        for visit in visits
        if visit.finding.cover is not None and (least := visit.finding.cover.min_mm) is not None
    ]
    ahead = tuple(day for day in FORETOLD_DAYS if told and day > told[-1][0])
    if not ahead:
        return (), ()
    usual, assumptions = usual_healing()
    days, least_mm, sd_mm = np.array(told, dtype=np.float64).T
    return foretell(days, least_mm, sd_mm, ahead, usual), assumptions
