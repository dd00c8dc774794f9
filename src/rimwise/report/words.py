"""Sentences and table rows for a finding, in the project's own words, explained at first use."""

import math
import re
from dataclasses import dataclass

from rimwise.measure.visibility import GRADE_WORDS, EdgeName, degrees_by_grade, visibility
from rimwise.records.cover import CoverFinding, LeastCover, VectorEstimate
from rimwise.report.reflex_words import SAID_IN_ITS_ROW, tilt_row, why_not
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, clock_hour, direction_words

STATUS_WORDS = {
    "measured": "Measured",
    "partial": "Measured in part",
    "refused": "Refused",
}

PAIR_WORDS = {
    "opening-from-optic": "Opening centroid from optic centre",
    "optic-from-pupil": "Optic centre from pupil centre",
    "optic-from-limbus": "Optic centre from limbus centre",
    "optic-from-P1": "Optic centre from P1 (reflex of the cornea's front)",
    "optic-from-P4": "Optic centre from P4 (reflex of the implant's back)",
}

EXPLANATIONS = (
    ("cover", "capsule overlap: the width of capsule lying over the optic, by direction"),
    ("bare", "where the opening's edge lies beyond the optic: cover is negative there"),
    ("opening", "capsulotomy: the round hole made in the front of the lens capsule"),
    ("optic", "the implant's round lens body"),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: what, how much with its ±, and what to know about it."""

    label: str
    value: str
    note: str = ""


def number_words(value: float, sd: float | None, unit: str, digits: int = 2) -> str:
    """How is a value with its standard deviation written?

    A digit is added where the sd would otherwise read as zero.

    Examples
    --------
    >>> number_words(5.2512, 0.021, "mm"), number_words(-0.1, 0.003, "mm")
    ('5.25 ± 0.02 mm', '−0.100 ± 0.003 mm')
    >>> number_words(3.0, None, "°", 0)
    '3°'
    """
    if sd is not None and 0.0 < sd < 0.5 * 10.0**-digits:
        digits += 1
    gap = "" if unit in {"°", ""} else " "
    text = f"{value:.{digits}f}".replace("-", "−")
    spread = "" if sd is None else f" ± {sd:.{digits}f}"
    return f"{text}{spread}{gap}{unit}"


def with_minus(text: str) -> str:
    """How does a sentence read with true minus signs before its numbers, and none before a zero?

    Examples
    --------
    >>> with_minus("E-1: -0.17 mm, 95 % between -0.25 and -0.10 mm")
    'E-1: −0.17 mm, 95 % between −0.25 and −0.10 mm'
    >>> with_minus("the least cover is -0.00 mm")
    'the least cover is 0.00 mm'
    """
    text = re.sub(r"(?<![\w-])-(?=0(?:\.0+)?(?![\d.]\d|\d))", "", text)
    return re.sub(r"(?<![\w-])-(?=\d)", "−", text)


def estimate_words(estimate: Estimate | None, unit: str, digits: int = 2) -> str:
    """How is an estimate written? Unknown reads "not measured".

    Examples
    --------
    >>> estimate_words(None, "mm")
    'not measured'
    """
    if estimate is None:
        return "not measured"
    return number_words(estimate.value, estimate.sd, unit, digits)


def place_words(at_deg: float, side: Side) -> str:
    """How is a direction told: degrees, clock hour and anatomy?

    Examples
    --------
    >>> place_words(91.0, "right")
    "91° (12 o'clock, superior)"
    """
    hour = round(clock_hour(at_deg)) % 12 or 12
    return f"{round(at_deg) % 360}° ({hour} o'clock, {direction_words(at_deg, side)})"


def least_cover_words(least: LeastCover, side: Side) -> str:
    """How is the least cover told, with its ± and place?

    Examples
    --------
    >>> least_cover_words(LeastCover(0.14, 0.03, 91.0, 12.0), "left")
    "least cover 0.14 ± 0.03 mm at 91° (12 o'clock, superior)"
    """
    amount = number_words(least.value, least.sd, "mm")
    return f"least cover {amount} at {place_words(least.at_deg, side)}"


_FAINT_WORTH_SAYING_DEG = 30


def _chance_words(finding: CoverFinding) -> str:
    """Say how likely complete cover is, and whether that rests on what a reader cannot verify."""
    cover = finding.cover
    if cover is None or cover.p_complete is None:
        return ""
    rest = _rest_words(finding)
    return f"chance {_percent(cover.p_complete)}" + (f"; {rest}" if rest else "")


def _rest_words(finding: CoverFinding) -> str:
    """Say over how many degrees a number of the whole edge rests on what cannot be verified."""
    if finding.cover is None or finding.cover.mean_mm is None:
        return ""
    rest_deg = 360 - finding.cover.assessable_deg
    if rest_deg < _FAINT_WORTH_SAYING_DEG:
        return ""
    return f"over {rest_deg}° it rests on edges that a reader cannot verify"


def complete_words(finding: CoverFinding) -> str:
    """Is the optic covered all the way round, in a sentence's worth of words?

    Examples
    --------
    >>> complete_words(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    'cover was not measured'
    """
    cover = finding.cover
    if cover is None:
        return "cover was not measured"
    chance = "" if cover.p_complete is None else f" (chance {_percent(cover.p_complete)})"
    if cover.complete is None:
        return f"complete cover cannot be told{chance}"
    faint = 0
    if finding.opening is not None:
        found = sum(point is not None for point in finding.opening.edge_px)
        faint = found - cover.assessable_deg
    rest = "; rests in part on a faint edge" if faint >= _FAINT_WORTH_SAYING_DEG else ""
    return f"complete cover: {'yes' if cover.complete else 'no'}{chance}{rest}"


def headline(finding: CoverFinding) -> str:
    """What is the one line above the picture?

    Examples
    --------
    >>> headline(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    'Refused: this picture cannot answer'
    """
    status = STATUS_WORDS[finding.status]
    if finding.status == "refused":
        return f"{status}: this picture cannot answer"
    words = complete_words(finding)
    return f"{status}. {words[0].upper()}{words[1:]}"


def reason_sentences(finding: CoverFinding) -> tuple[str, ...]:
    """Which reasons stand beside the result?

    Examples
    --------
    >>> reason_sentences(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "measured"))
    ()
    """
    return tuple(one.sentence for one in finding.reasons if one.code not in SAID_IN_ITS_ROW)


def cover_rows(finding: CoverFinding) -> tuple[Row, ...]:
    """Which rows does the table of a finding have?

    Every own word is explained where it first appears; ± is one standard deviation.

    Examples
    --------
    >>> rows = cover_rows(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"))
    >>> [(row.label, row.value) for row in rows[:2]]
    [('Status', 'Refused'), ('Cover (capsule overlap)', 'not measured')]
    """
    rows = [Row("Status", STATUS_WORDS[finding.status], " ".join(reason_sentences(finding)))]
    return tuple(
        rows
        + _cover_part(finding)
        + _opening_part(finding)
        + _decentration_part(finding)
        + _opacification_part(finding)
        + _scale_part(finding)
    )


def _percent(share: float) -> str:
    """Write a probability without claiming certainty."""
    if share > 0.999:
        return "above 99.9 %"
    if share < 0.001:
        return "below 0.1 %"
    return f"{100.0 * share:.1f} %"


def _cover_part(finding: CoverFinding) -> list[Row]:
    """Return the rows about cover."""
    cover = finding.cover
    if cover is None:
        return [Row("Cover (capsule overlap)", "not measured")]
    least = cover.min_mm
    rows = [
        Row(
            "Least cover (capsule overlap)",
            "not measured" if least is None else number_words(least.value, least.sd, "mm"),
            "" if least is None else f"at {place_words(least.at_deg, finding.side)}",
        ),
        Row("Complete cover", {True: "yes", False: "no", None: "cannot be told"}[cover.complete],
            _chance_words(finding)),
        Row("Mean cover", estimate_words(cover.mean_mm, "mm"), _rest_words(finding)),
        Row("Optic area covered", estimate_words(cover.area_percent, "%", 1),
            "of the optic (implant's lens body), beside the width, never instead of it"),
        Row("Bare in all", estimate_words(cover.bare_total_deg, "°", 0), _bare_words(finding)),
        Row("Directions that can be told", f"{cover.assessable_deg} of 360",
            _unseen_words(finding)),
    ]  # fmt: skip
    given = cover.given_optic.get("min_mm")
    if given is not None:
        note = "the same ± when the optic's diameter is taken as exact"
        rows.insert(1, Row("Least cover, optic taken as exact", estimate_words(given, "mm"), note))
    return rows


def _bare_words(finding: CoverFinding) -> str:
    """Say where the optic is bare."""
    arcs = finding.cover.bare_arcs_deg if finding.cover is not None else None
    if arcs is None:
        return ""
    if not arcs:
        if any(reason.code == "no-colour" for reason in finding.reasons):
            return "without colour no arc can be told as bare"
        return "no bare arc among the directions seen"
    if any(abs(end - start) >= 360.0 for start, end in arcs):
        return "all the way round"
    places = (f"{start % 360.0:.0f}° to {end % 360.0:.0f}°" for start, end in arcs)
    return "counter-clockwise " + ", ".join(places)


def _unseen_words(finding: CoverFinding) -> str:
    """Say what became of the directions that were not seen."""
    if finding.cover is None or finding.cover.assessable_deg >= 360:
        return ""
    return "the others are left blank, not filled in"


def _opening_part(finding: CoverFinding) -> list[Row]:
    """Return the rows about the opening."""
    opening = finding.opening
    if opening is None:
        return [Row("Opening (capsulotomy)", "not found")]
    order = {
        True: "lies in front of the optic (optic behind the opening's edge)",
        False: "lies behind the optic (optic captured in the opening)",
        None: "not told",
    }[opening.edge_before_optic]
    return [
        Row("Opening (capsulotomy) diameter", estimate_words(opening.equivalent_diameter_mm, "mm"),
            "of the circle of equal area"),
        *_given_diameter(finding),
        Row("Opening, largest width", estimate_words(opening.largest_width_mm, "mm")),
        Row("Opening, smallest width", estimate_words(opening.smallest_width_mm, "mm")),
        Row("Circularity", estimate_words(opening.circularity, "", 3),
            "4π·area/perimeter² of a smooth curve; 1 is a circle"),
        Row("Deviation from round", estimate_words(opening.radial_deviation_rms_mm, "mm"), "rms"),
        Row("Opening's edge found", f"{opening.seen_deg}° of 360°",
            visibility_words(finding, "opening")),
        Row("Edge before or behind the optic", order),
    ]  # fmt: skip


def visibility_words(finding: CoverFinding, edge: EdgeName) -> str:
    """Over how many directions is an edge plain, faint and hidden? Empty where not told.

    Examples
    --------
    >>> visibility_words(CoverFinding("a.jpg", "", "left", "visit", "refused"), "optic")
    ''
    """
    grades = visibility(finding.curves).get(edge)
    if grades is None:
        return ""
    parts = (f"{GRADE_WORDS[grade]} {deg}°" for grade, deg in degrees_by_grade(grades).items())
    return ", ".join(parts)


def _rim_words(finding: CoverFinding) -> str:
    words = visibility_words(finding, "optic")
    return f": {words}" if words else ""


def _given_diameter(finding: CoverFinding) -> list[Row]:
    given = {} if finding.cover is None else finding.cover.given_optic
    diameter = given.get("equivalent_diameter_mm")
    if diameter is None:
        return []
    note = "the same ± when the optic's diameter is taken as exact"
    return [Row("Opening diameter, optic taken as exact", estimate_words(diameter, "mm"), note)]


def _decentration_part(finding: CoverFinding) -> list[Row]:
    """Return one row a pair of centres."""
    rows = []
    for pair, vector in finding.decentration.items():
        label = PAIR_WORDS.get(pair, pair)
        if vector is None:
            rows.append(Row(label, "not measured", why_not(finding, pair)))
        else:
            rows.append(Row(label, *vector_words(vector)))
    tilt = tilt_row(finding)
    return rows if tilt is None else [*rows, Row(*tilt)]


def vector_words(vector: VectorEstimate) -> tuple[str, str]:
    """How is a decentration told: components with their ±, and the size as a note?

    Examples
    --------
    >>> nasal, superior = Estimate(-0.3, 0.02), Estimate(0.4, 0.02)
    >>> vector_words(VectorEstimate(nasal, superior, nasal, superior))
    ('0.30 ± 0.02 mm temporal, 0.40 ± 0.02 mm superior', 'size 0.50 mm')
    """
    nasal, superior = vector.nasal_mm, vector.superior_mm
    across = "nasal" if nasal.value >= 0.0 else "temporal"
    along = "superior" if superior.value >= 0.0 else "inferior"
    value = (
        f"{number_words(abs(nasal.value), nasal.sd, 'mm')} {across}, "
        f"{number_words(abs(superior.value), superior.sd, 'mm')} {along}"
    )
    return value, f"size {math.hypot(nasal.value, superior.value):.2f} mm"


def _opacification_part(finding: CoverFinding) -> list[Row]:
    """Return the rows about the rear capsule; none where it was not graded."""
    found = finding.opacification
    if found is None:
        return []
    shares = ", ".join(f"{share:.0f} %" for share in found.graded_percent)
    masked = f"; {found.masked_percent:.0f} % hidden by reflexes, left out"
    return [
        Row("Posterior capsule opacity, score", estimate_words(found.score, ""),
            f"0 clear to 4, by area within the opening; grades 0 to 4: {shares}"),
        Row("Posterior capsule opacity, area", estimate_words(found.area_percent, "%", 0),
            f"of the opening, grade 1 and more{masked if found.masked_percent >= 0.5 else ''}"),
    ]  # fmt: skip


def _scale_part(finding: CoverFinding) -> list[Row]:
    """Return the rows about scale and ruler."""
    rows = []
    if finding.optic is not None:
        rows.append(
            Row("Optic diameter taken", f"{finding.optic.diameter_mm:.2f} mm",
                f"rim seen over {finding.optic.seen_deg}° of 360°{_rim_words(finding)}")
        )  # fmt: skip
    if finding.scale is not None:
        scale = finding.scale
        rows.append(
            Row("Scale", number_words(scale.px_per_mm.value, scale.px_per_mm.sd, "px per mm", 1),
                f"real mm at the {scale.plane} plane, from {scale.origin}")
        )  # fmt: skip
    if finding.implant_toric_axis_deg is not None:
        rows.append(
            Row("Implant's toric axis", estimate_words(finding.implant_toric_axis_deg, "°", 1),
                "weak meridian marks")
        )  # fmt: skip
    if finding.haptic_axis_deg is not None:
        rows.append(Row("Haptic axis", estimate_words(finding.haptic_axis_deg, "°", 0)))
    return rows
