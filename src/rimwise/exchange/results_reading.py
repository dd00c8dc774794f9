"""A ``rimwise.cover/1`` entry read back into the finding that it was written from."""

from collections.abc import Mapping
from typing import Any

from rimwise.exchange.cover_budgets import budget_from
from rimwise.exchange.curves import correction_from, curves_from
from rimwise.exchange.reflexes import reflexes_from
from rimwise.exchange.results import COVER_SCHEMA, OPENING_ESTIMATES, VECTOR_ESTIMATES
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.opacification import OpacificationFinding
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate


def cover_finding_from_document(entry: Mapping[str, Any]) -> CoverFinding:
    """Which finding does this entry of ``results`` hold?

    Parameters
    ----------
    entry : mapping
        One result with the schema ``rimwise.cover/1``.

    Returns
    -------
    CoverFinding
        As it was written; the origins of the estimates are not in the document.

    Raises
    ------
    WrongInput
        The entry has another schema, is damaged, or stands for a picture that was not read.
    """
    if not isinstance(entry, Mapping) or entry.get("schema") != COVER_SCHEMA:
        raise WrongInput(f"this entry is not {COVER_SCHEMA}; give one that measure --json wrote")
    if entry.get("side") not in ("right", "left"):
        raise WrongInput("this entry stands for a picture that could not be read; measure it again")
    try:
        return _finding(entry)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise WrongInput(
            f"this entry is a damaged {COVER_SCHEMA} ({type(error).__name__}: {error}); "
            "measure the picture again"
        ) from None


def _finding(entry: Mapping[str, Any]) -> CoverFinding:
    if entry["status"] not in ("measured", "partial", "refused"):
        raise ValueError(f"status is {entry['status']!r}")
    decentration = {pair: _vector(vector) for pair, vector in entry["decentration"].items()}
    return CoverFinding(
        picture=str(entry["picture"]),
        sha256=str(entry["sha256"]),
        side=entry["side"],
        state=str(entry["state"]),
        status=entry["status"],
        reasons=tuple(Reason(str(r["code"]), str(r["sentence"])) for r in entry["reasons"]),
        scale=_scale(entry["scale"]),
        optic=_optic(entry["optic"]),
        pupil=_pupil(entry["pupil"]),
        opening=_opening(entry["opening"]),
        decentration=decentration,
        cover=_cover(entry["cover"]),
        implant_toric_axis_deg=_estimate(entry["implant_toric_axis_deg"]),
        haptic_axis_deg=_estimate(entry["haptic_axis_deg"]),
        opacification=_opacification(entry.get("opacification")),
        curves=curves_from(entry.get("curves")),
        correction=correction_from(entry.get("correction")),
        budget=budget_from(entry.get("budget")),
        reflexes=reflexes_from(entry.get("reflexes"), entry.get("lens_tilt_deg")),
    )


def _opacification(value: Mapping[str, Any] | None) -> OpacificationFinding | None:
    if value is None:
        return None
    graded = tuple(float(share) for share in value["graded_percent"])
    if len(graded) != 5:
        raise ValueError(f"graded_percent has {len(graded)} entries instead of 5")
    area, score = _known(value["area_percent"]), _known(value["score"])
    return OpacificationFinding(area, score, graded, float(value["masked_percent"]))


def _estimate(value: Mapping[str, Any] | None) -> Estimate | None:
    return None if value is None else _known(value)


def _known(value: Mapping[str, Any]) -> Estimate:
    return Estimate(float(value["value"]), float(value["sd"]))


def _ellipse(value: Mapping[str, Any]) -> EllipsePx:
    return EllipsePx(*(float(value[name]) for name in ("cx", "cy", "a", "b", "angle_deg")))


def _scale(value: Mapping[str, Any] | None) -> ScaleFinding | None:
    if value is None:
        return None
    return ScaleFinding(_known(value["px_per_mm"]), value["plane"], value["from"])


def _optic(value: Mapping[str, Any] | None) -> OpticFinding | None:
    if value is None:
        return None
    ellipse = _ellipse(value["ellipse_px"])
    return OpticFinding(ellipse, float(value["diameter_mm"]), int(value["seen_deg"]))


def _pupil(value: Mapping[str, Any] | None) -> PupilFinding | None:
    if value is None:
        return None
    return PupilFinding(_ellipse(value["ellipse_px"]), _known(value["dilated_mm"]))


def _point(value: Any) -> tuple[float, float]:
    u, v = value
    return float(u), float(v)


def _round(values: Any) -> Any:
    if len(values) != 360:
        raise ValueError(f"a list by direction has {len(values)} entries instead of 360")
    return values


def _opening(value: Mapping[str, Any] | None) -> OpeningFinding | None:
    if value is None:
        return None
    contour = value["contour_px"]
    return OpeningFinding(
        edge_px=tuple(None if p is None else _point(p) for p in _round(value["edge_px"])),
        contour_px=None if contour is None else tuple(_point(p) for p in contour),
        seen_deg=int(value["seen_deg"]),
        edge_before_optic=_flag(value["edge_before_optic"]),
        **{name: _estimate(value[name]) for name in OPENING_ESTIMATES},
    )


def _flag(value: Any) -> bool | None:
    if value is not None and not isinstance(value, bool):
        raise ValueError(f"true, false or null was expected, not {value!r}")
    return value


def _vector(value: Mapping[str, Any] | None) -> VectorEstimate | None:
    if value is None:
        return None
    return VectorEstimate(*(_known(value[name]) for name in VECTOR_ESTIMATES))


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _numbers(values: Any) -> tuple[float | None, ...]:
    return tuple(_number(value) for value in _round(values))


def _least(value: Mapping[str, Any] | None) -> LeastCover | None:
    if value is None:
        return None
    return LeastCover(*(float(value[name]) for name in ("value", "sd", "at_deg", "clock_hour")))


def _cover(value: Mapping[str, Any] | None) -> CoverProfile | None:
    if value is None:
        return None
    arcs, given = value["bare_arcs_deg"], value["given_optic"]
    return CoverProfile(
        width_mm=_numbers(value["width_mm"]),
        sd_mm=_numbers(value["sd_mm"]),
        sd_given_optic_mm=_numbers(given["sd_mm"]),
        min_mm=_least(value["min_mm"]),
        mean_mm=_estimate(value["mean_mm"]),
        area_percent=_estimate(value["area_percent"]),
        bare_arcs_deg=None if arcs is None else tuple(_point(arc) for arc in arcs),
        bare_total_deg=_estimate(value["bare_total_deg"]),
        assessable_deg=int(value["assessable_deg"]),
        complete=_flag(value["complete"]),
        p_complete=_number(value["p_complete"]),
        given_optic={name: _known(one) for name, one in given.items() if name != "sd_mm"},
    )
