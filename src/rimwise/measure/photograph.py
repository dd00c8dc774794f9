"""The step: one photograph of an eye with an implant, measured or refused."""

import math
from dataclasses import replace

import numpy as np

from rimwise.measure.axes import found_haptic_axis, implant_toric_axis, one_mark
from rimwise.measure.cover_profile import WHOLE_EDGE_DEG, cover_profile
from rimwise.measure.curves import blank_curves, curves_of
from rimwise.measure.edges import Edges
from rimwise.measure.magnification import magnification
from rimwise.measure.nearer import find_eye_edges
from rimwise.measure.opening_size import (
    opening_finding,
    opening_from_optic,
    sizes_left_out,
    vector_estimate,
)
from rimwise.measure.order_told import (
    IN_DOUBT,
    INSIDE_RIM,
    LEAST_ARC_DEG,
    check_no_laser_opening,
    check_two_edges,
    order_in_doubt,
)
from rimwise.measure.ruler import OpticRuler, optic_ruler, rulers_disagree
from rimwise.measure.second_edge import second_of, why_taken
from rimwise.measure.torn import tears_told
from rimwise.measure.width import WidthLaw, width_law, with_errors
from rimwise.picture.raster import Raster
from rimwise.published.load import published_value
from rimwise.records.cover import (
    CoverFinding,
    FoundSecond,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

# Twice the way over which a line can be followed: so far inside of the rim no haptic runs either.
_LEAST_FOUND_DEG = _LEAST_INSIDE_DEG = 20
_PUPIL_PLANE_SD_MM = 0.10  # the margin lies before the rim: parallax by direction of view
_PUPIL_SCALE_SD = 0.03  # and is enlarged unlike it by the cornea
_NOT_VERIFIED = Reason(
    "opening-not-verified",
    f"A curve was found all round, but over less than {LEAST_ARC_DEG}° could a reader verify both "
    "edges, so no size is told; focus on the capsule's edge, light from behind, or place points on "
    "it (--points).",
)
_NO_ELLIPSE = Reason(
    "no-ellipse",
    "An outline found in this picture is no ellipse, as pupil, limbus and the optic's rim are; "
    "take a sharper photograph of a wider pupil, or place points on both edges (--points).",
)
_NO_COLOUR = Reason(
    "no-colour",
    "This picture carries no colour: an edge is told by its fine line alone and only inside of the "
    "optic's rim, and no arc of the optic is told as bare; take a colour photograph as well.",
)


def measure_photograph(
    raster: Raster, sheet: PictureSheet, *, picture: str, sha256: str
) -> CoverFinding:
    """What does this photograph show: cover by direction, opening, and how sure is it?

    Parameters
    ----------
    raster : Raster
        The picture as stored in the file.
    sheet : PictureSheet
        What the user told of it; ``optic_diameter_mm`` is the ruler.
    picture, sha256 : str
        Name and hash that the record keeps.

    Returns
    -------
    CoverFinding
        Status "measured", "partial" (less than 300° of the opening's edge in sight, or it may lie
        behind the optic) or "refused", always with reasons where something is missing.

    Examples
    --------
    >>> blank = Raster(np.full((400, 600, 3), 90, dtype=np.uint8))
    >>> sheet = PictureSheet(side="left", optic_diameter_mm=6.0)
    >>> measure_photograph(blank, sheet, picture="blank.png", sha256="").reasons[0].code
    'no-pupil'
    """
    curves = blank_curves(raster, sheet)
    try:
        check_state(sheet)
        edges = find_eye_edges(raster, sheet)
        curves = curves_of(edges)
        if edges.before_optic is False:
            return _behind_optic(edges, sheet, picture, sha256)
        check_two_edges(edges)
        doubt = IN_DOUBT if order_in_doubt(edges) or not edges.colour else None
        if doubt is not None:
            check_no_laser_opening(edges, sheet)
        return finding_of_edges(edges, sheet, picture, sha256, doubt=doubt)
    except MeasurementRefused as refusal:
        reason = Reason(refusal.code, refusal.sentence)
        if refusal.code == _NO_ELLIPSE.code:
            reason = _NO_ELLIPSE  # a fit's own sentence speaks to who places its points
        return CoverFinding(
            picture, sha256, sheet.side, sheet.state, "refused", (reason,), curves=curves
        )


def _behind_optic(edges: Edges, sheet: PictureSheet, picture: str, sha256: str) -> CoverFinding:
    """Tell of an edge that is none of an opening's: the optic's rim lies before what begins there.

    An optic captured in the opening stands before the capsule; an opening cut by a laser lies in
    the rear capsule. In either case nothing of the optic is known to be covered.
    """
    ruler = optic_ruler(edges, sheet)
    reason = Reason(
        "edge-behind-optic",
        "The edge that shows lies behind the optic: the optic stands before the opening (capture), "
        "or this is the edge of a laser opening in the rear capsule; no cover is told. If the "
        "opening's own edge can be seen, focus on it, or place it with --points.",
    )
    return CoverFinding(
        picture, sha256, sheet.side, sheet.state, "refused", (reason,),
        scale=_scale(edges, ruler),
        optic=OpticFinding(edges.rim_ellipse, ruler.diameter_mm, int(edges.rim_seen.sum())),
        pupil=_pupil(edges, 0.5 * ruler.diameter_mm),
        opening=OpeningFinding((None,) * 360, None, 0, edge_before_optic=False),
        curves=curves_of(edges),
    )  # fmt: skip


def check_state(sheet: PictureSheet) -> None:
    """Refuse an eye without an implant.

    Raises
    ------
    MeasurementRefused
        By its sheet.
    """
    if sheet.state not in ("visit", "implant", "gel-implant"):
        raise MeasurementRefused(
            "no-implant",
            f'The sheet says state = "{sheet.state}", an eye without an implant; cover is measured '
            "once the implant is in.",
        )


def finding_of_edges(
    edges: Edges,
    sheet: PictureSheet,
    picture: str,
    sha256: str,
    hand_radii: FloatArray | None = None,
    doubt: Reason | None = None,
) -> CoverFinding:
    """What do these edges amount to, whoever found them?

    Parameters
    ----------
    edges : Edges
    sheet : PictureSheet
    picture, sha256 : str
    hand_radii : array (m, 360), optional
        Errors of the opening's radius where a hand placed it, in radii of the optic: equally
        likely courses, with mean 0.
    doubt : Reason, optional
        Why no size is told though the edge is in sight: it may lie behind the optic, say.

    Raises
    ------
    MeasurementRefused
        Both edges are in sight over too short a way, or nothing gives a scale.
    """
    ruler, of_sheet = optic_ruler(edges, sheet), (*rulers_disagree(edges, sheet), *one_mark(sheet))
    sheet = replace(sheet, optic_diameter_mm=ruler.diameter_mm, optic_diameter_sd_mm=ruler.sd_mm)
    law = width_law(edges, ruler.diameter_mm, ruler.sd_mm, sheet.side)
    if hand_radii is not None:
        law = with_errors(law, 0.5 * ruler.diameter_mm * hand_radii)
    around = int(edges.opening_found.sum()) >= WHOLE_EDGE_DEG
    verified = int(edges.both_seen.sum()) >= LEAST_ARC_DEG
    whole = around and verified and doubt is None
    radius = 0.5 * ruler.diameter_mm
    _check_in_sight(edges, law, whole, radius)
    opening = opening_finding(edges, law, ruler.diameter_mm, whole)
    return CoverFinding(
        picture=picture,
        sha256=sha256,
        side=sheet.side,
        state=sheet.state,
        status="measured" if whole else "partial",
        reasons=(
            *of_sheet,
            *_reasons(edges, law, around, verified),
            *sizes_left_out(doubt, opening),
        ),
        scale=_scale(edges, ruler),
        optic=OpticFinding(edges.rim_ellipse, ruler.diameter_mm, int(edges.rim_seen.sum())),
        pupil=_pupil(edges, radius),
        opening=opening,
        decentration=_decentration(edges, law, sheet, whole),
        cover=cover_profile(law, radius, whole),
        implant_toric_axis_deg=implant_toric_axis(edges),
        haptic_axis_deg=found_haptic_axis(edges),
        curves=curves_of(edges),
    )


def _check_in_sight(edges: Edges, law: WidthLaw, whole: bool, radius_mm: float) -> None:
    """Refuse where too little was found; what was found and no reader can verify is said apart."""
    found = edges.opening_found & edges.rim_seen
    if found.sum() < _LEAST_FOUND_DEG:
        raise MeasurementRefused(
            "edges-hidden",
            f"Both edges are in sight over {int(found.sum())}° only, at least {_LEAST_FOUND_DEG}° "
            "are needed; dilate the pupil more, focus on the capsule's edge and light from behind, "
            "or place points on both edges (--points).",
        )
    inside = found & (law.width_mm > INSIDE_RIM * radius_mm)
    if not whole and inside.sum() < _LEAST_INSIDE_DEG:
        raise MeasurementRefused(
            "edges-hidden",
            "What shows of an edge lies at the optic's rim or outside of it, where haptics begin, "
            "and cannot be told from them; dilate the pupil more, focus on the capsule's edge and "
            "light from behind, or place points on both edges (--points).",
        )


def _scale(edges: Edges, ruler: OpticRuler) -> ScaleFinding:
    px_per_mm = 2.0 * math.sqrt(edges.rim_ellipse.a * edges.rim_ellipse.b) / ruler.diameter_mm
    rim_sd = math.sqrt(float(edges.rim_covariance.mean())) / float(edges.rim_px.mean())
    relative = math.hypot(rim_sd, ruler.sd_mm / ruler.diameter_mm)
    return ScaleFinding(
        Estimate(px_per_mm, px_per_mm * relative, f"{ruler.origin} as the ruler"),
        "optic",
        ruler.origin,
    )


def _pupil(edges: Edges, optic_radius_mm: float) -> PupilFinding | None:
    if edges.pupil is None:
        return None
    per_px = optic_radius_mm / math.sqrt(edges.rim_ellipse.a * edges.rim_ellipse.b)
    diameter = 2.0 * math.sqrt(edges.pupil.a * edges.pupil.b) * per_px
    return PupilFinding(
        edges.pupil, Estimate(diameter, _PUPIL_SCALE_SD * diameter, "margin against the optic")
    )


def _decentration(
    edges: Edges, law: WidthLaw, sheet: PictureSheet, whole: bool
) -> dict[str, VectorEstimate | None]:
    radius = 0.5 * float(sheet.optic_diameter_mm or 0.0)
    roll_sd = math.radians(sheet.superior_sd_deg)
    pairs: dict[str, VectorEstimate | None] = {
        "opening-from-optic": None,
        "optic-from-pupil": None,
        "optic-from-limbus": None,
        "optic-from-P1": None,
        "optic-from-P4": None,
    }
    if whole:
        pairs["opening-from-optic"] = opening_from_optic(law, radius, sheet.side, roll_sd)
    if edges.pupil is not None:
        shift_px = np.asarray(edges.centre_px) - [edges.pupil.cx, edges.pupil.cy]
        along = edges.direction_px[[0, 90]] @ shift_px * radius / float(edges.rim_px.mean())
        sd = (_PUPIL_PLANE_SD_MM, _PUPIL_PLANE_SD_MM)
        place = (float(along[0]), float(along[1]))
        pairs["optic-from-pupil"] = vector_estimate(
            place, sd, sheet.side, roll_sd, "rim against the pupil's margin, apparent"
        )
    if edges.limbus is not None:
        ring, per_px = edges.limbus.ellipse_px, radius / float(edges.rim_px.mean())
        along = edges.direction_px[[0, 90]] @ (np.asarray(edges.centre_px) - [ring.cx, ring.cy])
        behind = magnification(sheet).apparent_depth_mm
        slant = [_slant_sd(name) * behind for name in ("view_temporal", "view_vertical")]
        ring_sd = edges.limbus.centre_sd_px * per_px
        pairs["optic-from-limbus"] = vector_estimate(
            (float(along[0]) * per_px, float(along[1]) * per_px),
            (math.hypot(ring_sd, slant[0]), math.hypot(ring_sd, slant[1])),
            sheet.side, roll_sd, "rim against the limbus, apparent, along the view",
        )  # fmt: skip
    return pairs


def _slant_sd(name: str) -> float:
    """By how much does the view's slant spread: sideways per depth, outside the eye?"""
    view = published_value("photograph", name)
    inside = math.hypot(view.value, view.sd or 0.0)
    return math.tan(math.radians(inside)) * published_value("cornea", "index_aqueous").value


def _reasons(edges: Edges, law: WidthLaw, whole: bool, verified: bool) -> tuple[Reason, ...]:
    found = []
    if whole and not verified:
        found.append(_NOT_VERIFIED)
    if not whole:
        found.append(
            Reason(
                "opening-partly-hidden",
                f"The opening's edge is in sight over {int(edges.opening_found.sum())}° of 360°, "
                f"less than {WHOLE_EDGE_DEG}°: "
                + (
                    "cover by direction is given, size and roundness are not."
                    if edges.both_seen.any()
                    else "no size, and since no reader could verify both edges anywhere, no cover."
                ),
            )
        )
    if not edges.colour:
        found.append(_NO_COLOUR)
    found += _hidden(edges) + tears_told(edges.torn_px, edges.broken)
    second = second_of(edges)
    if second is not None and second.counted:
        found.append(_second_edge(second, float((law.width_mm + law.radius_mm)[0])))
    least = int(np.argmin(law.width_mm))
    if whole and law.found[least] and not law.seen[least]:
        found.append(
            Reason(
                "least-cover-faint",
                "The least cover lies where an edge is too faint for a reader to verify.",
            )
        )
    elif whole and not law.found[least]:
        found.append(
            Reason(
                "least-cover-hidden",
                "The least cover is expected where an edge is not in sight; its value rests on the "
                "curve through the rest and carries a wider ±.",
            )
        )
    return tuple(found)


def _second_edge(second: FoundSecond, optic_radius_mm: float) -> Reason:
    """Say that two edges were compared, and why the choice fell."""
    outer, away_mm = second.inward_share > 0.0, abs(second.inward_share) * optic_radius_mm
    return Reason(
        "second-edge",
        f"A second edge shows over {second.found_deg}°, {away_mm:.2f} mm "
        f"{'inside' if outer else 'outside'} of the one that was taken for the opening's, because "
        f"{why_taken(second)}; if it is the other way round, place points on the opening's edge "
        "(--points).",
    )


def _hidden(edges: Edges) -> list[Reason]:
    """Say over how many degrees an edge is hidden, and by what; less than 5° needs no line."""
    by_pupil = int((edges.opening_hidden_by_pupil & ~edges.opening_found).sum())
    hidden = (
        (
            by_pupil,
            "hidden-by-pupil-or-reflex",
            "the opening's edge lies behind the iris, a reflex or the picture's border"
            + ("; " if edges.colour else ", or too near to the rim to be told without colour; ")
            + "nothing is filled in there.",
        ),
        (
            int((~edges.opening_plain).sum()) - by_pupil,
            "edge-too-faint",
            "the opening's edge is too faint for a reader to verify; no cover is given there.",
        ),
        (
            int((~edges.rim_seen).sum()),
            "rim-partly-hidden",
            "the optic's rim is not in sight; no cover is given there.",
        ),
    )
    return [
        Reason(code, f"Over {count}° {sentence}") for count, code, sentence in hidden if count >= 5
    ]
