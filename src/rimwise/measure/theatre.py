"""The opening before the implant is in: seen through the cornea, told in real millimetres."""

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from rimwise.eye.cornea import CorneaSeen, cornea_seen, real_mm
from rimwise.eye.cornea import magnification as corneal_magnification
from rimwise.measure.cover_profile import WHOLE_EDGE_DEG
from rimwise.measure.curves import directions_of
from rimwise.measure.hand_opening import FoundEdge, HandEdge, Placed, edge_through
from rimwise.measure.hand_rim import circle_through, points_of
from rimwise.measure.opening_size import opening_sizes
from rimwise.measure.width import DRAWS, WidthLaw, placed_by_hand
from rimwise.published.load import published_value
from rimwise.records.corrections import Corrections
from rimwise.records.cover import (
    CoverFinding,
    FoundCurves,
    OpeningFinding,
    Reason,
    ScaleFinding,
)
from rimwise.records.picture import PictureSheet
from rimwise.stats.sampling import stream
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

STATES = ("natural", "gel-natural", "empty-bag")


def opening_before_implant(
    found: FoundCurves, finding: CoverFinding, sheet: PictureSheet, told: Corrections
) -> CoverFinding:
    """How large is the opening that a reader outlined before the implant was in?

    Parameters
    ----------
    found : FoundCurves
        How the picture was held.
    finding : CoverFinding
        For the picture's name and hash.
    sheet : PictureSheet
        Scale in the limbus's plane (``px_per_mm`` or a ``ruler``), cornea and depth of the lens
        front where known; published values with their spread else.
    told : Corrections
        At least six points on the opening's edge.

    Returns
    -------
    CoverFinding
        Partial: without an implant there is no cover. Sizes are real mm in the opening's plane,
        where at least 300° are spoken for.

    Raises
    ------
    MeasurementRefused
        Nothing gives a scale, or the points are too few.

    Notes
    -----
    The edge looks larger through the cornea than it is: its apparent size in the limbus's plane is
    divided by the paraxial magnification of both corneal surfaces at the depth of the capsule
    (:func:`rimwise.eye.cornea.real_mm`); every length shares that error and the scale's.

    Examples
    --------
    >>> found = FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0)
    >>> bare = CoverFinding("f.jpg", "", "right", "natural", "refused", curves=found)
    >>> turn = np.radians(np.arange(0, 360, 20))
    >>> ring = zip(400 + 150 * np.cos(turn), 300 - 150 * np.sin(turn))
    >>> sheet = PictureSheet("right", state="natural", px_per_mm=50.0)
    >>> real = opening_before_implant(found, bare, sheet, Corrections(opening_px=tuple(ring)))
    >>> round(real.opening.equivalent_diameter_mm.value, 1)
    5.4
    """
    per_mm, origin = _scale(sheet)
    seen = _seen(sheet)
    real = real_mm(Estimate(1.0, published_value("microscope", "given_scale").sd or 0.0), seen)
    points = points_of(told.opening_px)
    start = circle_through(points)
    radius_px, centre = float(start[0]), np.array([start[1], -start[2]])
    edge = _edge(found, points, centre, (radius_px, _click_px(told, per_mm)))
    radius_mm = edge.radius * radius_px / per_mm * real.value
    errors_mm = edge.errors * radius_px / per_mm * real.value
    whole = int(edge.told.sum()) >= WHOLE_EDGE_DEG
    where = centre + (edge.radius * radius_px)[:, None] * directions_of(found)
    sizes = {}
    if whole:
        law = _law(radius_mm, errors_mm, real.sd / real.value)
        sizes = opening_sizes(law, float(radius_mm.mean()))
    opening = OpeningFinding(
        edge_px=tuple(
            (float(u), float(v)) if shown else None
            for (u, v), shown in zip(where, edge.told, strict=True)
        ),
        contour_px=None,
        seen_deg=int(edge.told.sum()),
        edge_before_optic=None,
        **sizes,
    )
    apparent_mm = 2.0 * float(np.sqrt(np.mean((edge.radius * radius_px) ** 2))) / per_mm
    return CoverFinding(
        finding.picture, finding.sha256, sheet.side, sheet.state, "partial",
        (*_disagree(sheet), _sentence(apparent_mm, seen, whole)),
        scale=ScaleFinding(
            Estimate(per_mm, per_mm * (published_value("microscope", "given_scale").sd or 0.0)),
            "limbus", origin,
        ),
        opening=opening, curves=found,
    )  # fmt: skip


def _scale(sheet: PictureSheet) -> tuple[float, Literal["ruler", "given"]]:
    """Return px per mm in the limbus's plane, and what it is from."""
    if sheet.ruler is not None and sheet.ruler.plane == "limbus":
        return sheet.ruler.px / sheet.ruler.mm, "ruler"
    if sheet.px_per_mm is not None:
        return sheet.px_per_mm, "given"
    raise MeasurementRefused(
        "no-ruler",
        "Without an implant there is no optic as the ruler; give px_per_mm, or a ruler in the "
        "limbus's plane, in the sheet.",
    )


def _disagree(sheet: PictureSheet) -> tuple[Reason, ...]:
    """Say that ruler and scale, if both are told, differ by more than three sd of both."""
    ruler, scale = sheet.ruler, sheet.px_per_mm
    if ruler is None or ruler.plane != "limbus" or scale is None:
        return ()
    taken, sd = ruler.px / ruler.mm, published_value("microscope", "given_scale").sd or 0.0
    if abs(taken - scale) <= 3.0 * sd * math.hypot(taken, scale):
        return ()
    return (
        Reason(
            "rulers-disagree",
            f"The sheet contradicts itself: the ruler has {taken:.1f} px per mm, which was taken, "
            f"but px_per_mm is {scale:g}; all lengths hang on it, so check these entries.",
        ),
    )


def _seen(sheet: PictureSheet) -> CorneaSeen:
    """Return cornea and depth of the opening: the lens front's, deeper once the bag is empty."""
    depth = sheet.lengths.lens_front_depth_mm
    seen = cornea_seen(sheet.cornea, depth)
    if depth is not None or sheet.state != "empty-bag":
        return seen
    bag = published_value("lengths", "bag_front_depth_empty")
    return replace(seen, depth_mm=Estimate(bag.value, bag.sd or 0.0, "published prior"))


def _click_px(told: Corrections, per_mm: float) -> float:
    if told.sd_px is not None:
        return told.sd_px
    return (published_value("photograph", "click").sd or 0.0) * per_mm


def _edge(
    found: FoundCurves,
    points: FloatArray,
    centre: FloatArray,
    size_px: tuple[float, float],
) -> HandEdge:
    """Return the edge through the points, in mean radii; ``size_px`` are radius and click."""
    away, (radius_px, click_px) = points - centre, size_px
    x, y = away @ np.asarray(found.right_px), away @ np.asarray(found.up_px)
    placed = Placed(
        np.degrees(np.arctan2(y, x)) % 360.0,
        np.hypot(x, y) / radius_px,
        np.full(len(points), click_px / radius_px),
    )
    nothing = np.zeros(360, dtype=np.bool_)
    return edge_through(placed, FoundEdge(np.ones(360), nothing, np.ones(360)), placed_by_hand())


def _law(radius_mm: FloatArray, errors_mm: FloatArray, relative: float) -> WidthLaw:
    """Return the law of a cover of 0 all round: only its opening is asked for."""
    mean = float(radius_mm.mean())
    width, every = mean - radius_mm, np.ones(360, dtype=np.bool_)
    scale = 1.0 + relative * stream(0, "scale in theatre").normal(size=(DRAWS, 1))
    given = width - errors_mm
    return WidthLaw(
        width_mm=width, seen=every, found=every, sd_mm=given.std(axis=0),
        sd_given_optic_mm=given.std(axis=0), draws_mm=given, draws_given_optic_mm=given,
        radius_mm=radius_mm, optic_scale=scale, parts_mm={},
    )  # fmt: skip


def _sentence(apparent_mm: float, seen: CorneaSeen, whole: bool) -> Reason:
    factor = corneal_magnification(seen)
    told = (
        f"it looks {apparent_mm:.2f} mm wide in the limbus's plane and is told in real mm, "
        f"{factor.value:.3f} ± {factor.sd:.3f} times smaller"
        if whole
        else "its points speak for too little of it to tell a size"
    )
    return Reason(
        "before-implant", f"Without an implant there is no cover; of the opening, {told}."
    )
