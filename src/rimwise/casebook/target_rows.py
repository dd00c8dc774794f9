"""How far an opening of the casebook lies from where it was meant to be."""

import math
from collections.abc import Mapping
from typing import Any

from rimwise.terms.frames import Side, nasal_superior

Vector = tuple[float, float, float]  # nasal, superior, sd of each; mm
_KEYS = {"visual_axis": "visual_axis_mm", "lens": "lens_mm"}


def target_columns(
    case: Mapping[str, Any], cover: Mapping[str, Any], side: Side
) -> dict[str, float | str]:
    """Which columns of an audit do case sheet and measured cover of one eye give together?

    Parameters
    ----------
    case : mapping
        The case sheet: ``opening.centre`` says what was aimed at, ``centres`` where it lies from
        the limbus centre.
    cover : mapping
        ``rimwise.cover/1``.
    side : "right" or "left"

    Returns
    -------
    dict
        Nothing for a target that the sheets do not place.

    Examples
    --------
    >>> one = {"nasal_mm": {"value": 0.1, "sd": 0.02}, "superior_mm": {"value": 0.0, "sd": 0.02}}
    >>> case = {"opening": {"centre": "pupil"}}
    >>> pairs = {"decentration": {"opening-from-optic": one, "optic-from-pupil": one}}
    >>> target_columns(case, pairs, "left")["opening_from_target_nasal_mm"]
    0.2
    """
    pairs = cover.get("decentration") or {}
    opening = _vector(pairs.get("opening-from-optic"))
    row: dict[str, float | str] = {}
    if opening is None:
        return row
    limbus, pupil, reflex = (
        _vector(pairs.get(f"optic-from-{name}")) for name in ("limbus", "pupil", "P1")
    )
    aimed = (case.get("opening") or {}).get("centre")
    place = (0.0, 0.0, 0.0) if aimed == "limbus" else _place(case, str(aimed), side)
    made = None
    if aimed == "pupil" and pupil is not None:
        made = _added(opening, pupil)
    elif place is not None and limbus is not None:
        made = _added(_added(opening, limbus), _opposite(place))
    if made is not None:
        row |= _columns("opening_from_target", made) | {"centre_sd_mm": made[2]}
    lens = _place(case, "lens", side)
    if lens is not None and limbus is not None:
        row |= _columns("optic_from_rest", _added(limbus, _opposite(lens)))
    if reflex is not None:  # told with confirmed fixation alone
        row |= _columns("opening_from_visual_axis", _added(opening, reflex))
        row["fixation"] = "confirmed"
    return row


def _columns(pair: str, vector: Vector) -> dict[str, float | str]:
    return {f"{pair}_nasal_mm": vector[0], f"{pair}_superior_mm": vector[1]}


def _vector(told: object) -> Vector | None:
    if not isinstance(told, Mapping):
        return None
    ways = [one for key in ("nasal_mm", "superior_mm") if isinstance(one := told.get(key), Mapping)]
    if len(ways) < 2 or any(one.get("value") is None for one in ways):
        return None
    sds = [float(one.get("sd") or 0.0) for one in ways]
    nasal, superior = (float(one["value"]) for one in ways)
    return nasal, superior, math.hypot(*sds) / math.sqrt(2.0)


def _place(case: Mapping[str, Any], aimed: str, side: Side) -> Vector | None:
    """Where a centre lies from the limbus centre, as the case sheet tells."""
    centres = case.get("centres") or {}
    told = centres.get(_KEYS.get(aimed, ""))
    if told is None or len(told) != 2:
        return None
    x, y = nasal_superior(float(told[0]), float(told[1]), side)
    return x, y, float(centres.get("sd_mm") or 0.0)


def _added(one: Vector, other: Vector) -> Vector:
    return one[0] + other[0], one[1] + other[1], math.hypot(one[2], other[2])


def _opposite(one: Vector) -> Vector:
    return -one[0], -one[1], one[2]
