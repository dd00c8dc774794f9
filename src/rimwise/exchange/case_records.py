"""From the checked, merged keys of a case sheet to the frozen record further in."""

from typing import Any

from rimwise.exchange.sheet_keys import CaseKeys, CaseLengthKeys
from rimwise.exchange.sheet_layers import Layer
from rimwise.plan.spread import prior_spread
from rimwise.records.case import (
    CaseLengths,
    CaseSheet,
    Centres,
    Goal,
    IncisionSheet,
    OpeningWish,
    PlannedImplant,
    Spread,
)
from rimwise.records.cover import Reason
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.picture import CorneaSheet
from rimwise.terms.errors import WrongInput

# What belongs to one eye: a clinic sheet that says otherwise is a mistake, not an authority.
OF_ONE_EYE = (
    "code",
    "side",
    "person",
    "age_years",
    "sex",
    "corneal_surgery",
    "risks",
    "reference",
    "cornea",
    "lengths",
    "centres",
)
SPREAD_NUMBERS = (
    "opening_from_target_bias_mm",
    "opening_from_target_sd_mm",
    "diameter_bias_mm",
    "diameter_sd_mm",
    "optic_from_rest_sd_mm",
)
NOT_CONSTANTS = (
    "optic_diameter_mm",
    "power_dpt",
    "cylinder_dpt",
    "axis_deg",
    "index",
    "spherical_aberration_um",
    "aberration_aperture_mm",
    "profile",
    "constants_source",
)


def case_part(layer: Layer) -> Layer:
    """What does a clinic's layer say about a case?"""
    values = {key: value for key, value in layer.values.items() if key in CaseKeys.model_fields}
    if "lengths" in values:
        same = CaseLengthKeys.model_fields
        values["lengths"] = {key: v for key, v in values["lengths"].items() if key in same}
    return Layer(layer.origin, values)


def planned_optic(layer: Layer) -> Layer:
    """Which optic does the clinic use, for a case sheet that names none?"""
    optic_mm = layer.values.get("optic_diameter_mm")
    return Layer(layer.origin, {"implant": {"optic_diameter_mm": optic_mm}} if optic_mm else {})


def contradictions(clinic: Layer, own: Layer) -> tuple[Reason, ...]:
    """What does the clinic's sheet say otherwise than the case's own, and outranks?

    Raises
    ------
    WrongInput
        The two disagree about the eye itself.
    """
    outranked = []
    for key, value in clinic.values.items():
        for name, upper, lower in _both(key, value, own.values.get(key)):
            if upper == lower:
                continue
            if key in OF_ONE_EYE:
                raise WrongInput(
                    f"{own.origin} and {clinic.origin} disagree about {name}, a fact of one eye; "
                    f"take it out of {clinic.origin}"
                )
            outranked.append(name)
    if not outranked:
        return ()
    sentence = f"{clinic.origin} outranks {own.origin} in {', '.join(outranked)}"
    return (Reason("clinic-outranks-case", sentence),)


def _both(key: str, upper: Any, lower: Any) -> list[tuple[str, Any, Any]]:
    if isinstance(upper, dict) and isinstance(lower, dict):
        shared = [name for name in upper if name in lower]
        return [(f"[{key}] {name}", upper[name], lower[name]) for name in shared]
    return [] if lower is None else [(key, upper, lower)]


def case_record(merged: dict[str, Any], name: str) -> tuple[CaseSheet, tuple[Reason, ...]]:
    """Which record do the merged keys of a case make, and what had to be filled in?

    Raises
    ------
    WrongInput
        The side, earlier corneal surgery or the optic's diameter is not stated.
    """
    for key, choices in (
        ("side", '"right" or "left"'),
        ("corneal_surgery", '"none", or what was done ("unknown" where nobody knows)'),
    ):
        if key not in merged:
            raise WrongInput(f"{name}: {key} is not stated and has no default; write {choices}")
    values = {key: value for key, value in merged.items() if key not in ("operation", "visit")}
    values["cornea"] = CorneaSheet(**values.get("cornea", {}))
    values["lengths"] = CaseLengths(**values.get("lengths", {}))
    values["goal"] = Goal(**values.get("goal", {}))
    values["opening"] = OpeningWish(**values.get("opening", {}))
    if "centres" in values:
        values["centres"] = Centres(**values["centres"])
    if "implant" in values:
        values["implant"] = _implant(values["implant"], name)
    if "incision" in values:
        values["incision"] = IncisionSheet(**values["incision"])
    notes: tuple[Reason, ...] = ()
    if "spread" in values:
        prior, _ = prior_spread(values["opening"].technique)
        _check_rest(values["spread"], values.get("risks", ()), name)
        values["spread"], notes = _spread(values["spread"], prior, name)
    return CaseSheet(**values), notes


def _implant(values: dict[str, Any], name: str) -> PlannedImplant:
    if "optic_diameter_mm" not in values:
        raise WrongInput(
            f"{name}: [implant] has no optic_diameter_mm, and a number from 4.5 to 7.5 mm is "
            "needed; take it from the implant's label"
        )
    constants = {key: value for key, value in values.items() if key not in NOT_CONSTANTS}
    plain = {key: value for key, value in values.items() if key in NOT_CONSTANTS}
    if "profile" in plain:
        plain["profile"] = ImplantProfile(**plain["profile"])
    return PlannedImplant(**plain, constants=constants)


def _check_rest(values: dict[str, Any], risks: tuple[str, ...], name: str) -> None:
    if "optic_from_rest_sd_mm" not in values and "weak-zonule" in risks:
        raise WrongInput(
            f"{name}: [spread] has no optic_from_rest_sd_mm, and the prior for it holds only where "
            "the zonule is firm; give it for such eyes"
        )


def _spread(values: dict[str, Any], prior: Spread, name: str) -> tuple[Spread, tuple[Reason, ...]]:
    """A surgeon's spread; what is left out comes from the published priors, and is said so."""
    missing = [key for key in SPREAD_NUMBERS if key not in values]
    filled = {key: getattr(prior, key) for key in missing}
    origin = f"{name}, priors for {', '.join(missing)}" if missing else name
    spread = Spread(**(filled | values), origin=origin)
    if not missing:
        return spread, ()
    sentence = f"{name}: [spread] leaves out {', '.join(missing)}; the {prior.origin} stands in"
    return spread, (Reason("spread-from-prior", sentence),)
