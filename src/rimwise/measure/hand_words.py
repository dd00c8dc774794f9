"""What is said of a reader's corrections: what was done, and which points may be slips."""

from rimwise.measure.far_points import FarPoint
from rimwise.measure.hand_opening import ROUGHEST
from rimwise.records.corrections import Corrections, PointPx
from rimwise.records.cover import Reason

_BEYOND_SD = 3.0  # of the roughest edge that the curve can follow


def far_reasons(
    far: tuple[FarPoint, ...], points_px: tuple[PointPx, ...], radius_mm: float, edge: str
) -> tuple[Reason, ...]:
    """Say of each far point which it is, how far it lies and what to do, by the optic's radius.

    Examples
    --------
    >>> one = FarPoint(1, -2.0, 0.1)
    >>> far_reasons((one,), ((1.0, 2.0), (30.0, 40.0)), 1.0, "opening's")[0].sentence[:68]
    "Point 2 of those on the opening's edge, at (30, 40), lies 2.00 mm in"
    """
    return tuple(
        Reason(
            "point-far-off",
            f"Point {one.index + 1} of those on the {edge} edge, at ({points_px[one.index][0]:g}, "
            f"{points_px[one.index][1]:g}), lies {abs(one.out_share) * radius_mm:.2f} mm "
            f"{'inside' if one.out_share < 0.0 else 'outside'} of where the rest of that edge "
            "runs; it is followed, so take it out if it was a slip, or place more beside it if the "
            "edge runs so.",
        )
        for one in far
    )


def beyond_the_curve(far: tuple[FarPoint, ...]) -> Reason | None:
    """Say that no size is told where a lone point lies farther off than the curve can follow."""
    if not any(abs(one.out_share) > _BEYOND_SD * ROUGHEST for one in far):
        return None
    return Reason(
        "size-not-told",
        "One point alone does not tell the edge's course so far from all others, so no size is "
        "told; take it out, or place more points beside it.",
    )


def correction_words(told: Corrections) -> str:
    """Say what a reader corrected, who and when.

    Examples
    --------
    >>> correction_words(Corrections(swap=True, who="R-2"))
    'Corrected by hand by R-2: the two edges were swapped.'
    """
    parts = ["the two edges were swapped"] if told.swap else []
    for count, what in (
        (len(told.opening_px), "on the opening's edge"),
        (len(told.optic_px), "on the optic's edge"),
        (len(told.haptic_px), "on the haptics' roots"),
        (len(told.p1_px), "on P1"),
    ):
        if count:
            parts.append(f"{count} point{'s' if count > 1 else ''} placed {what}")
    for arcs, what in (
        (told.hidden_opening_deg, "opening's"),
        (told.hidden_optic_deg, "optic's"),
    ):
        if arcs:
            parts.append(f"{len(arcs)} arc{'s' if len(arcs) > 1 else ''} of the {what} edge hidden")
    by = f" by {told.who}" if told.who else ""
    on = f", {told.when}" if told.when else ""
    return f"Corrected by hand{by}{on}: {', '.join(parts)}."
