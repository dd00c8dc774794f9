"""A frame's finding as ``rimwise.frame/1``, a reference as ``rimwise.reference/1``."""

import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from rimwise.exchange.results import (
    DIGITS,
    PIXEL_DIGITS,
    Document,
    estimate_document,
    reasons_document,
)
from rimwise.exchange.writing import finite
from rimwise.picture.eye_strip import COLUMNS
from rimwise.records.cover import Reason
from rimwise.records.frame import (
    TARGETS,
    CornealMark,
    EyeReference,
    FrameFinding,
    OffsetFinding,
    Pair,
    Point,
    ReflexFinding,
    RingFinding,
    TargetFinding,
)
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

FRAME_SCHEMA = "rimwise.frame/1"
REFERENCE_SCHEMA = "rimwise.reference/1"
LARGEST_REFERENCE_BYTES = 2_000_000

FRAME_KEYS = (
    "schema",
    "picture",
    "side",
    "state",
    "status",
    "reasons",
    "reflexes",
    "pupil",
    "limbus",
    "scale",
    "eye_rotation_deg",
    "lens_tilt_deg",
    "lens_decentration_mm",
    "targets",
    "corneal_mark",
    "offset",
)


def frame_document(finding: FrameFinding) -> Document:
    """How is this finding written as ``rimwise.frame/1``?

    Raises
    ------
    ValueError
        The finding holds NaN or infinity.

    Examples
    --------
    >>> frame_document(FrameFinding("f.jpg", "left", "natural", "refused"))["schema"]
    'rimwise.frame/1'
    """
    turned = _pair(finding.eye_rotation_deg, "deg")
    if turned is not None:
        turned |= {"axis": "corneal axis from camera axis", "torsion": None}
    tilt = _pair(finding.lens_tilt_deg, "deg")
    if tilt is not None:
        tilt |= {"from": "corneal axis"}
    shift = _pair(finding.lens_decentration_mm, "mm")
    if shift is not None:
        shift |= {"pair": "lens pole from corneal axis"}
    scale = finding.scale
    return {
        "schema": FRAME_SCHEMA,
        "picture": finding.picture,
        "side": finding.side,
        "state": finding.state,
        "status": finding.status,
        "reasons": reasons_document(finding.reasons),
        "reflexes": {name: _reflex(one) for name, one in finding.reflexes.items()},
        "pupil": _ring(finding.pupil),
        "limbus": _ring(finding.limbus),
        "scale": None
        if scale is None
        else {
            "px_per_mm": estimate_document(scale.px_per_mm, "px/mm"),
            "plane": scale.plane,
            "from": scale.origin,
        },
        "eye_rotation_deg": turned,
        "lens_tilt_deg": tilt,
        "lens_decentration_mm": shift,
        "targets": {name: _target(finding.targets.get(name)) for name in TARGETS},
        "corneal_mark": _mark(finding.corneal_mark),
        "offset": _offset(finding.offset),
    }


def unread_frame_document(picture: str, reason: Reason) -> Document:
    """How is a frame written that could not even be looked at: refused, all else null?

    Examples
    --------
    >>> unread_frame_document("f.jpg", Reason("wrong-input", "No such file."))["status"]
    'refused'
    """
    return dict.fromkeys(FRAME_KEYS) | {
        "schema": FRAME_SCHEMA,
        "picture": picture,
        "status": "refused",
        "reasons": reasons_document((reason,)),
        "reflexes": {},
        "targets": {},
    }


def _pair(pair: Pair | None, unit: str) -> Document | None:
    if pair is None:
        return None
    return {"x": estimate_document(pair[0], unit), "y": estimate_document(pair[1], unit)}


def _point(point: Point | None) -> list[float | None] | None:
    return None if point is None else [finite(part, PIXEL_DIGITS) for part in point]


def _xy(point: Point | None) -> Document | None:
    if point is None:
        return None
    return {"x": finite(point[0], DIGITS), "y": finite(point[1], DIGITS)}


def _reflex(one: ReflexFinding | None) -> Document | None:
    if one is None:
        return None
    return {"points_px": [_point(point) for point in one.points_px], "sd_px": one.sd_px}


def _ring(ring: RingFinding | None) -> Document | None:
    if ring is None:
        return None
    ellipse = ring.ellipse_px
    return {
        "ellipse_px": {
            name: finite(getattr(ellipse, name), PIXEL_DIGITS)
            for name in ("cx", "cy", "a", "b", "angle_deg")
        },
        "sd_px": finite(ring.sd_px, PIXEL_DIGITS),
        "seen_deg": ring.seen_deg,
    }


def _target(target: TargetFinding | None) -> Document | None:
    if target is None:
        return None
    written: Document = {
        "px": _point(target.px),
        "from_lens_pole_mm": _pair(target.from_lens_pole_mm, "mm"),
    }
    if target.opening_ring_px is not None:
        written["opening_ring_px"] = [_point(point) for point in target.opening_ring_px]
    return written


def _mark(mark: CornealMark | None) -> Document | None:
    if mark is None:
        return None
    return {
        "target": mark.target,
        "centre_px": _point(mark.centre_px),
        "from_P1_mm": _xy(mark.from_p1_mm),
        "ring_on_cornea_mm": finite(mark.ring_on_cornea_mm, DIGITS),
        "shift_mm_per_deg": finite(mark.shift_mm_per_deg, DIGITS),
    }


def _offset(offset: OffsetFinding | None) -> Document | None:
    if offset is None:
        return None
    return {
        "P1_to_P4_mm": _pair(offset.p1_to_p4_mm, "mm"),
        "from_reference_mm": _xy(offset.from_reference_mm),
        "turn_deg": _pair(offset.turn_deg, "deg"),
        "turn_words": offset.turn_words,
        "rolled_deg": estimate_document(offset.rolled_deg, "deg"),
    }


def reference_document(reference: EyeReference) -> Document:
    """How is an eye's reference written as ``rimwise.reference/1``?

    Examples
    --------
    >>> reference_document(_EXAMPLE)["status"]
    'unverified'
    """
    return {
        "schema": REFERENCE_SCHEMA,
        "code": reference.code,
        "side": reference.side,
        "state": reference.state,
        "taken": reference.taken,
        "fixations": reference.fixations,
        "status": reference.status,
        "fixation": reference.fixation,
        "anaesthesia": reference.anaesthesia,
        "lamps": {
            "fixated": reference.lamp,
            "places_mm": [list(place) for place in reference.lamps_mm],
        },
        "set_up": {
            "superior_deg": reference.superior_deg,
            "working_distance_mm": reference.working_distance_mm,
            "px_per_mm": reference.px_per_mm,
        },
        "offset": {"P1_to_P4_mm": _pair(reference.offset_mm, "mm")},
        "visual_axis_deg": {
            **(_pair(reference.axis_deg, "deg") or {}),
            "from": "corneal axis",
        },
        "eye": {
            "parameters": list(reference.parameters),
            "mean": list(reference.mean),
            "covariance": [list(row) for row in reference.covariance],
            "around": list(reference.around),
        },
    }


def read_reference(path: Path) -> EyeReference:
    """Which reference does this file hold?

    Raises
    ------
    WrongInput
        The file cannot be read, or is no ``rimwise.reference/1``.
    """
    import json  # noqa: PLC0415

    try:
        if path.stat().st_size > LARGEST_REFERENCE_BYTES:
            raise WrongInput(
                f"{path.name} is larger than {LARGEST_REFERENCE_BYTES} bytes, and a reference is "
                "a few thousand; give the file that align --save-reference wrote"
            )
        told = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise WrongInput(
            f"there is no file {path.name}; give the one that align --save-reference wrote"
        ) from error
    except (OSError, ValueError) as error:
        raise WrongInput(
            f"{path.name} cannot be read as JSON ({type(error).__name__}); give the file that "
            "align --save-reference wrote"
        ) from error
    return reference_of(told, path.name)


def reference_of(told: Any, name: str) -> EyeReference:
    """Which reference does this document hold?

    Raises
    ------
    WrongInput
        It is of another schema, or a part is missing or no number.

    Examples
    --------
    >>> reference_of(reference_document(_EXAMPLE), "r.json") == _EXAMPLE
    True
    """
    if not isinstance(told, Mapping) or told.get("schema") != REFERENCE_SCHEMA:
        raise WrongInput(
            f'{name} is no "{REFERENCE_SCHEMA}"; give the file that align --save-reference wrote'
        )
    try:
        return _reference(told)
    except (KeyError, TypeError, ValueError) as error:
        raise WrongInput(
            f"{name} lacks a part of a reference, or holds another kind there ({error}); write it "
            "anew with align --save-reference"
        ) from error


def _reference(told: Mapping[str, Any]) -> EyeReference:
    if told["side"] not in ("right", "left") or told["status"] not in ("verified", "unverified"):
        raise ValueError("side or status")
    eye, set_up = told["eye"], told["set_up"]
    mean = tuple(_numbers(eye["mean"]))
    covariance = tuple(tuple(_numbers(row)) for row in eye["covariance"])
    names = tuple(str(one) for one in eye["parameters"])
    if not len(names) == len(mean) == len(covariance) or any(
        len(row) != len(names) for row in covariance
    ):
        raise ValueError("eye: sizes differ")
    offset = told["offset"]["P1_to_P4_mm"]
    axis = _read_pair(told["visual_axis_deg"])
    lamps = told["lamps"]
    return EyeReference(
        told["code"],
        told["side"],
        str(told["state"]),
        told["taken"],
        int(told["fixations"]),
        told["status"],
        told["fixation"],
        told["anaesthesia"],
        int(lamps["fixated"]),
        tuple((float(x), float(y)) for x, y in lamps["places_mm"]),
        float(set_up["superior_deg"]),
        set_up["working_distance_mm"],
        set_up["px_per_mm"],
        None if offset is None else _read_pair(offset),
        axis,
        names,
        mean,
        covariance,
        _around(eye.get("around", ())),
    )


def _around(rows: Any) -> tuple[str, ...]:
    """Return the rows of a strip; a reference of an older version has none."""
    told = tuple(str(row) for row in rows)
    if any(len(row) != COLUMNS or not set(row) <= set("0123456789.") for row in told):
        raise ValueError("eye.around: rows of another length, or other signs than digits")
    return told


def _numbers(values: Iterable[Any]) -> list[float]:
    numbers = [float(one) for one in values]
    if not all(math.isfinite(one) for one in numbers):
        raise ValueError("not finite")
    return numbers


def _read_pair(told: Mapping[str, Any]) -> Pair:
    x, y = (Estimate(float(told[k]["value"]), float(told[k]["sd"]), "fixation") for k in ("x", "y"))
    return x, y


_EXAMPLE = EyeReference(
    "E-1",
    "left",
    "natural",
    None,
    1,
    "unverified",
    "claimed",
    None,
    0,
    ((0.0, 0.0),),
    90.0,
    200.0,
    None,
    None,
    (Estimate(-5.0, 0.5, "fixation"), Estimate(1.0, 0.5, "fixation")),
    ("axis_x_rad", "axis_y_rad"),
    (-0.0874, 0.0175),
    ((1e-4, 0.0), (0.0, 1e-4)),
)
