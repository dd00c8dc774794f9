"""A cover finding as ``rimwise.cover/1`` (docs/results.md), and the outer document."""

from collections.abc import Iterable, Mapping
from typing import Any

from rimwise import __version__
from rimwise.exchange.cover_budgets import budget_document
from rimwise.exchange.curves import correction_document, curves_document
from rimwise.exchange.reflexes import reflexes_document, tilt_document
from rimwise.exchange.writing import finite
from rimwise.measure.visibility import visibility
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    FoundCurves,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.opacification import OpacificationFinding
from rimwise.terms.estimate import Estimate

COVER_SCHEMA = "rimwise.cover/1"
# A millionth of a mm, a ten-thousandth of a pixel: far below any ±, and files stay small.
DIGITS = 6
PIXEL_DIGITS = 4

Document = dict[str, Any]

COVER_KEYS = (
    "schema",
    "picture",
    "sha256",
    "side",
    "state",
    "status",
    "reasons",
    "scale",
    "optic",
    "pupil",
    "opening",
    "decentration",
    "cover",
    "implant_toric_axis_deg",
    "haptic_axis_deg",
    "lens_tilt_deg",
    "visibility",
    "reflexes",
    "opacification",
    "curves",
    "correction",
    "budget",
)


def document_of(results: Iterable[Mapping[str, Any]]) -> Document:
    """Which document does a command write: the version and its results?

    Examples
    --------
    >>> sorted(document_of([]))
    ['results', 'rimwise']
    """
    return {"rimwise": __version__, "results": [dict(result) for result in results]}


def cover_document(finding: CoverFinding) -> Document:
    """How is this finding written as ``rimwise.cover/1``?

    Parameters
    ----------
    finding : CoverFinding
        What one photograph says.

    Returns
    -------
    dict
        Plain JSON: every key of the schema is there, null where nothing was measured.

    Raises
    ------
    ValueError
        The finding holds NaN or infinity.
    """
    return {
        "schema": COVER_SCHEMA,
        "picture": finding.picture,
        "sha256": finding.sha256,
        "side": finding.side,
        "state": finding.state,
        "status": finding.status,
        "reasons": reasons_document(finding.reasons),
        "scale": _scale(finding.scale),
        "optic": _optic(finding.optic),
        "pupil": _pupil(finding.pupil),
        "opening": _opening(finding.opening),
        "decentration": {pair: _vector(vector) for pair, vector in finding.decentration.items()},
        "cover": _cover(finding.cover),
        "implant_toric_axis_deg": estimate_document(finding.implant_toric_axis_deg, "deg"),
        "haptic_axis_deg": estimate_document(finding.haptic_axis_deg, "deg"),
        "lens_tilt_deg": tilt_document(finding.reflexes),
        "visibility": _visibility(finding.curves),
        "reflexes": reflexes_document(finding.reflexes),
        "opacification": _opacification(finding.opacification),
        "curves": curves_document(finding.curves),
        "correction": correction_document(finding.correction),
        "budget": budget_document(finding.budget),
    }


def _opacification(found: OpacificationFinding | None) -> Document | None:
    if found is None:
        return None
    return {
        "area_percent": estimate_document(found.area_percent, "percent"),
        "score": estimate_document(found.score, "1"),
        "graded_percent": [finite(share, DIGITS) for share in found.graded_percent],
        "masked_percent": finite(found.masked_percent, DIGITS),
    }


def _visibility(curves: FoundCurves | None) -> Document | None:
    """Write how well each edge is seen, one digit a direction."""
    graded = visibility(curves)
    return {edge: "".join(map(str, grades)) for edge, grades in graded.items()} or None


def unread_document(picture: str, reason: Reason) -> Document:
    """How is a picture written that could not even be looked at: refused, all else null?"""
    blank = dict.fromkeys(COVER_KEYS)
    return blank | {
        "schema": COVER_SCHEMA,
        "picture": picture,
        "status": "refused",
        "reasons": reasons_document((reason,)),
        "decentration": {},
    }


def reasons_document(reasons: Iterable[Reason]) -> list[Document]:
    """How are reasons written?"""
    return [{"code": one.code, "sentence": one.sentence} for one in reasons]


def estimate_document(estimate: Estimate | None, unit: str) -> Document | None:
    """How is an estimate written: value, sd and unit, or null?

    Examples
    --------
    >>> estimate_document(Estimate(5.25, 0.02), "mm")
    {'value': 5.25, 'sd': 0.02, 'unit': 'mm'}
    """
    if estimate is None:
        return None
    value, sd = finite(estimate.value, DIGITS), finite(estimate.sd, DIGITS)
    return {"value": value, "sd": sd, "unit": unit}


def unit_of(name: str) -> str:
    """Which unit does a field's name wear?

    Examples
    --------
    >>> unit_of("area_mm2"), unit_of("px_per_mm"), unit_of("circularity")
    ('mm2', 'px/mm', '1')
    """
    if name == "px_per_mm":
        return "px/mm"
    ending = name.rpartition("_")[2]
    return ending if ending in ("mm", "mm2", "um", "px", "deg", "dpt", "percent") else "1"


def _estimates(record: object, names: Iterable[str]) -> Document:
    return {name: estimate_document(getattr(record, name), unit_of(name)) for name in names}


def _ellipse(ellipse: EllipsePx) -> Document:
    return {
        name: finite(getattr(ellipse, name), PIXEL_DIGITS)
        for name in ("cx", "cy", "a", "b", "angle_deg")
    }


def _scale(scale: ScaleFinding | None) -> Document | None:
    if scale is None:
        return None
    px_per_mm = estimate_document(scale.px_per_mm, "px/mm")
    return {"px_per_mm": px_per_mm, "plane": scale.plane, "from": scale.origin}


def _optic(optic: OpticFinding | None) -> Document | None:
    if optic is None:
        return None
    return {
        "ellipse_px": _ellipse(optic.ellipse_px),
        "diameter_mm": finite(optic.diameter_mm, DIGITS),
        "seen_deg": optic.seen_deg,
    }


def _pupil(pupil: PupilFinding | None) -> Document | None:
    if pupil is None:
        return None
    return {
        "ellipse_px": _ellipse(pupil.ellipse_px),
        "dilated_mm": estimate_document(pupil.dilated_mm, "mm"),
    }


OPENING_ESTIMATES = (
    "equivalent_diameter_mm",
    "area_mm2",
    "circularity",
    "radial_deviation_rms_mm",
    "largest_width_mm",
    "smallest_width_mm",
)


def _point(point: tuple[float, float] | None) -> list[float | None] | None:
    return None if point is None else [finite(part, PIXEL_DIGITS) for part in point]


def _opening(opening: OpeningFinding | None) -> Document | None:
    if opening is None:
        return None
    contour = opening.contour_px
    return {
        "edge_px": [_point(point) for point in opening.edge_px],
        "contour_px": None if contour is None else [_point(point) for point in contour],
        **_estimates(opening, OPENING_ESTIMATES),
        "seen_deg": opening.seen_deg,
        "edge_before_optic": opening.edge_before_optic,
    }


VECTOR_ESTIMATES = ("x_mm", "y_mm", "nasal_mm", "superior_mm")


def _vector(vector: VectorEstimate | None) -> Document | None:
    return None if vector is None else _estimates(vector, VECTOR_ESTIMATES)


def _least(least: LeastCover | None) -> Document | None:
    if least is None:
        return None
    return {
        "value": finite(least.value, DIGITS),
        "sd": finite(least.sd, DIGITS),
        "unit": "mm",
        "at_deg": finite(least.at_deg, DIGITS),
        "clock_hour": finite(least.clock_hour, DIGITS),
    }


def _numbers(values: Iterable[float | None]) -> list[float | None]:
    return [finite(value, DIGITS) for value in values]


def _cover(cover: CoverProfile | None) -> Document | None:
    if cover is None:
        return None
    arcs = cover.bare_arcs_deg
    given = {name: estimate_document(one, unit_of(name)) for name, one in cover.given_optic.items()}
    return {
        "width_mm": _numbers(cover.width_mm),
        "sd_mm": _numbers(cover.sd_mm),
        "min_mm": _least(cover.min_mm),
        **_estimates(cover, ("mean_mm", "area_percent")),
        "bare_arcs_deg": None if arcs is None else [_numbers(arc) for arc in arcs],
        "bare_total_deg": estimate_document(cover.bare_total_deg, "deg"),
        "assessable_deg": cover.assessable_deg,
        "complete": cover.complete,
        "p_complete": finite(cover.p_complete, DIGITS),
        "given_optic": given | {"sd_mm": _numbers(cover.sd_given_optic_mm)},
    }
