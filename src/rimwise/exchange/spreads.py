"""A surgeon's own spread as ``rimwise.spread/1``: written by audit, taken by plan."""

import json
from pathlib import Path
from typing import Any

from rimwise.audit.spread import OwnComponent, OwnSpread
from rimwise.records.case import Spread
from rimwise.terms.errors import WrongInput

SPREAD_SCHEMA = "rimwise.spread/1"


def _component(one: OwnComponent) -> dict[str, Any]:
    return {
        "bias": one.bias,
        "bias_sd": one.bias_sd,
        "sd": one.sd,
        "seen_sd": one.seen_sd,
        "measurement_sd": one.measurement_sd,
        "from_published": one.shrunk,
        "eyes": one.eyes,
    }


def spread_document(own: OwnSpread) -> dict[str, Any]:
    """How is an own spread written? (mm; [spread] holds the keys of the case sheet)"""
    spread = own.spread()
    return {
        "schema": SPREAD_SCHEMA,
        "technique": own.technique,
        "eyes": own.eyes,
        "spread": {
            "opening_from_target_bias_mm": list(spread.opening_from_target_bias_mm),
            "opening_from_target_sd_mm": list(spread.opening_from_target_sd_mm),
            "diameter_bias_mm": spread.diameter_bias_mm,
            "diameter_sd_mm": spread.diameter_sd_mm,
            "optic_from_rest_sd_mm": list(spread.optic_from_rest_sd_mm),
            "optic_rest": spread.optic_rest,
        },
        "opening_from_target": {
            "nasal": _component(own.nasal),
            "superior": _component(own.superior),
        },
        "diameter": _component(own.diameter),
        "optic_from_rest": None
        if own.rest is None
        else {"nasal": _component(own.rest[0]), "superior": _component(own.rest[1])},
        "opening_from_visual_axis": None
        if own.visual_axis is None
        else {
            "nasal": _component(own.visual_axis[0]),
            "superior": _component(own.visual_axis[1]),
        },
        "prior": own.prior,
        "notes": list(own.notes),
    }


def read_spread(path: Path) -> Spread:
    """Which spread does this file hold?

    Raises
    ------
    WrongInput
        It cannot be read or is no spread that an audit wrote.
    """
    wrong = f"{path} is no spread that rimwise audit --spread wrote"
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give a spread file") from None
    except (ValueError, RecursionError):
        raise WrongInput(wrong) from None
    results = document.get("results") if isinstance(document, dict) else None
    entry = results[0] if isinstance(results, list) and results else None
    if not isinstance(entry, dict) or entry.get("schema") != SPREAD_SCHEMA:
        raise WrongInput(wrong)
    try:
        told = entry["spread"]
        return Spread(
            opening_from_target_bias_mm=_pair(told["opening_from_target_bias_mm"]),
            opening_from_target_sd_mm=_pair(told["opening_from_target_sd_mm"], least=0.0),
            diameter_bias_mm=_number(told["diameter_bias_mm"]),
            diameter_sd_mm=_number(told["diameter_sd_mm"], 0.0),
            optic_from_rest_sd_mm=_pair(told["optic_from_rest_sd_mm"], least=0.0),
            optic_rest="opening" if told.get("optic_rest") == "opening" else "lens",
            origin=f"own series of {int(entry['eyes'])} eyes, {str(entry['technique'])[:80]}",
        )
    except (KeyError, TypeError, ValueError):
        raise WrongInput(wrong) from None


def _number(cell: object, least: float = -2.0) -> float:
    value = float(str(cell))
    if not least <= value <= 2.0:
        raise ValueError(cell)
    return value


def _pair(cell: object, least: float = -2.0) -> tuple[float, float]:
    if not isinstance(cell, list) or len(cell) != 2:
        raise ValueError(cell)
    return _number(cell[0], least), _number(cell[1], least)
