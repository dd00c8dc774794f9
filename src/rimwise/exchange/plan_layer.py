"""A plan's JSON where a case sheet is asked for: what was planned, and what it was planned from."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rimwise.records.placement import PlannedOpening
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import examiner_from_nasal_superior

PLAN_SCHEMA = "rimwise.plan/1"
_MOST_BYTES = 5_000_000


def read_plan_values(path: Path) -> dict[str, Any]:
    """Which keys of a case sheet does the plan in this file give?

    Parameters
    ----------
    path : path
        What ``plan --json`` wrote, of one eye.

    Raises
    ------
    WrongInput
        It cannot be read, or holds no plan or several.
    """
    wrong = f"{path.name} holds no plan; give a case sheet, or what rimwise plan --json wrote"
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise WrongInput(wrong)
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise WrongInput(f"there is no file {path}; check the name and the folder") from None
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); give a plan") from None
    except (ValueError, RecursionError):
        raise WrongInput(wrong) from None
    results = document.get("results") if isinstance(document, dict) else None
    plans = [
        one for one in results or () if isinstance(one, dict) and one.get("schema") == PLAN_SCHEMA
    ]
    if not plans:
        raise WrongInput(wrong)
    if len(plans) > 1:
        raise WrongInput(f"{path.name} holds {len(plans)} plans, and one eye is asked for")
    try:
        return plan_values(plans[0])
    except (AttributeError, KeyError, TypeError):
        raise WrongInput(f"{path.name} holds a damaged plan; write it again") from None


def planned_opening(plan: Mapping[str, Any]) -> PlannedOpening:
    """Which opening does one plan mean, from where the optic is expected to rest?

    Raises
    ------
    WrongInput
        The plan was refused, chose no centre or found no size.
    """
    centre, diameter = plan["opening"].get("centre"), plan["opening"].get("diameter_mm")
    if centre is None or diameter is None:
        raise WrongInput(
            f"the plan of {plan.get('code')} has no size about one centre, so there is no edge to "
            "place an optic behind; plan with --centre and --diameter-mm"
        )
    chosen, axis, side = plan["by_centre"][centre], plan["by_centre"]["visual_axis"], plan["side"]
    mean, law = _xy(chosen["opening_from_optic"]["mean"]), chosen["opening_from_optic"]["sd_mm"]
    nasal, superior = plan["spread"]["opening_from_target_bias_mm"]
    bias = examiner_from_nasal_superior(nasal, superior, side)
    target, visual = _xy(chosen["target_from_limbus"]), _xy(axis["target_from_limbus"])
    # The optic rests so far from the target as the opening from the optic, but for the hand's bias.
    x, y = (visual[k] - target[k] - bias[k] + mean[k] for k in (0, 1))
    return PlannedOpening(
        str(plan["code"]),
        side,
        plan["optic_diameter_mm"],
        diameter,
        mean,
        (law["nasal"], law["superior"]),
        (x, y),
        axis["place_sd_mm"],
        chosen["p_complete"],
    )


def _xy(vector: Mapping[str, float]) -> tuple[float, float]:
    return vector["x_mm"], vector["y_mm"]


def plan_values(plan: Mapping[str, Any]) -> dict[str, Any]:
    """Which keys of a case sheet does one plan give? Places from priors are left out.

    Parameters
    ----------
    plan : mapping
        ``rimwise.plan/1``.

    Examples
    --------
    >>> at = {"target_from_limbus": {"x_mm": 0.1, "y_mm": 0.0}, "place_sd_mm": 0.05}
    >>> told = plan_values({"opening": {"centre": "lens", "diameter_mm": 5.2},
    ...                     "by_centre": {"lens": at, "limbus": at}})
    >>> told["opening"], told["centres"]
    ({'centre': 'lens', 'diameter_mm': 5.2}, {'lens_mm': [0.1, 0.0], 'sd_mm': 0.05})
    """
    plain = ("code", "side", "corneal_surgery")
    values: dict[str, Any] = {name: plan[name] for name in plain if plan.get(name) is not None}
    if plan.get("optic_diameter_mm") is not None:
        values["implant"] = {"optic_diameter_mm": plan["optic_diameter_mm"]}
    wish = ("centre", "diameter_mm")
    opening = {name: plan["opening"][name] for name in wish if plan["opening"].get(name)}
    if opening:
        values["opening"] = opening
    measured = {
        name: one
        for name, one in plan.get("by_centre", {}).items()
        if name != "limbus" and one.get("place_sd_mm") is not None
    }
    if measured:
        places = {name: one["target_from_limbus"] for name, one in measured.items()}
        values["centres"] = {f"{name}_mm": [at["x_mm"], at["y_mm"]] for name, at in places.items()}
        values["centres"]["sd_mm"] = max(one["place_sd_mm"] for one in measured.values())
    return values
