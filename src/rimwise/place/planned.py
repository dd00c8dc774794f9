"""Where the optic should sit behind an opening that is planned and not yet made."""

import numpy as np

from rimwise.place.edge import edge_of_circle
from rimwise.place.today import put_today
from rimwise.place.trade_off import trade_off_curve
from rimwise.records.cover import Reason
from rimwise.records.placement import Placement, PlannedOpening, Rest, TradeOff


def place_planned(planned: PlannedOpening, name: str) -> Placement:
    """Behind the opening that is planned, where should the optic sit?

    Parameters
    ----------
    planned : PlannedOpening
    name : str
        What to call it, as a picture is called by its name.

    Returns
    -------
    Placement
        *Now* is the optic where it is expected to rest. Nothing is told of turning.

    Examples
    --------
    >>> at, sd, axis = (0.2, 0.0), (0.2, 0.2), (0.3, 0.0)
    >>> plan = PlannedOpening("E-1", "left", 6.0, 5.2, at, sd, axis, 0.05, 0.8)
    >>> found = place_planned(plan, "plan.json")
    >>> round(found.now.least_cover_mm, 6), round(found.today.margin_mm.value, 6)
    (0.2, 0.4)
    """
    edge = edge_of_circle(planned.diameter_mm, planned.at_mm, planned.optic_diameter_mm)
    today = put_today(edge)
    trade, reasons = None, [_not_made(planned)]
    if planned.visual_axis_sd_mm is None:
        reasons.append(
            Reason(
                "visual-axis-unknown",
                "Where the visual axis lies in this eye was not measured, so what centring on it "
                "costs is not told; give visual_axis_mm in [centres] of the case sheet.",
            )
        )
    else:
        curve = trade_off_curve(edge, planned.visual_axis_mm, today.best.at_mm)
        sd = planned.visual_axis_sd_mm
        trade = TradeOff(planned.visual_axis_mm, sd, "visual axis of the plan", curve)
    least = float(edge.least_cover_mm(np.zeros(2)))
    return Placement(
        picture=name,
        side=planned.side,
        status="placed",
        reasons=tuple(reasons),
        optic_diameter_mm=planned.optic_diameter_mm,
        seen_deg=edge.seen_deg,
        now=edge.spot((0.0, 0.0)),
        today=today,
        trade_off=trade,
        rest=Rest((0.0, 0.0), planned.sd_mm, least, planned.p_complete, "as the plan expects it"),
        edge_mm=tuple((float(x), float(y)) for x, y in edge.points_mm),
    )


def _not_made(planned: PlannedOpening) -> Reason:
    return Reason(
        "edge-planned",
        f"No edge was measured: the opening is the planned circle of {planned.diameter_mm:.2f} mm, "
        "where it is expected, and *now* means the optic where it is expected to rest.",
    )
