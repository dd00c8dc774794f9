"""The whole answer: where the optic can be put today, where it will rest, and what turning does."""

import math
from collections.abc import Sequence

from rimwise.geometry.arcs import arc_span_deg
from rimwise.place.edge import Edge, edge_of_finding
from rimwise.place.rest import rest_of
from rimwise.place.today import put_today
from rimwise.place.trade_off import trade_off_curve
from rimwise.place.turning import turning_from_pictures
from rimwise.records.case import CaseSheet
from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.placement import Placement, Today, TradeOff
from rimwise.terms.errors import MeasurementRefused, WrongInput


def make_placement(
    finding: CoverFinding,
    case: CaseSheet | None = None,
    others: Sequence[CoverFinding] = (),
) -> Placement:
    """With this opening, where should the optic sit, and how turned?

    Parameters
    ----------
    finding : CoverFinding
        One picture of the eye as it is.
    case : CaseSheet, optional
        For the visual axis and the lens centre.
    others : sequence of CoverFinding
        Pictures of the same eye with the haptics at other angles.

    Returns
    -------
    Placement
        Refused with its reason where the picture shows too little of the edge.

    Raises
    ------
    WrongInput
        Case or another picture is of the other side.

    Examples
    --------
    >>> blind = CoverFinding("e.jpg", "0" * 64, "right", "visit", "refused")
    >>> make_placement(blind).status
    'refused'
    """
    _check_sides(finding, case, others)
    try:
        edge = edge_of_finding(finding)
    except MeasurementRefused as refusal:
        reason = Reason(refusal.code, refusal.sentence)
        return Placement(finding.picture, finding.side, "refused", (reason,))
    today = put_today(edge)
    rest, rest_reason, assumed = rest_of(edge, finding, case)
    trade, axis_reason = _trade_off(edge, today, finding, case)
    reasons = [*_about_edge(edge), *_about_today(today)]
    reasons += [one for one in (rest_reason, axis_reason) if one is not None]
    return Placement(
        picture=finding.picture,
        side=finding.side,
        status="placed" if edge.whole else "partial",
        reasons=tuple(reasons),
        optic_diameter_mm=2.0 * edge.optic_radius_mm,
        seen_deg=edge.seen_deg,
        now=edge.spot((0.0, 0.0)),
        today=today,
        trade_off=trade,
        rest=rest,
        turning=turning_from_pictures(finding, others),
        assumptions=assumed,
        edge_mm=tuple((float(x), float(y)) for x, y in edge.points_mm),
    )


def _check_sides(
    finding: CoverFinding, case: CaseSheet | None, others: Sequence[CoverFinding]
) -> None:
    sides = {finding.side, *(one.side for one in others), *(() if case is None else (case.side,))}
    if len(sides) > 1:
        raise WrongInput(
            f"{finding.picture} is of a {finding.side} eye, and another picture or the case sheet "
            "is of the other side; give what belongs to one eye"
        )


def _about_edge(edge: Edge) -> list[Reason]:
    if edge.whole:
        return []
    return [
        Reason(
            "edge-partly-seen",
            f"The edge was seen over {edge.seen_deg}° of 360°: every cover is at most what is "
            "told, for the unseen part may reach farther.",
        )
    ]


def _about_today(today: Today) -> list[Reason]:
    if today.least_bare is None:
        return []
    bare = sum(arc_span_deg(arc) for arc in today.least_bare.bare_arcs_deg)
    short = -today.margin_mm.value
    return [
        Reason(
            "never-complete",
            f"No position covers the optic all round: at the best place {short:.2f} mm are "
            f"missing, and the least bare arc within reach is {bare:.0f}°.",
        )
    ]


def _trade_off(
    edge: Edge, today: Today, finding: CoverFinding, case: CaseSheet | None
) -> tuple[TradeOff | None, Reason | None]:
    """Return cover against centration, from the reflex P1 or from the case sheet's centres."""
    reflex = finding.decentration.get("optic-from-P1")
    limbus = finding.decentration.get("optic-from-limbus")
    given = None if case is None or case.centres is None else case.centres
    if reflex is not None:
        axis = (-reflex.x_mm.value, -reflex.y_mm.value)
        sd, origin = max(reflex.x_mm.sd, reflex.y_mm.sd), "P1 with fixation in this picture"
    elif given is not None and given.visual_axis_mm is not None and limbus is not None:
        seen = given.visual_axis_mm
        axis = (seen[0] - limbus.x_mm.value, seen[1] - limbus.y_mm.value)
        sd = math.hypot(given.sd_mm, max(limbus.x_mm.sd, limbus.y_mm.sd))
        origin = "visual axis of the case sheet"
    else:
        return None, Reason(
            "visual-axis-unknown",
            "Where the visual axis lies in this picture is not known, so what centring on it "
            "costs is not told; it takes P1 with fixation, or visual_axis_mm in [centres] of the "
            "case sheet and the limbus in the picture.",
        )
    return TradeOff(axis, sd, origin, trade_off_curve(edge, axis, today.best.at_mm)), None
