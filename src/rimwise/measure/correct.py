"""The step: a finding corrected by a hand, from the found curves alone."""

from dataclasses import replace

import numpy as np

from rimwise.measure.curves import (
    directions_of,
    edges_of,
    flags_of,
    oval_of,
    picture_rad,
    rim_basis,
)
from rimwise.measure.far_points import FarPoint, far_on_opening, far_on_optic
from rimwise.measure.hand_marks import haptic_axis, optic_from_p1
from rimwise.measure.hand_opening import FoundEdge, Placed, edge_through
from rimwise.measure.hand_rim import agrees, points_of, rim_of_curve, rim_through
from rimwise.measure.hand_words import beyond_the_curve, correction_words, far_reasons
from rimwise.measure.order_told import IN_DOUBT, ORDER_NOT_TOLD
from rimwise.measure.photograph import check_state, finding_of_edges
from rimwise.measure.theatre import STATES, opening_before_implant
from rimwise.measure.width import SETTINGS as WIDTH
from rimwise.measure.width import placed_by_hand
from rimwise.published.load import published_value
from rimwise.records.corrections import ArcDeg, Corrections
from rimwise.records.cover import (
    Correction,
    CoverFinding,
    FoundCurves,
    FoundOpening,
    FoundRim,
    Reason,
)
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

NOTES = ("orientation-tag", "sixteen-bit", "converted", "alpha-dropped", "first-of-several",
         "side-from-clinic", "reflexes-not-told")  # fmt: skip
_USUAL_RADIUS_MM = 3.0  # turns the sd of a click into pixels where no optic's size is told
_SPEAKS_DEG = 25.0  # a rim is a circle: a point speaks for so much on either side
_TEARS = {"opening_broken", "opening_torn"}


def correct(finding: CoverFinding, sheet: PictureSheet, corrections: Corrections) -> CoverFinding:
    """What do the numbers become when a reader corrects the curves?

    Reads no picture: all numbers come again from the found curves that the finding keeps. The
    whole set of corrections is given each time; it starts from what the program found, so that
    the same set always gives the same numbers and an empty set takes all corrections back.

    Before the implant is in (by the sheet's state) points on the opening's edge give its real size.

    Parameters
    ----------
    finding : CoverFinding
        From ``measure_photograph`` or an earlier ``correct``, or read back from its JSON. A
        refused one can be corrected too: five points on the optic's edge and, on the opening's, so
        many that at most 60° lie between any more than 45° apart (nine, evenly spread) make it a
        measurement by hand; six make it partial.
    sheet : PictureSheet
        The picture's sheet: side, optic diameter and the rest, as it was measured with.
    corrections : Corrections
        Points in stored pixels, hidden arcs in examiner's degrees, swap.

    Returns
    -------
    CoverFinding
        ``curves`` are those the numbers rest on now, ``correction`` holds what was told and the
        curves as found; a reason "corrected-by-hand" says so. Status "refused" where points are too
        few, that reason before all others. The rear capsule's opacity needs the picture and is
        None.

    Raises
    ------
    WrongInput
        The finding keeps no curves, or a point or arc is no number.

    Examples
    --------
    >>> from rimwise.records.corrections import Corrections
    >>> sheet = PictureSheet(side="left", optic_diameter_mm=6.0)
    >>> turn = np.radians(np.arange(0, 360, 15))
    >>> def circle(radius):
    ...     return tuple(zip(500 + radius * np.cos(turn), 400 - radius * np.sin(turn)))
    >>> blank = CoverFinding("eye.jpg", "", "left", "visit", "refused",
    ...                      curves=FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0))
    >>> told = Corrections(opening_px=circle(250.0), optic_px=circle(300.0), who="R-2")
    >>> by_hand = correct(blank, sheet, told)
    >>> by_hand.status, round(by_hand.opening.equivalent_diameter_mm.value, 2)  # 5/6 of the optic,
    ('measured', 4.99)

    less what the cornea shows the opening larger than the rim.
    """
    _check(corrections)
    if corrections.is_empty and finding.correction is None:
        return finding
    found = finding.curves if finding.correction is None else finding.correction.found
    if found is None:
        raise WrongInput(
            f"{finding.picture} holds no found curves to correct; measure the picture again"
        )
    notes = tuple(reason for reason in finding.reasons if reason.code in NOTES)
    record = None if corrections.is_empty else Correction(corrections, found)
    told = () if record is None else (Reason("corrected-by-hand", correction_words(corrections)),)
    try:
        new = _renewed(found, finding, sheet, corrections)
    except MeasurementRefused as refusal:
        reasons = (Reason(refusal.code, refusal.sentence),)
        new = CoverFinding(
            finding.picture, finding.sha256, sheet.side, sheet.state, "refused", reasons,
            curves=found,
        )  # fmt: skip
    # Who reads a refusal asks why first; what was placed by hand comes after it.
    first, then = (new.reasons, told) if new.status == "refused" else (told, new.reasons)
    return replace(new, reasons=(*first, *then, *notes), correction=record)


def _renewed(
    found: FoundCurves, finding: CoverFinding, sheet: PictureSheet, corrections: Corrections
) -> CoverFinding:
    if sheet.state in STATES and corrections.opening_px:
        return opening_before_implant(found, finding, sheet, corrections)
    check_state(sheet)
    curves, errors = corrected_curves(found, corrections, sheet)
    edges = edges_of(curves)
    codes = {reason.code for reason in finding.reasons}
    doubt = IN_DOUBT if corrections.is_empty and ORDER_NOT_TOLD in codes else None
    on_opening, on_optic = _far_off(found, corrections, sheet)
    doubt = doubt or beyond_the_curve(on_opening)
    new = finding_of_edges(edges, sheet, finding.picture, finding.sha256, errors, doubt)
    click_px = _click_px(corrections, sheet, curves.rim, points_of(((0.0, 0.0),)))
    axis = haptic_axis(edges, corrections.haptic_px, click_px)
    if new.optic is not None:
        sheet = replace(sheet, optic_diameter_mm=new.optic.diameter_mm)
    from_p1, why_not = optic_from_p1(edges, sheet, corrections.p1_px, click_px)
    radius_mm = 0.5 * float(sheet.optic_diameter_mm or 0.0)
    far = (
        *far_reasons(on_opening, corrections.opening_px, radius_mm, "opening's"),
        *far_reasons(on_optic, corrections.optic_px, radius_mm, "optic's"),
    )
    return replace(
        new,
        implant_toric_axis_deg=finding.implant_toric_axis_deg,
        haptic_axis_deg=axis or found.haptic_axis_deg,
        decentration=new.decentration | {"optic-from-P1": from_p1},
        curves=new.curves and replace(new.curves, haptic_axis_deg=found.haptic_axis_deg),
        reasons=(*far, *new.reasons, *(() if why_not is None else (why_not,))),
    )


def _far_off(
    found: FoundCurves, corrections: Corrections, sheet: PictureSheet
) -> tuple[tuple[FarPoint, ...], tuple[FarPoint, ...]]:
    """Return the points on either edge that lie far from all that picture and hand tell else."""
    start = _swapped(found) if corrections.swap else found
    points = points_of(corrections.optic_px)
    sd = _click_px(corrections, sheet, start.rim, points) if len(points) else 0.0
    on_optic = far_on_optic(points, sd, start.rim) if len(points) else ()
    if not corrections.opening_px:
        return (), on_optic
    curves = _with_rim(start, corrections, sheet)
    placed = _placed(curves, corrections, sheet)
    return far_on_opening(placed, _found_edge(curves, placed)), on_optic


def corrected_curves(
    found: FoundCurves, corrections: Corrections, sheet: PictureSheet
) -> tuple[FoundCurves, FloatArray | None]:
    """Which curves follow, and which errors (m, 360), in rim radii, has the placed edge?

    Raises
    ------
    MeasurementRefused
        A curve was neither found nor placed by enough points.
    """
    if corrections.swap:
        found = _swapped(found)
    curves = _with_rim(found, corrections, sheet)
    curves, errors = _with_opening(curves, corrections, sheet)
    shown = dict(curves.shown)
    optic_away = _inside(corrections.hidden_optic_deg)
    edge_away = _inside(corrections.hidden_opening_deg)
    shown["rim_seen"] = _tuple(flags_of(curves, "rim_seen") & ~optic_away)
    shown["opening_found"] = _tuple(flags_of(curves, "opening_found") & ~edge_away)
    shown["opening_plain"] = _tuple(flags_of(curves, "opening_plain") & ~edge_away)
    shown["rim_hidden"] = _tuple(flags_of(curves, "rim_hidden") | optic_away)
    shown["opening_hidden"] = _tuple(flags_of(curves, "opening_hidden") | edge_away)
    return replace(curves, shown=shown, second=None), errors


def _swapped(found: FoundCurves) -> FoundCurves:
    """Return the curves with the optic's rim and the opening's edge taken for each other."""
    if found.rim is None or found.opening is None:
        raise MeasurementRefused(
            "nothing-to-swap",
            "Two curves are needed to swap them, and the program found fewer; place points on both "
            "edges instead.",
        )
    seen = flags_of(found, "opening_found")
    if seen.sum() < 90:
        raise MeasurementRefused(
            "nothing-to-swap",
            f"The opening's edge was found over {int(seen.sum())}° only, too little for an optic's "
            "circle; place points on both edges instead.",
        )
    centre, direction = _centre(found.rim), directions_of(found)
    edge = centre + np.asarray(found.opening.radius_px)[:, None] * direction
    old = centre + _rim_px(found)[:, None] * direction
    rim = rim_of_curve(edge[seen], max(found.opening.sd_px, found.px), WIDTH.edge_arc_deg)
    names = {
        "rim_seen": "opening_plain", "opening_found": "rim_seen", "opening_plain": "rim_seen",
    }  # fmt: skip
    shown = {new: found.shown.get(was, (False,) * 360) for new, was in names.items()}
    shown["rim_hidden"] = _tuple(~seen)
    shown["opening_hidden"] = _tuple(~flags_of(found, "rim_seen"))
    spread = float(np.sqrt(np.mean(np.diag(np.asarray(found.rim.covariance_px2)))))
    moved = replace(found, rim=rim, opening=FoundOpening((), max(spread, found.px)), shown=shown)
    return _about_new_centre(moved, old)


def _with_rim(found: FoundCurves, corrections: Corrections, sheet: PictureSheet) -> FoundCurves:
    if not corrections.optic_px:
        if found.rim is None:
            raise MeasurementRefused(
                "no-optic-edge",
                "No rim of an optic was found; take a photograph with a wider pupil and sharper "
                "focus on the rim, or place at least 5 points on it (optic_px), spread all round.",
            )
        return found
    points = points_of(corrections.optic_px)
    sd = _click_px(corrections, sheet, found.rim, points)
    rim = rim_through(points, sd, found.rim)
    old = None
    if found.rim is not None and found.opening is not None:
        radii = np.asarray(found.opening.radius_px)
        old = _centre(found.rim) + radii[:, None] * directions_of(found)
    told = _spoken_for(replace(found, rim=rim), points)
    believed = found.rim is not None and agrees(points, sd, found.rim)
    seen, hidden = flags_of(found, "rim_seen"), flags_of(found, "rim_hidden")
    shown = dict(found.shown)
    shown["rim_seen"] = _tuple((seen | told) if believed else told)
    shown["rim_hidden"] = _tuple((hidden & ~told) if believed else ~told)
    moved = replace(found, rim=rim, shown=shown)
    return moved if old is None else _about_new_centre(moved, old)


def _about_new_centre(curves: FoundCurves, edge_px: FloatArray) -> FoundCurves:
    """Return the curves with the opening's edge, 360 points, told about the new rim's centre."""
    if curves.rim is None or curves.opening is None:
        return curves
    at_deg, radius = _polar(curves, edge_px)
    order = np.argsort(at_deg)
    every = np.arange(360.0)
    radii = np.interp(every, at_deg[order], radius[order], period=360.0)
    away = np.abs((every[:, None] - at_deg[None, :] + 180.0) % 360.0 - 180.0)
    nearest = away.argmin(axis=1)
    shown = dict(curves.shown)
    of_edge = {"opening_found", "opening_plain", "opening_hidden"}
    for name in of_edge | (_TEARS & set(shown)):
        shown[name] = _tuple(flags_of(curves, name)[nearest])
    opening = replace(curves.opening, radius_px=tuple(float(r) for r in radii))
    return replace(curves, opening=opening, shown=shown)


def _with_opening(
    curves: FoundCurves, corrections: Corrections, sheet: PictureSheet
) -> tuple[FoundCurves, FloatArray | None]:
    if not corrections.opening_px:
        if curves.opening is None:
            raise MeasurementRefused(
                "no-opening-edge",
                "No edge of the opening was found; take a photograph with a wider pupil and "
                "sharper focus on the capsule's edge, or place points on it (opening_px) all "
                "round, at most 45° apart.",
            )
        return curves, None
    placed = _placed(curves, corrections, sheet)
    edge = edge_through(placed, _found_edge(curves, placed), placed_by_hand())
    found, plain = flags_of(curves, "opening_found"), flags_of(curves, "opening_plain")
    shown = dict(curves.shown)
    shown["opening_found"] = _tuple((found & ~edge.dropped) | edge.told)
    shown["opening_plain"] = _tuple((plain & ~edge.dropped) | edge.told)
    shown["opening_hidden"] = _tuple(flags_of(curves, "opening_hidden") & ~edge.told)
    for name in _TEARS & set(shown):  # who placed the edge there has looked whether it is torn
        shown[name] = _tuple(flags_of(curves, name) & ~edge.told)
    opening = replace(
        curves.opening or FoundOpening((), curves.px),
        radius_px=tuple(float(r) for r in edge.radius * _rim_px(curves)),
    )
    return replace(curves, opening=opening, shown=shown), edge.errors


def _place_sd_px(curves: FoundCurves) -> float:
    told = None if curves.opening is None else curves.opening.place_sd_px
    return WIDTH.place_sd_px * curves.px if told is None else told


def _placed(curves: FoundCurves, corrections: Corrections, sheet: PictureSheet) -> Placed:
    points = points_of(corrections.opening_px)
    at_deg, radius = _polar(curves, points)
    across = np.interp(at_deg, np.arange(360.0), _rim_px(curves), period=360.0)
    sd = _click_px(corrections, sheet, curves.rim, points)
    return Placed(at_deg, radius / across, sd / across)


def _found_edge(curves: FoundCurves, placed: Placed) -> FoundEdge:
    if curves.opening is None:
        nothing = np.zeros(360, dtype=np.bool_)
        return FoundEdge(np.full(360, float(np.mean(placed.radius))), nothing, np.ones(360))
    rim_px = _rim_px(curves)
    spread = np.hypot(curves.opening.sd_px, _place_sd_px(curves)) / rim_px
    radius = np.asarray(curves.opening.radius_px) / rim_px
    return FoundEdge(radius, flags_of(curves, "opening_found"), spread)


def _click_px(
    corrections: Corrections, sheet: PictureSheet, rim: FoundRim | None, points: FloatArray
) -> float:
    """Return the sd of a point, px: as told, or that of a usual click on an optic so large."""
    if corrections.sd_px is not None:
        return corrections.sd_px
    if rim is None:
        radius_px = float(np.hypot(*(points - points.mean(axis=0)).T).mean())
    else:
        radius_px = 0.5 * (rim.ellipse_px.a + rim.ellipse_px.b)
    told = sheet.optic_diameter_mm
    radius_mm = _USUAL_RADIUS_MM if told is None else 0.5 * told
    return (published_value("photograph", "click").sd or 0.0) * radius_px / radius_mm


def _spoken_for(curves: FoundCurves, points: FloatArray) -> BoolArray:
    at_deg, _ = _polar(curves, points)
    away = np.abs((np.arange(360.0)[:, None] - at_deg[None, :] + 180.0) % 360.0 - 180.0)
    return np.asarray(away.min(axis=1) <= _SPEAKS_DEG)


def _polar(curves: FoundCurves, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return examiner's degrees and radii, px, of points about the rim's centre."""
    if curves.rim is None:
        raise ValueError("there is no rim")
    away = points - _centre(curves.rim)
    x, y = away @ np.asarray(curves.right_px), away @ np.asarray(curves.up_px)
    return np.degrees(np.arctan2(y, x)) % 360.0, np.asarray(np.hypot(x, y))


def _rim_px(curves: FoundCurves) -> FloatArray:
    if curves.rim is None:
        raise ValueError("there is no rim")
    basis = rim_basis(picture_rad(directions_of(curves)))
    return np.asarray(basis[:, [0, 3, 4]] @ oval_of(curves.rim.ellipse_px))


def _centre(rim: FoundRim) -> FloatArray:
    return np.array([rim.ellipse_px.cx, rim.ellipse_px.cy])


def _inside(arcs: tuple[ArcDeg, ...]) -> BoolArray:
    every, inside = np.arange(360.0), np.zeros(360, dtype=np.bool_)
    for start, end in arcs:
        whole = abs(end - start) >= 360.0
        inside |= whole | ((every - start) % 360.0 <= (end - start) % 360.0)
    return inside


def _tuple(flags: BoolArray) -> tuple[bool, ...]:
    return tuple(bool(flag) for flag in flags)


def _check(corrections: Corrections) -> None:
    points = (corrections.opening_px, corrections.optic_px, corrections.haptic_px)
    pairs = [pair for some in (*points, corrections.p1_px) for pair in some]
    arcs = (*corrections.hidden_opening_deg, *corrections.hidden_optic_deg)
    if not np.isfinite(np.asarray([*pairs, *arcs], dtype=np.float64)).all():
        raise WrongInput("a point or an arc is not finite; give pixels and degrees as numbers")
    if corrections.sd_px is not None and not 0.05 <= corrections.sd_px <= 100.0:
        raise WrongInput(
            f"sd_px is {corrections.sd_px}; the ± of a point lies between 0.05 and 100 pixels, or "
            "leave it out"
        )
