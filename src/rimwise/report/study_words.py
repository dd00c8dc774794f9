"""A repeatability study in words: rows of a table, and a sentence for the methods section."""

from collections.abc import Sequence

from rimwise.records.study import UNITS, StudyOfNumber
from rimwise.report.words import Row

NAMES = {
    "least_cover_mm": "least cover (capsule overlap)",
    "mean_cover_mm": "mean cover",
    "equivalent_diameter_mm": "opening (capsulotomy) diameter",
    "area_mm2": "opening area",
    "opening_from_optic_nasal_mm": "opening from optic, nasal",
    "opening_from_optic_superior_mm": "opening from optic, superior",
}


def _span(low: float, high: float, digits: int = 3) -> str:
    return f"{low:.{digits}f} to {high:.{digits}f}".replace("-", "−")


def study_rows(study: Sequence[StudyOfNumber]) -> tuple[Row, ...]:
    """Which rows does the table of a study have? Intervals are of 95 % confidence.

    Examples
    --------
    >>> study_rows(())
    ()
    """
    rows = []
    for one in study:
        unit, head = UNITS[one.name], f"{NAMES[one.name]}, {one.method}"
        if one.repeatability is not None:
            within, limit = one.repeatability.within_sd, one.repeatability.limit
            eyes = f"{one.repeatability.subjects} eyes, {one.repeatability.repeats} measurements"
            rows.append(
                Row(f"{head}: within-subject SD", f"{within.value:.3f} {unit}",
                    f"{_span(within.low, within.high)}; {eyes}; {one.eyes_needed} fix it to 20 %")
            )  # fmt: skip
            rows.append(
                Row(f"{head}: repeatability", f"{limit.value:.3f} {unit}",
                    f"{_span(limit.low, limit.high)}; 1.96·√2·Sw")
            )  # fmt: skip
        if one.reliability is not None:
            icc = one.reliability.one
            rows.append(Row(f"{head}: ICC(1,1)", f"{icc.value:.3f}", _span(icc.low, icc.high)))
        for pair in one.agreements:
            limits = pair.limits
            ends = f"{_span(limits.lower.low, limits.lower.high)} and "
            ends += _span(limits.upper.low, limits.upper.high)
            rows.append(
                Row(f"{NAMES[one.name]}: {pair.first} minus {pair.second}",
                    f"{limits.mean.value:.3f} {unit}".replace("-", "−"),
                    f"limits of agreement {_span(limits.lower.value, limits.upper.value)}, exact "
                    f"intervals {ends}; {limits.n} eyes")
            )  # fmt: skip
    return tuple(rows)


def methods_sentence(study: Sequence[StudyOfNumber]) -> str:
    """Which sentences may stand in the methods section of a paper?

    Examples
    --------
    >>> methods_sentence(())
    ''
    """
    parts = []
    for one in study:
        if one.repeatability is None:
            continue
        told, unit = one.repeatability, UNITS[one.name]
        parts.append(
            f"Repeatability (1.96·√2·Sw) of {NAMES[one.name]} by {one.method} was "
            f"{told.limit.value:.3f} {unit} (95 % CI {_span(told.limit.low, told.limit.high)}; "
            f"{told.subjects} eyes, {told.repeats} measurements)."
        )
    for one in study:
        for pair in one.agreements:
            limits = pair.limits
            parts.append(
                f"For {NAMES[one.name]}, {pair.first} minus {pair.second} was "
                f"{limits.mean.value:.3f} {UNITS[one.name]} with 95 % limits of agreement "
                f"{_span(limits.lower.value, limits.upper.value)} ({limits.n} eyes; exact "
                f"intervals of the limits by the non-central t law).".replace(" -", " −")
            )
    return " ".join(parts)
