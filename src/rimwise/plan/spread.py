"""Whose hand the plan is for."""

from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet, Spread, Technique

_MADE = {"manual": "torn by hand", "guided": "made by an instrument or along a projected ring"}


def prior_spread(technique: Technique = "manual") -> tuple[Spread, tuple[Assumption, ...]]:
    """Which spread stands in where neither the sheet nor an audit knows the surgeon's own?

    Where the sheet names no technique that of an opening torn by hand: the wider of the two, so
    that nothing is promised that only an instrument could keep.

    Examples
    --------
    >>> spread, assumptions = prior_spread()
    >>> spread.opening_from_target_sd_mm, spread.diameter_sd_mm, len(assumptions)
    ((0.2, 0.2), 0.25, 3)
    >>> prior_spread("guided")[0].diameter_sd_mm
    0.1
    """
    centring = published_value("spreads", f"{technique}_centring")
    diameter = published_value("spreads", f"{technique}_diameter")
    rest = published_value("spreads", "optic_from_rest")
    pair = (centring.sd or 0.0, centring.sd or 0.0)
    spread = Spread(
        opening_from_target_bias_mm=(centring.value, centring.value),
        opening_from_target_sd_mm=pair,
        diameter_bias_mm=diameter.value,
        diameter_sd_mm=diameter.sd or 0.0,
        optic_from_rest_sd_mm=(rest.sd or 0.0, rest.sd or 0.0),
        origin=f"prior for an opening {_MADE[technique]}; {centring.source.status}",
    )
    return spread, (
        Assumption.of("surgeon's centring, each component", centring),
        Assumption.of("surgeon's diameter", diameter),
        Assumption.of("optic from its resting place, each component", rest),
    )


def spread_for(
    case: CaseSheet, default: Spread | None
) -> tuple[Spread, tuple[Assumption, ...], bool]:
    """Which spread is this plan for, what does it assume, and is it the surgeon's own?

    Authority: the case sheet, then the casebook's (``default``), then the prior.

    Examples
    --------
    >>> spread_for(CaseSheet("E-1", "right", "none"), None)[2]
    False
    """
    own = case.spread if case.spread is not None else default
    if own is not None:
        return own, (), True
    spread, assumptions = prior_spread(case.opening.technique)
    return spread, assumptions, False
