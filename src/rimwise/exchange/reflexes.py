"""Reflexes of a photograph and the implant's tilt as JSON, and back."""

from collections.abc import Mapping
from typing import Any

from rimwise.exchange.writing import finite
from rimwise.records.implant_reflexes import ImplantReflexes, MirrorName, MirrorPlace
from rimwise.terms.estimate import Estimate

_DIGITS = 6
_PIXEL_DIGITS = 4
_MIRRORS: tuple[MirrorName, ...] = ("P1", "P4")

Document = dict[str, Any]
Pair = tuple[Estimate, Estimate]


def reflexes_document(seen: ImplantReflexes | None) -> Document | None:
    """How are the reflexes written? Places in stored pixels, in the sheet's lamp order.

    Examples
    --------
    >>> reflexes_document(ImplantReflexes({"P4": None}))["P4"] is None
    True
    """
    if seen is None:
        return None
    turned = _pair(seen.eye_rotation_deg)
    if turned is not None:
        turned |= {"axis": "corneal axis from camera axis", "torsion": None}
    return {
        **{name: _mirror(seen.mirrors.get(name)) for name in _MIRRORS},
        "eye_rotation_deg": turned,
    }


def tilt_document(seen: ImplantReflexes | None) -> Document | None:
    """How is the implant's tilt written?

    Examples
    --------
    >>> tilt_document(None) is None
    True
    """
    tilt = None if seen is None else _pair(seen.lens_tilt_deg)
    return None if tilt is None else tilt | {"from": "corneal axis"}


def reflexes_from(
    value: Mapping[str, Any] | None, tilt: Mapping[str, Any] | None
) -> ImplantReflexes | None:
    """Which reflexes and which tilt do these two documents hold?

    Examples
    --------
    >>> reflexes_from(None, None) is None
    True
    """
    if value is None:
        return None
    return ImplantReflexes(
        {name: _mirror_from(value[name]) for name in _MIRRORS},
        _pair_from(tilt),
        _pair_from(value["eye_rotation_deg"]),
    )


def _mirror(one: MirrorPlace | None) -> Document | None:
    if one is None:
        return None
    return {
        "points_px": [None if p is None else _place(p) for p in one.points_px],
        "sd_px": finite(one.sd_px, _PIXEL_DIGITS),
        "axial_px": _place(one.axial_px),
        "axial_sd_px": finite(one.axial_sd_px, _PIXEL_DIGITS),
        "moves_px_per_rad": finite(one.moves_px_per_rad, _PIXEL_DIGITS),
    }


def _mirror_from(value: Mapping[str, Any] | None) -> MirrorPlace | None:
    if value is None:
        return None
    return MirrorPlace(
        tuple(None if p is None else _place_from(p) for p in value["points_px"]),
        float(value["sd_px"]),
        _place_from(value["axial_px"]),
        float(value["axial_sd_px"]),
        float(value["moves_px_per_rad"]),
    )


def _place(place: tuple[float, float]) -> list[float | None]:
    return [finite(part, _PIXEL_DIGITS) for part in place]


def _place_from(value: Any) -> tuple[float, float]:
    u, v = value
    return float(u), float(v)


def _pair(pair: Pair | None) -> Document | None:
    if pair is None:
        return None
    return {
        axis: {"value": finite(one.value, _DIGITS), "sd": finite(one.sd, _DIGITS), "unit": "deg"}
        for axis, one in zip(("x", "y"), pair, strict=True)
    }


def _pair_from(value: Mapping[str, Any] | None) -> Pair | None:
    if value is None:
        return None
    x, y = (Estimate(float(value[k]["value"]), float(value[k]["sd"])) for k in ("x", "y"))
    return x, y
