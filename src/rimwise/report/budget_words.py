"""A budget of ± as rows: which source dominates each number, and each direction."""

from rimwise.measure.second_edge import why_taken
from rimwise.records.cover import CoverFinding
from rimwise.records.cover_budget import NumberBudget, Source
from rimwise.report.words import Row, number_words, place_words
from rimwise.terms.frames import direction_deg

SOURCE_WORDS: dict[Source, str] = {
    "opening-edge": "finding the opening's edge",
    "optic-edge": "finding the optic's edge",
    "hidden-part": "the part of the edge not seen",
    "optic-diameter": "the optic's diameter (scale)",
    "magnification": "unequal magnification",
    "tilt": "tilt and direction of view",
    "plane-gap": "gap between the two planes",
}

NUMBER_WORDS = {
    "least_cover_mm": ("Least cover (capsule overlap)", "mm", 3),
    "mean_cover_mm": ("Mean cover", "mm", 3),
    "area_percent": ("Optic area covered", "%", 2),
    "bare_total_deg": ("Bare in all", "°", 1),
    "equivalent_diameter_mm": ("Opening (capsulotomy) diameter", "mm", 3),
    "area_mm2": ("Opening, area", "mm²", 3),
    "circularity": ("Circularity", "", 4),
    "opening_from_optic_nasal_mm": ("Opening from optic, nasal", "mm", 3),
    "opening_from_optic_superior_mm": ("Opening from optic, superior", "mm", 3),
}
_WORTH_SAYING = 0.2  # of the ± in all: less than 2 % of the variance
_SHARED = 0.9  # of the whole, left by every source alone


def budget_rows(finding: CoverFinding) -> tuple[Row, ...]:
    """Which rows show where each number's ± comes from, the largest source first?

    Examples
    --------
    >>> budget_rows(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    ()
    """
    if finding.budget is None:
        return ()
    return tuple(_number_row(number) for number in finding.budget.numbers)


def curve_rows(finding: CoverFinding) -> tuple[Row, ...]:
    """Which curves were compared for the opening's edge, and why did the choice fall?

    Examples
    --------
    >>> curve_rows(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    ()
    """
    curves = finding.curves
    if curves is None or curves.opening is None or finding.opening is None:
        return ()
    taken, second = f"stands out over {finding.opening.seen_deg}°", curves.second
    if finding.correction is not None:
        return (Row("Taken for the opening's edge", taken, "as a reader corrected it"),)
    if second is None:
        note = "no other closed curve within the pupil stands out clear of the optic's rim"
        return (Row("Taken for the opening's edge", taken, note),)
    radius_mm = 0.0 if finding.optic is None else 0.5 * finding.optic.diameter_mm
    away_mm, side = abs(second.inward_share) * radius_mm, second.inward_share > 0.0
    other = f"stands out over {second.found_deg}°, {away_mm:.2f} mm "
    return (
        Row("Taken for the opening's edge", taken, why_taken(second)),
        Row("Runner-up, not taken", other + ("inside" if side else "outside"),
            "a second edge" if second.counted else "folds, haptics or the rim's own lines"),
    )  # fmt: skip


def _number_row(number: NumberBudget) -> Row:
    label, unit, digits = NUMBER_WORDS[number.name]
    gap = "" if unit in {"°", ""} else " "
    total = f"± {number.sd:.{digits}f}{gap}{unit}"
    if number.sd <= 0.0:
        return Row(label, total, "no source moves it")
    if min(sd for _, sd in number.parts) >= _SHARED * number.sd:
        # What every source alone leaves alike is none of theirs, but the curve's own convention.
        return Row(label, total, "where shape ends and the edge's roughness begins; no source adds")
    told = [
        f"{SOURCE_WORDS[source]} {sd:.{digits}f}"
        for source, sd in number.parts
        if sd >= _WORTH_SAYING * number.sd
    ]
    return Row(label, total, "; ".join(told) or "several sources together, none alone")


def direction_rows(finding: CoverFinding) -> tuple[Row, ...]:
    """Which rows show the cover at each clock hour with its ± and what dominates it?

    Examples
    --------
    >>> direction_rows(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    ()
    """
    budget, cover = finding.budget, finding.cover
    if budget is None or cover is None:
        return ()
    rows = []
    for hour in (12, *range(1, 12)):
        at = round(direction_deg(90.0 - 30.0 * hour)) % 360
        width, sd = cover.width_mm[at], cover.sd_mm[at]
        label = place_words(float(at), finding.side)
        if width is None:
            rows.append(Row(label, "not seen"))
            continue
        parts = sorted(((row[at], source) for source, row in budget.width_sd_mm.items()))
        note = "; ".join(f"{SOURCE_WORDS[source]} {part:.3f}" for part, source in parts[:-3:-1])
        rows.append(Row(label, number_words(width, sd, "mm", 3), note))
    return tuple(rows)
