"""A budget of ± as part of ``rimwise.cover/1``, and back."""

from collections.abc import Mapping
from typing import Any, cast, get_args

from rimwise.exchange.writing import finite
from rimwise.records.cover_budget import CoverBudget, NumberBudget, Source

_DIGITS = 6

Document = dict[str, Any]


def budget_document(budget: CoverBudget | None) -> Document | None:
    """How is a budget written, or null where none was asked for?

    Examples
    --------
    >>> budget_document(CoverBudget((), {}, {}))
    {'numbers': {}, 'width_sd_mm': {}, 'alike': {}}
    """
    if budget is None:
        return None
    return {
        "numbers": {
            number.name: {
                "sd": finite(number.sd, _DIGITS),
                "unit": number.unit,
                "dominant": number.dominant,
                "parts": {source: finite(sd, _DIGITS) for source, sd in number.parts},
            }
            for number in budget.numbers
        },
        "width_sd_mm": {
            source: [finite(sd, _DIGITS) for sd in row]
            for source, row in budget.width_sd_mm.items()
        },
        "alike": {source: finite(share, _DIGITS) for source, share in budget.alike.items()},
    }


def budget_from(value: Mapping[str, Any] | None) -> CoverBudget | None:
    """Which budget does this part of a document hold?

    Raises
    ------
    ValueError, KeyError, TypeError
        It is damaged.
    """
    if value is None:
        return None
    numbers = tuple(
        NumberBudget(
            str(name),
            str(one["unit"]),
            float(one["sd"]),
            tuple((_source(source), float(sd)) for source, sd in one["parts"].items()),
        )
        for name, one in value["numbers"].items()
    )
    if not all(number.parts for number in numbers):
        raise ValueError("a budget without parts")
    return CoverBudget(
        numbers,
        {
            _source(source): tuple(float(sd) for sd in row)
            for source, row in value["width_sd_mm"].items()
        },
        {_source(source): float(share) for source, share in value["alike"].items()},
    )


def _source(name: str) -> Source:
    if name not in get_args(Source):
        raise ValueError(f"{name} is no source of error")
    return cast("Source", name)
