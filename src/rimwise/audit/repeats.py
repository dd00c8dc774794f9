"""Repeated measurements turned into repeatability, reliability and agreement of methods."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.records.study import UNITS, Agreement, StudyOfNumber
from rimwise.stats.agreement import repeatability, repeated_limits, subjects_needed
from rimwise.stats.correlation_within import IntraclassCorrelations, intraclass_correlations
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

FEWEST_EYES_IN_COMMON = 3


@dataclass(frozen=True, slots=True)
class Repeat:
    """One measurement of one eye: by which method (or reader), and its numbers."""

    eye: str
    method: str
    values: Mapping[str, float]


def study_of(repeats: Sequence[Repeat]) -> tuple[StudyOfNumber, ...]:
    """How well do these measurements repeat themselves, and do the methods agree?

    Parameters
    ----------
    repeats : sequence of Repeat
        All measurements; a number that one of them lacks is left out there.

    Returns
    -------
    tuple of StudyOfNumber
        One a number and method, in the order of ``UNITS`` and of first mention.

    Raises
    ------
    WrongInput
        No eye was measured twice, by one method or by two.

    Examples
    --------
    >>> rows = [("E-1", 0.30), ("E-1", 0.32), ("E-2", 0.51), ("E-2", 0.50)]
    >>> (one,) = study_of([Repeat(eye, "rimwise", {"least_cover_mm": mm}) for eye, mm in rows])
    >>> round(one.repeatability.within_sd.value, 4), one.eyes_needed
    (0.0112, 49)
    """
    methods = list(dict.fromkeys(one.method for one in repeats))
    found = []
    for name in UNITS:
        by_method = {method: _by_eye(repeats, method, name) for method in methods}
        found += [_one(name, method, by_method) for method in methods if by_method[method]]
    told = tuple(one for one in found if one.repeatability or one.agreements)
    if not told:
        raise WrongInput(
            "no eye in this table was measured twice; give repeated pictures of the same eyes, or "
            f"at least {FEWEST_EYES_IN_COMMON} eyes by two methods"
        )
    return told


def _by_eye(repeats: Sequence[Repeat], method: str, name: str) -> dict[str, list[float]]:
    eyes: dict[str, list[float]] = {}
    for one in repeats:
        if one.method == method and name in one.values:
            eyes.setdefault(one.eye, []).append(one.values[name])
    return eyes


def _one(name: str, method: str, by_method: dict[str, dict[str, list[float]]]) -> StudyOfNumber:
    eyes = by_method[method]
    often = [row for row in eyes.values() if len(row) >= 2]
    later = list(by_method)[list(by_method).index(method) + 1 :]
    pairs = [_agreement(method, other, eyes, by_method[other]) for other in later]
    return StudyOfNumber(
        name,
        method,
        repeatability(often) if often else None,
        _reliability(often),
        tuple(pair for pair in pairs if pair is not None),
        subjects_needed(min(len(row) for row in often)) if often else None,
    )


def _reliability(often: list[list[float]]) -> IntraclassCorrelations | None:
    if len(often) < 2 or len({len(row) for row in often}) != 1:
        return None
    table = np.array(often)
    # All eyes alike: no share of the scatter lies between them.
    return None if np.ptp(table.mean(axis=1)) == 0.0 else intraclass_correlations(table)


def _agreement(
    first: str, second: str, eyes: dict[str, list[float]], others: dict[str, list[float]]
) -> Agreement | None:
    both = [eye for eye in eyes if eye in others]
    if len(both) < FEWEST_EYES_IN_COMMON:
        return None
    limits = repeated_limits([eyes[eye] for eye in both], [others[eye] for eye in both])
    return Agreement(first, second, limits)


def paired_means(repeats: Sequence[Repeat], name: str, pair: Agreement) -> FloatArray:
    """Which points (eyes, 2) does a plot of two methods show: mean of both, and difference?

    Examples
    --------
    >>> rows = [Repeat("E-1", "a", {"area_mm2": 20.0}), Repeat("E-1", "b", {"area_mm2": 21.0})]
    >>> from rimwise.stats.agreement import limits_from_summary
    >>> pair = Agreement("a", "b", limits_from_summary(3, 0.0, 1.0))
    >>> paired_means(rows, "area_mm2", pair).tolist()
    [[20.5, -1.0]]
    """
    first, second = (_by_eye(repeats, method, name) for method in (pair.first, pair.second))
    means = [(np.mean(first[eye]), np.mean(second[eye])) for eye in first if eye in second]
    return np.array([(0.5 * (a + b), a - b) for a, b in means], dtype=np.float64)
