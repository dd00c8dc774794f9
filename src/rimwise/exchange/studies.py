"""A repeatability study as ``rimwise.study/1``, and as rows of a table."""

from collections.abc import Sequence
from typing import Any

from rimwise.exchange.writing import finite
from rimwise.records.study import UNITS, StudyOfNumber
from rimwise.stats.intervals import Interval

STUDY_SCHEMA = "rimwise.study/1"
STUDY_COLUMNS = ("number", "method", "against", "statistic", "value", "low", "high", "unit", "eyes")
_DIGITS = 6

Row = tuple[str, str, str, str, float | None, float | None, float | None, str, int]


def study_document(
    source: str, numbers: Sequence[StudyOfNumber], left_out: Sequence[str], sentence: str
) -> dict[str, Any]:
    """How is a study written: every statistic with its 95 % interval, and the sentence?

    Examples
    --------
    >>> study_document("study.csv", (), (), "")["statistics"]
    []
    """
    rows = [dict(zip(STUDY_COLUMNS, row, strict=True)) for row in study_table(numbers)]
    return {
        "schema": STUDY_SCHEMA,
        "source": source,
        "statistics": rows,
        "eyes_needed": [
            {"number": one.name, "method": one.method, "eyes": one.eyes_needed}
            for one in numbers
            if one.eyes_needed is not None
        ],
        "left_out": list(left_out),
        "methods_sentence": sentence,
    }


def study_table(numbers: Sequence[StudyOfNumber]) -> list[Row]:
    """Which rows has the table of a study, one a statistic?

    Examples
    --------
    >>> study_table(())
    []
    """
    rows: list[Row] = []
    for one in numbers:
        unit = UNITS[one.name]
        if one.repeatability is not None:
            told = one.repeatability
            for name, value in (
                ("within-subject-sd", told.within_sd),
                ("repeatability", told.limit),
            ):
                rows.append(_row(one, "", name, value, unit, told.subjects))
        if one.reliability is not None:
            icc = one.reliability
            for name, value in (("icc-1", icc.one), ("icc-2", icc.two), ("icc-3", icc.three)):
                rows.append(_row(one, "", name, value, "1", icc.subjects))
        for pair in one.agreements:
            limits = pair.limits
            for name, value in (
                ("mean-difference", limits.mean),
                ("lower-limit", limits.lower),
                ("upper-limit", limits.upper),
            ):
                rows.append(_row(one, pair.second, name, value, unit, limits.n))
    return rows


def _row(one: StudyOfNumber, against: str, name: str, value: Interval, unit: str, eyes: int) -> Row:
    ends = (finite(end, _DIGITS) for end in (value.value, value.low, value.high))
    middle, low, high = ends
    return one.name, one.method, against, name, middle, low, high, unit, eyes
