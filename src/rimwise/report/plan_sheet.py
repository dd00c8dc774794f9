"""The plan sheet: one page from which size, centre, lens, refraction and weakest point are read."""

import base64
from dataclasses import dataclass
from typing import Any

from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.lens_power import ExpectedRefraction
from rimwise.records.plan import Plan
from rimwise.report.look import LOOK
from rimwise.report.margin_words import BAND_WORDS, SOURCE_WORDS
from rimwise.report.plan_sheet_page import SHEET_PAGE
from rimwise.report.plan_words import (
    AGAIN_WORDS,
    CENTRE_WORDS,
    floor_mm,
    judged_words,
    lacks_room,
    none_words,
    plan_table,
    vector_words,
)
from rimwise.report.words import EXPLANATIONS
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.units import percent

Cells = tuple[str, str, str]
_SHOWN_AS_TABLE = "Expected refraction"


@dataclass(frozen=True, slots=True)
class SheetPicture:
    """A drawing on the sheet: its SVG, its caption, and what it shows for those who cannot see."""

    name: str
    svg: bytes
    caption: str
    alt: str


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """Everything that stands on the sheet.

    Parameters
    ----------
    title, subtitle : str
    answers : tuple of (label, value, note)
        Size, centre, lens, expected refraction, weakest point.
    pictures : tuple of SheetPicture
    rows : tuple of (label, value, note)
        The plan's numbers with their ±.
    powers : tuple of str
        Heads of the columns of ``refraction``.
    refraction : tuple of rows
        One a way of reckoning: its name, a refraction a power, its ±, its status.
    named : int
        Column of ``powers`` of the power that the case sheet names; -1 where it names none.
    warnings, assumed : tuple of str
    origin : str
        Version, and the hash of what was read.
    """

    title: str
    subtitle: str
    answers: tuple[Cells, ...]
    pictures: tuple[SheetPicture, ...]
    rows: tuple[Cells, ...]
    powers: tuple[str, ...]
    refraction: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]
    origin: str
    named: int = -1


def plan_sheet(
    plan: Plan,
    case: CaseSheet,
    pictures: tuple[SheetPicture, ...],
    notes: tuple[Reason, ...],
    origin: str,
) -> PlanSheet:
    """What stands on the sheet of this plan?

    Parameters
    ----------
    plan : Plan
        Not refused.
    case : CaseSheet
        What it was made from.
    pictures : tuple of SheetPicture
    notes : tuple of Reason
        What is to be said of the files that were read.
    origin : str
        Version and hash.

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import OpeningWish, PlannedImplant
    >>> lens, wish = PlannedImplant(6.0), OpeningWish(5.1, "lens")
    >>> case = CaseSheet("E-1", "left", "none", implant=lens, opening=wish)
    >>> [value for _, value, _ in plan_sheet(make_plan(case), case, (), (), "").answers][:3]
    ['5.10 mm ± 0.25', 'lens centre', 'power not named']
    """
    powers, refraction = _refraction_table(plan)
    return PlanSheet(
        f"Plan of {plan.code}: {plan.side} eye",
        _subtitle(case),
        (_size(plan), _centre(plan), _lens(plan, case), _refraction(plan, case), _weakest(plan)),
        pictures,
        tuple(row for row in plan_table(plan) if not row[0].startswith(_SHOWN_AS_TABLE)),
        powers,
        refraction,
        tuple(one.sentence for one in (*plan.reasons, *plan.warnings, *notes)),
        assumed_words(plan),
        origin,
        _named_column(powers, case),
    )


def _named_column(powers: tuple[str, ...], case: CaseSheet) -> int:
    power = None if case.implant is None else case.implant.power_dpt
    word = "" if power is None else _power_words(power)
    return powers.index(word) if word in powers else -1


def _power_words(power_dpt: float) -> str:
    return f"{power_dpt:.1f}"


def assumed_words(plan: Plan) -> tuple[str, ...]:
    """What was assumed, each with its ± and its source?"""
    return tuple(
        f"{one.what} {one.value:g}"
        + ("" if one.sd is None else f" ± {one.sd:g}")
        + ("" if one.unit == "1" else f" {one.unit}")
        + f" ({one.cite}; {one.status})"
        for one in plan.assumptions
    )


def sheet_html(sheet: PlanSheet) -> str:
    """How does the sheet read as one HTML file: no script, nothing fetched, dark and light?

    Examples
    --------
    >>> sheet = PlanSheet("A <plan>", "", (), (), (), (), (), (), (), "rimwise 0")
    >>> "A &lt;plan&gt;" in sheet_html(sheet), "<script" in sheet_html(sheet)
    (True, False)
    """
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - only pages need it

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return environment.from_string(SHEET_PAGE).render(
        sheet=sheet, look=LOOK, cautions=CAUTIONS, words=EXPLANATIONS, source=_data_address
    )


def sheet_data(sheet: PlanSheet) -> dict[str, Any]:
    """Which plain data does the print template get? (drawings by file name)

    Examples
    --------
    >>> sheet = PlanSheet("A plan", "", (), (), (), (), (), (), (), "rimwise 0")
    >>> sheet_data(sheet)["title"], sheet_data(sheet)["pictures"]
    ('A plan', [])
    """
    return {
        "title": sheet.title,
        "subtitle": sheet.subtitle,
        "answers": [list(row) for row in sheet.answers],
        "pictures": [
            {"file": one.name, "caption": one.caption, "alt": one.alt} for one in sheet.pictures
        ],
        "rows": [list(row) for row in sheet.rows],
        "powers": list(sheet.powers),
        "refraction": [list(row) for row in sheet.refraction],
        "named": sheet.named,
        "warnings": list(sheet.warnings),
        "assumed": list(sheet.assumed),
        "origin": sheet.origin,
        "words": [list(pair) for pair in EXPLANATIONS],
        "cautions": list(CAUTIONS),
        "look": {"ink": LOOK.ink, "quiet": LOOK.quiet, "rule": LOOK.rule, "accent": LOOK.covered},
    }


def _subtitle(case: CaseSheet) -> str:
    said = [] if case.age_years is None else [f"{case.age_years:g} years"]
    surgery = {"none": "no corneal surgery", "unknown": "corneal surgery unknown"}
    said.append(surgery.get(case.corneal_surgery, f"cornea: {case.corneal_surgery}"))
    said += [risk.replace("-", " ") for risk in case.risks]
    return "; ".join(said)


def _size(plan: Plan) -> Cells:
    label = "Opening (capsulotomy), real diameter"
    chosen = plan.chosen
    if chosen is None:
        sizes = ", ".join(
            f"{CENTRE_WORDS[one.centre]} {'none' if one.best_mm is None else floor_mm(one.best_mm)}"
            for one in plan.centres
        )
        if all(lacks_room(one) for one in plan.centres):
            rooms = "; ".join(
                f"{CENTRE_WORDS[one.centre]}: {none_words(one)}" for one in plan.centres
            )
            return label, "no room for any size", rooms
        return label, "by centre", f"largest that reaches {percent(plan.p_goal)}: {sizes}"
    if plan.diameter_mm is None:
        tight = lacks_room(chosen)
        note = f"{none_words(chosen)}; " if tight else "even "
        return (
            label,
            "no room for any size" if tight else "no size reaches the goal",
            f"{note}{judged_words(plan, chosen)} covers all round with "
            f"{percent(chosen.p_complete)}, and {percent(plan.p_goal)} is asked for",
        )
    seen = plan.apparent_diameter_mm
    look = "" if seen is None else f"; looks {seen.value:.2f} mm through this cornea"
    return (
        label,
        f"{judged_words(plan, chosen)} ± {plan.spread.diameter_sd_mm:.2f}",
        f"complete cover {percent(chosen.p_complete)}{look}",
    )


def _centre(plan: Plan) -> Cells:
    chosen = plan.chosen
    if chosen is None:
        return "Centre", "not chosen", "all four are shown with what each costs"
    return (
        "Centre",
        CENTRE_WORDS[chosen.centre],
        f"{vector_words(chosen.target_mm, plan)} from the limbus centre, "
        f"{vector_words(chosen.opening_from_optic.mean_mm, plan)} from where the optic will rest",
    )


def _lens(plan: Plan, case: CaseSheet) -> Cells:
    implant = case.implant
    optic = f"optic {plan.optic_diameter_mm:.2f} mm"
    if implant is None or implant.power_dpt is None:
        return "Lens (implant)", "power not named", f"{optic}; a power is expected, never chosen"
    index = "" if implant.index is None else f", index {implant.index:g}"
    cylinder = "" if not implant.cylinder_dpt else f" cyl {implant.cylinder_dpt:.2f}"
    toric = plan.toric
    marks = "" if toric is None or not cylinder else f"; marks along {toric.axis_deg:.0f}°"
    return (
        "Lens (implant)",
        f"{implant.power_dpt:+.1f} dpt{cylinder}",
        f"named in the case sheet, not chosen here{marks}; {optic}{index}",
    )


def _refraction(plan: Plan, case: CaseSheet) -> Cells:
    label = "Expected refraction"
    line = _named_line(plan)
    if line is None:
        return label, "not told", "see the warnings for what is lacking"
    goal = case.goal.refraction_dpt
    wanted = "" if goal is None else f"; goal {_signed(goal)}"
    named = case.implant is not None and case.implant.power_dpt is not None
    at = "" if named else f" at {line.power_dpt:.1f} dpt, one of the steps"
    return (
        label,
        f"{_signed(line.refraction_dpt.value)} ± {line.refraction_dpt.sd:.2f} dpt",
        f"by {line.formula}{at}, {line.constants.calibration}{wanted}{_left(plan, case)}; "
        f"to narrow it, measure {AGAIN_WORDS[line.repeat_first]}",
    )


def _left(plan: Plan, case: CaseSheet) -> str:
    """Say what a toric implant of the sheet's cylinder is expected to leave, as it is written."""
    toric, implant = plan.toric, case.implant
    if toric is None or implant is None:
        return ""
    step = next((s for s in toric.steps if s.cylinder_dpt == implant.cylinder_dpt), None)
    if step is None:
        return ""
    left = step.refraction
    return (
        f"; leaves {_signed(left.sphere_dpt)} {_signed(left.cylinder_dpt)} × {left.axis_deg:.0f}°"
    )


def _named_line(plan: Plan) -> ExpectedRefraction | None:
    """Return the line that the margin was reckoned for: the sheet's power, the trace if told."""
    margin = plan.margin
    if margin is None:
        return None
    return next(
        (
            one
            for one in plan.refraction
            if one.formula == margin.formula and one.power_dpt == margin.power_dpt
        ),
        None,
    )


def _weakest(plan: Plan) -> Cells:
    label, margin = "Weakest point", plan.margin
    notes = []
    weakest = None if margin is None else margin.weakest_of_cover
    if margin is not None and weakest is not None and margin.p_complete is not None:
        without = next(one.p_without for one in margin.cover if one.source == weakest)
        notes.append(
            f"without it complete cover is {percent(without)} instead of "
            f"{percent(margin.p_complete)}"
        )
    if margin is not None and margin.refraction:
        first = margin.refraction[0]
        notes.append(f"of the refraction: {BAND_WORDS[first.source]}, ± {first.sd_dpt:.2f} dpt")
    if weakest is None:
        value, of_each = ("none stands out", "") if plan.centre else _weakest_of_each(plan)
        return label, value, "; ".join([*([of_each] if of_each else []), *notes])
    return label, SOURCE_WORDS[weakest], "; ".join(notes)


def _weakest_of_each(plan: Plan) -> tuple[str, str]:
    """Return what costs cover most about whichever centre, or by centre where they differ."""
    first = {one.centre: one.budget[0].source for one in plan.centres if one.budget}
    if len(set(first.values())) == 1:
        return SOURCE_WORDS[next(iter(first.values()))], "the same about every centre"
    told: dict[str, list[str]] = {}
    for centre, source in first.items():
        told.setdefault(SOURCE_WORDS[source], []).append(CENTRE_WORDS[centre])
    return "by centre", "; ".join(f"{', '.join(on)}: {what}" for what, on in told.items())


def _refraction_table(plan: Plan) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    powers = sorted({one.power_dpt for one in plan.refraction})
    rows = []
    for formula in dict.fromkeys(one.formula for one in plan.refraction):
        lines = {one.power_dpt: one for one in plan.refraction if one.formula == formula}
        cells = [
            _signed(lines[power].refraction_dpt.value) if power in lines else "" for power in powers
        ]
        one = next(iter(lines.values()))
        widest = max(line.refraction_dpt.sd for line in lines.values())
        status = f"{one.constants.calibration}; {one.status}"
        rows.append((formula, *cells, f"± {widest:.2f}", status))
    return tuple(_power_words(power) for power in powers), tuple(rows)


def _signed(value: float) -> str:
    return f"{value:+.2f}".replace("-", "−")


def _data_address(picture: SheetPicture) -> str:
    """Return the drawing as an address that holds its own bytes."""
    return f"data:image/svg+xml;base64,{base64.b64encode(picture.svg).decode('ascii')}"
