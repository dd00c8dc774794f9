"""Found curves and corrections as JSON, so that a correction needs no picture, and back."""

from collections.abc import Mapping
from typing import Any

from rimwise.exchange.writing import finite
from rimwise.records.corrections import Corrections
from rimwise.records.cover import (
    Correction,
    EllipsePx,
    FoundCurves,
    FoundLimbus,
    FoundOpening,
    FoundRim,
    FoundSecond,
)
from rimwise.terms.estimate import Estimate

_DIGITS = 6
_PIXEL_DIGITS = 4
_FLAGS = ("rim_seen", "rim_hidden", "opening_found", "opening_plain", "opening_hidden")
_AT_TIMES = {"opening_broken", "opening_torn"}
_PAIRS = (
    "opening_px", "optic_px", "hidden_opening_deg", "hidden_optic_deg", "haptic_px", "p1_px",
)  # fmt: skip

Document = dict[str, Any]


def corrections_document(told: Corrections) -> Document:
    """How are corrections written? By the keys of the file of points.

    Examples
    --------
    >>> corrections_document(Corrections(swap=True))["swap"]
    True
    """
    return {
        "opening_px": [_rounded(point) for point in told.opening_px],
        "optic_px": [_rounded(point) for point in told.optic_px],
        "hidden_opening_deg": [_rounded(arc) for arc in told.hidden_opening_deg],
        "hidden_optic_deg": [_rounded(arc) for arc in told.hidden_optic_deg],
        "haptic_px": [_rounded(point) for point in told.haptic_px],
        "p1_px": [_rounded(point) for point in told.p1_px],
        "swap": told.swap,
        "sd_px": told.sd_px,
        "who": told.who,
        "when": told.when,
    }


def correction_document(correction: Correction | None) -> Document | None:
    """How is a correction written: what was told, and the curves as found?"""
    if correction is None:
        return None
    return {
        "told": corrections_document(correction.told),
        "found": curves_document(correction.found),
    }


def correction_from(value: Mapping[str, Any] | None) -> Correction | None:
    """Which correction does this part of a document hold?"""
    if value is None:
        return None
    told, found = value["told"], curves_from(value["found"])
    if found is None:
        raise ValueError("a correction without the curves as found")
    pairs = {name: tuple(_pair(pair) for pair in told.get(name, ())) for name in _PAIRS}
    sd, who, when = told["sd_px"], told["who"], told["when"]
    corrections = Corrections(
        **pairs,
        swap=bool(told["swap"]),
        sd_px=None if sd is None else float(sd),
        who=None if who is None else str(who),
        when=None if when is None else str(when),
    )
    return Correction(corrections, found)


def curves_document(curves: FoundCurves | None) -> Document | None:
    """How are curves written, so that a correction needs no picture?"""
    if curves is None:
        return None
    rim, opening, limbus = curves.rim, curves.opening, curves.limbus
    return {
        "right_px": _rounded(curves.right_px, _DIGITS),
        "up_px": _rounded(curves.up_px, _DIGITS),
        "px": finite(curves.px, _DIGITS),
        "rim": None
        if rim is None
        else {
            "ellipse_px": _ellipse(rim.ellipse_px),
            "covariance_px2": [_rounded(row, _DIGITS) for row in rim.covariance_px2],
        },
        "opening": None
        if opening is None
        else {
            "radius_px": _rounded(opening.radius_px),
            "sd_px": finite(opening.sd_px, _DIGITS),
            "place_sd_px": None
            if opening.place_sd_px is None
            else finite(opening.place_sd_px, _DIGITS),
        },
        "shown": {
            name: "".join("1" if flag else "0" for flag in flags)
            for name, flags in curves.shown.items()
        },
        "pupil": None if curves.pupil is None else _ellipse(curves.pupil),
        "pupil_sd_px": finite(curves.pupil_sd_px, _DIGITS),
        "limbus": None
        if limbus is None
        else {
            "ellipse_px": _ellipse(limbus.ellipse_px),
            "radius_px": finite(limbus.radius_px, _PIXEL_DIGITS),
            "centre_sd_px": finite(limbus.centre_sd_px, _PIXEL_DIGITS),
            "seen_deg": limbus.seen_deg,
        },
        "haptic_axis_deg": _axis(curves.haptic_axis_deg),
        "second": _second(curves.second),
    }


def curves_from(value: Mapping[str, Any] | None) -> FoundCurves | None:
    """Which curves does this part of a document hold?

    Raises
    ------
    ValueError, KeyError, TypeError
        It is damaged.
    """
    if value is None:
        return None
    shown = {str(name): _flags(flags) for name, flags in value["shown"].items()}
    if shown and set(shown) - _AT_TIMES != set(_FLAGS):
        raise ValueError(f"shown holds {', '.join(shown)}")
    return FoundCurves(
        right_px=_pair(value["right_px"]),
        up_px=_pair(value["up_px"]),
        px=float(value["px"]),
        rim=_rim(value["rim"]),
        opening=_opening(value["opening"]),
        shown=shown,
        pupil=None if value["pupil"] is None else _ellipse_from(value["pupil"]),
        pupil_sd_px=float(value["pupil_sd_px"]),
        limbus=_limbus(value["limbus"]),
        haptic_axis_deg=_axis_from(value.get("haptic_axis_deg")),
        second=_second_from(value.get("second")),
    )


def _second(second: FoundSecond | None) -> Document | None:
    if second is None:
        return None
    return {
        "radius_px": [None if r is None else finite(r, _PIXEL_DIGITS) for r in second.radius_px],
        "found_deg": second.found_deg,
        "inward_share": finite(second.inward_share, _DIGITS),
        "taken_before": second.taken_before,
        "counted": second.counted,
    }


def _second_from(value: Mapping[str, Any] | None) -> FoundSecond | None:
    if value is None:
        return None
    radii = tuple(None if r is None else float(r) for r in value["radius_px"])
    if len(radii) != 360:
        raise ValueError(f"the second edge has {len(radii)} entries instead of 360")
    before = value["taken_before"]
    return FoundSecond(
        radii,
        int(value["found_deg"]),
        float(value["inward_share"]),
        None if before is None else bool(before),
        bool(value["counted"]),
    )


def _axis(one: Estimate | None) -> Document | None:
    if one is None:
        return None
    return {"value": one.value, "sd": one.sd, "origin": one.origin}


def _axis_from(value: Mapping[str, Any] | None) -> Estimate | None:
    if value is None:
        return None
    return Estimate(float(value["value"]), float(value["sd"]), str(value["origin"]))


def _rim(value: Mapping[str, Any] | None) -> FoundRim | None:
    if value is None:
        return None
    covariance = tuple(tuple(float(one) for one in row) for row in value["covariance_px2"])
    if len(covariance) != 5 or any(len(row) != 5 for row in covariance):
        raise ValueError("the covariance of a rim is 5 by 5")
    return FoundRim(_ellipse_from(value["ellipse_px"]), covariance)


def _opening(value: Mapping[str, Any] | None) -> FoundOpening | None:
    if value is None:
        return None
    radii = tuple(float(radius) for radius in value["radius_px"])
    if len(radii) != 360:
        raise ValueError(f"an edge has {len(radii)} radii instead of 360")
    place = value.get("place_sd_px")
    return FoundOpening(radii, float(value["sd_px"]), None if place is None else float(place))


def _limbus(value: Mapping[str, Any] | None) -> FoundLimbus | None:
    if value is None:
        return None
    return FoundLimbus(
        _ellipse_from(value["ellipse_px"]),
        float(value["radius_px"]),
        float(value["centre_sd_px"]),
        int(value["seen_deg"]),
    )


def _flags(text: str) -> tuple[bool, ...]:
    if len(text) != 360 or set(text) - {"0", "1"}:
        raise ValueError("flags by direction are 360 of 0 and 1")
    return tuple(one == "1" for one in text)


def _pair(value: Any) -> tuple[float, float]:
    u, v = value
    return float(u), float(v)


def _rounded(values: tuple[float, ...], digits: int = _PIXEL_DIGITS) -> list[float | None]:
    return [finite(value, digits) for value in values]


def _ellipse(one: EllipsePx) -> Document:
    values = {"cx": one.cx, "cy": one.cy, "a": one.a, "b": one.b, "angle_deg": one.angle_deg}
    return {name: finite(value, _PIXEL_DIGITS) for name, value in values.items()}


def _ellipse_from(value: Mapping[str, Any]) -> EllipsePx:
    return EllipsePx(*(float(value[name]) for name in ("cx", "cy", "a", "b", "angle_deg")))
