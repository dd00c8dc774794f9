"""What the worker is asked to do: values of a form in, words, drawing and document out.

The answers are plain words and bytes, so that the server itself never loads the heavy libraries.
"""

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.records.case import CaseSheet
    from rimwise.records.cover import CoverFinding, Reason
    from rimwise.records.picture import PictureSheet
    from rimwise.records.plan import Plan
    from rimwise.report.words import Row

THE_FORM = "the form"  # what a sentence calls the source of a wrong value

Line = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class MeasuredPicture:
    """What a page shows of one measured photograph; ``by_hour`` stands behind the strip."""

    name: str
    sha256: str
    side: str
    code: str | None
    status: str
    headline: str
    rows: tuple[Line, ...]
    by_hour: tuple[Line, ...]
    reasons: tuple[str, ...]
    words: tuple[tuple[str, str], ...]
    drawing: bytes
    document: str


@dataclass(frozen=True, slots=True)
class PlannedOpening:
    """What a page shows of one plan; ``drawing`` is None where the plan is refused."""

    side: str
    code: str | None
    headline: str
    rows: tuple[Line, ...]
    budget: tuple[str, ...]
    chance_heads: tuple[str, ...]
    chances: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]
    drawing: bytes | None
    described: str
    document: str


def picture_sheet(values: Mapping[str, object]) -> "PictureSheet":
    """Which sheet do these keys make, also where a date went through the casebook's JSON?

    Raises
    ------
    WrongInput
        A value is outside its range, or a key is unknown.

    Examples
    --------
    >>> picture_sheet({"side": "left", "taken": "2026-03-02"}).taken
    '2026-03-02'
    """
    from rimwise.exchange.sheet_keys import PictureKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415
    from rimwise.exchange.sheet_records import picture_record  # noqa: PLC0415

    told = dict(values)
    if isinstance(told.get("taken"), str):
        with contextlib.suppress(ValueError):
            told["taken"] = date.fromisoformat(str(told["taken"]))
    return picture_record(checked_layer(told, PictureKeys, THE_FORM).values, THE_FORM)


def measure_job(values: Mapping[str, object], data: bytes, name: str) -> MeasuredPicture:
    """What does this photograph show, with these values as its sheet?

    Parameters
    ----------
    values : mapping
        Keys of the picture sheet.
    data : bytes
        The whole file; decoded here, never written anywhere.
    name : str
        How to call it in sentences.

    Raises
    ------
    WrongInput
        A value is outside its range, or the bytes are no picture.
    """
    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.exchange.results import cover_document, document_of  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415
    from rimwise.journey import finding_of  # noqa: PLC0415
    from rimwise.report.cover_drawing import draw_cover  # noqa: PLC0415
    from rimwise.report.words import (  # noqa: PLC0415
        EXPLANATIONS,
        cover_rows,
        headline,
        reason_sentences,
    )

    sheet = picture_sheet(values)
    loaded = picture_from_bytes(data, name)
    finding = finding_of(loaded.raster, sheet, name, loaded.sha256)
    finding = replace(finding, reasons=(*finding.reasons, *loaded.notes))
    return MeasuredPicture(
        name=name,
        sha256=loaded.sha256,
        side=sheet.side,
        code=sheet.code,
        status=finding.status,
        headline=headline(finding),
        # The reasons stand on the page in full: the table's first row would only repeat them.
        rows=table_lines(cover_rows(finding)[1:]),
        by_hour=lines_by_hour(finding),
        reasons=reason_sentences(finding),
        words=EXPLANATIONS,
        drawing=draw_cover(loaded.raster, finding, sheet),
        document=json_text(document_of([cover_document(finding)])),
    )


def plan_job(values: Mapping[str, object], book: str = "") -> PlannedOpening:
    """What should be made in this eye, with these values as its case sheet?

    Parameters
    ----------
    values : mapping
        Keys of the case sheet.
    book : str
        The casebook's folder, whose own spread is taken where the form tells none; empty: none.

    Raises
    ------
    WrongInput
        A value is outside its range, or something that has no default is missing.
    """
    from rimwise.exchange.case_records import case_record  # noqa: PLC0415
    from rimwise.exchange.results import document_of, reasons_document  # noqa: PLC0415
    from rimwise.exchange.sheet_keys import CaseKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415
    from rimwise.report.plan_words import budget_sentences, plan_table  # noqa: PLC0415

    merged = checked_layer(values, CaseKeys, THE_FORM).values
    code = merged.get("code")
    case, notes = case_record({"code": "without code"} | merged, THE_FORM)
    plan, hand = _plan(case, book)
    notes = (*notes, *hand)
    drawing, described = _plan_drawing(plan)
    document = plan.document()
    document["warnings"] = [*document["warnings"], *reasons_document(notes)]
    return PlannedOpening(
        side=plan.side,
        code=code,
        headline=_plan_headline(plan),
        rows=tuple(plan_table(plan)),
        budget=() if plan.chosen is None else tuple(budget_sentences(plan.chosen)),
        chance_heads=_chance_heads(plan),
        chances=_chances(plan),
        warnings=tuple(one.sentence for one in (*plan.warnings, *notes)),
        assumed=_assumed(plan),
        drawing=drawing,
        described=described,
        document=json_text(document_of([document])),
    )


def table_lines(rows: Sequence["Row"]) -> tuple[Line, ...]:
    """Return rows as plain words."""
    return tuple((row.label, row.value, row.note) for row in rows)


def lines_by_hour(finding: "CoverFinding") -> tuple[Line, ...]:
    """Return the cover at each clock hour: a table for those who cannot see the strip."""
    from rimwise.report.words import number_words  # noqa: PLC0415
    from rimwise.terms.frames import direction_words  # noqa: PLC0415

    if finding.cover is None:
        return ()
    lines = []
    for hour in (12, *range(1, 12)):
        at_deg = (90 - 30 * hour) % 360
        width, sd = finding.cover.width_mm[at_deg], finding.cover.sd_mm[at_deg]
        value = "not seen" if width is None else number_words(width, sd, "mm")
        if width is not None and width < 0.0:
            value += " (bare)"
        where = direction_words(float(at_deg), finding.side)
        lines.append((f"{hour} o'clock", f"{at_deg}°, {where}", value))
    return tuple(lines)


def _plan_drawing(plan: "Plan") -> tuple[bytes | None, str]:
    if not plan.centres:
        return None, ""
    from rimwise.report.plan_drawing import draw_plan, plan_description  # noqa: PLC0415

    return draw_plan(plan, "svg"), plan_description(plan)


def _plan(case: "CaseSheet", book: str) -> "tuple[Plan, tuple[Reason, ...]]":
    """Return the plan as the command line makes it, and what is said of the hand behind it."""
    from pathlib import Path  # noqa: PLC0415

    from rimwise.casebook.own_hand import hand_of_book  # noqa: PLC0415
    from rimwise.journey import plan_of  # noqa: PLC0415
    from rimwise.plan.contrast import with_contrast  # noqa: PLC0415

    own, hand = hand_of_book(case, Path(book)) if book else (None, ())
    return with_contrast(case, plan_of(case, own)), hand


def _plan_headline(plan: "Plan") -> str:
    from rimwise.report.plan_words import (  # noqa: PLC0415
        CENTRE_WORDS,
        judged_words,
        lacks_room,
        none_words,
    )
    from rimwise.terms.units import percent  # noqa: PLC0415

    if not plan.centres:
        return "Refused: this opening is not planned"
    if plan.chosen is None:
        return "No centre chosen: all are shown, choose one"
    where = f"on the {CENTRE_WORDS[plan.chosen.centre]}"
    chance = f"complete cover {percent(plan.chosen.p_complete)}"
    if plan.diameter_mm is None:
        if lacks_room(plan.chosen):
            return f"No opening is proposed {where}: {none_words(plan.chosen)}"
        return f"No opening inside the limits reaches the goal {where}"
    return f"Opening of {judged_words(plan, plan.chosen)} {where}: {chance}"


def _chance_heads(plan: "Plan") -> tuple[str, ...]:
    """Return the centres that the columns of ``chances`` are about."""
    from rimwise.report.plan_words import CENTRE_WORDS  # noqa: PLC0415

    shown = plan.centres if plan.chosen is None else (plan.chosen,)
    return tuple(CENTRE_WORDS[centre.centre] for centre in shown)


def _chances(plan: "Plan") -> tuple[tuple[str, ...], ...]:
    """Return every fourth point of the curves: a table for those who cannot see them."""
    from rimwise.terms.units import percent  # noqa: PLC0415

    shown = plan.centres if plan.chosen is None else (plan.chosen,)
    if not shown:
        return ()
    diameters = shown[0].curve.diameter_mm
    return tuple(
        (f"{diameters[k]:.2f} mm", *(percent(centre.curve.p_complete[k]) for centre in shown))
        for k in range(0, len(diameters), 4)
    )


def _assumed(plan: "Plan") -> tuple[str, ...]:
    return tuple(
        f"{one.what}: {one.value:g}"
        + ("" if one.sd is None else f" ± {one.sd:g}")
        + f" {'' if one.unit == '1' else one.unit} ({one.cite}; {one.status})"
        for one in plan.assumptions
    )


def eye_job(values: Mapping[str, object]) -> bytes:
    """How does the eye of this case look in section, to scale, with its reflexes (SVG)?

    Raises
    ------
    WrongInput
        A value is outside its range, or no eye can be built from them.
    """
    from rimwise.exchange.case_records import case_record  # noqa: PLC0415
    from rimwise.exchange.sheet_keys import CaseKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415
    from rimwise.eye.known import known_from_case  # noqa: PLC0415
    from rimwise.eye.this_eye import eye_record  # noqa: PLC0415
    from rimwise.purkinje.describe import describe_eye  # noqa: PLC0415
    from rimwise.report.eye_drawing import draw_eye  # noqa: PLC0415

    merged = {"code": "without code"} | checked_layer(values, CaseKeys, THE_FORM).values
    case, _ = case_record(merged, THE_FORM)
    return draw_eye(describe_eye(case.code, eye_record(known_from_case(case, "natural"))), "svg")


def sheet_job(values: Mapping[str, object], seat: str, book: str = "") -> bytes:
    """How does this plan read on one page for theatre (PDF)?

    Raises
    ------
    WrongInput
        A value is outside its range, or the plan is refused.
    """
    from pathlib import Path  # noqa: PLC0415

    from rimwise import __version__  # noqa: PLC0415
    from rimwise.casebook.plan_sheets import plan_sheet_bytes, sheet_wish  # noqa: PLC0415
    from rimwise.exchange.case_records import case_record  # noqa: PLC0415
    from rimwise.exchange.sheet_keys import CaseKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415

    merged = {"code": "without code"} | checked_layer(values, CaseKeys, THE_FORM).values
    case, notes = case_record(merged, THE_FORM)
    plan, hand = _plan(case, book)
    wish = sheet_wish(Path("plan.pdf"), seat)
    if wish is None or not plan.centres:
        raise WrongInput("this opening is not planned, so that there is no sheet; see the plan")
    origin = f"rimwise {__version__}; the form of the workbench"
    return plan_sheet_bytes(wish, plan, case, (*notes, *hand), origin)
