"""A case sheet in, a plan out: loaded, planned, drawn, written."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from rimwise.casebook.exits import EXIT_DONE, EXIT_REFUSED
from rimwise.casebook.own_hand import own_hand
from rimwise.casebook.plan_sheets import sheet_wish, write_plan_sheet
from rimwise.exchange.cut_table import read_stretch
from rimwise.exchange.results import document_of, reasons_document
from rimwise.exchange.sheets import ReadCase, read_case_sheet
from rimwise.exchange.writing import check_not_input, check_writable, write_bytes, write_json
from rimwise.journey import plan_of
from rimwise.plan.biometry_rules import fellow_warnings
from rimwise.plan.cut import cut_expected
from rimwise.records.case import CaseSheet, Spread
from rimwise.records.cover import Reason
from rimwise.records.plan import Plan
from rimwise.terms.errors import WrongInput

DRAWING_KINDS: dict[str, Literal["svg", "png"]] = {".svg": "svg", ".png": "png"}


@dataclass(frozen=True, slots=True)
class PlanFiles:
    """Where a plan goes: the document, the drawing, the tornado of what spoils it first, the sheet.

    Drawings end in .svg or .png, the one-page sheet in .pdf or .html; "-" prints the document.
    Without ``contrast`` it is left untold what each centre costs in contrast, which takes a moment.
    ``seat`` is where the surgeon sits, "head" or "side": the sheet's picture is turned so.
    """

    json: Path | str | None = None
    drawing: Path | None = None
    tornado: Path | None = None
    sheet: Path | None = None
    seat: str = "head"
    contrast: bool = True


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with what should be said about the sheets that it came from."""

    path: Path
    plan: Plan
    notes: tuple[Reason, ...]

    @property
    def exit_code(self) -> int:
        """Return 0, or 3 where the plan is refused."""
        return EXIT_DONE if self.plan.centres else EXIT_REFUSED

    def document(self) -> dict[str, Any]:
        """Return the entry of the results; the notes stand among the warnings."""
        entry = self.plan.document()
        entry["case"] = str(self.path)
        entry["warnings"] = [*entry["warnings"], *reasons_document(self.notes)]
        return entry


def plan_case(
    path: Path,
    flags: Mapping[str, object] | None = None,
    files: PlanFiles | None = None,
    *,
    fellow: Path | None = None,
    spread: Path | None = None,
    cuts: Path | None = None,
) -> Planned:
    """What should be made in this eye?

    Parameters
    ----------
    path : path
        The case sheet.
    flags : mapping, optional
        Keys of the case sheet that outrank it; a table's key is written ``table.key``.
    files : PlanFiles, optional
        A refused plan is not drawn.
    fellow : path, optional
        The case sheet of the other eye, to set the numbers of both against each other.
    spread : path, optional
        What ``audit --spread`` wrote; a [spread] in the case sheet outranks it. Without it a
        ``spread.json`` beside the case sheet, above it or in the casebook is taken, and said so.
    cuts : path, optional
        Table of own eyes, cut_mm and left_mm: what a cut is expected to leave in this hand.

    Raises
    ------
    WrongInput
        The sheet cannot be used.
    OutputFailed
        The document or a drawing cannot be written.
    """
    out = files or PlanFiles()
    if path.suffix.lower() == ".json":
        raise WrongInput(
            f"{path.name} is a result, and a plan is made from a case sheet; give that"
        )
    read_from = [one for one in (path, fellow, spread, cuts) if one is not None]
    wish = sheet_wish(out.sheet, out.seat)
    for place in (out.json, out.drawing, out.tornado, out.sheet):
        if place is not None:
            check_writable(place)
            check_not_input(place, read_from)
    kinds = [None if one is None else _drawing_kind(one) for one in (out.drawing, out.tornado)]
    read: ReadCase = read_case_sheet(path, flags)
    beside = () if fellow is None else fellow_warnings(read.sheet, read_case_sheet(fellow).sheet)
    own, hand = own_hand(path, read.sheet, spread)
    plan = _made(read.sheet, own, cuts, contrast=out.contrast)
    planned = Planned(path, plan, (*read.notes, *beside, *hand))
    _draw(plan, (out.drawing, out.tornado), kinds)
    if wish is not None and planned.plan.centres:
        write_plan_sheet(wish, planned.plan, read.sheet, path, planned.notes)
    if out.json is not None:
        write_json(out.json, document_of([planned.document()]))
    return planned


def _made(case: CaseSheet, own: Spread | None, cuts: Path | None, *, contrast: bool) -> Plan:
    plan = plan_of(case, own)
    if cuts is not None:
        stretch = read_stretch(cuts)
        if plan.centres:
            plan = replace(plan, cut=cut_expected(case, plan.diameter_mm, stretch))
    if contrast:
        from rimwise.plan.contrast import with_contrast  # noqa: PLC0415 - traces and their tables

        plan = with_contrast(case, plan)
    return plan


def _draw(
    plan: Plan,
    where: tuple[Path | None, Path | None],
    kinds: list[Literal["svg", "png"] | None],
) -> None:
    """Draw the plan and its tornado, where they are asked for and not refused."""
    drawing, tornado = where
    if drawing is not None and kinds[0] is not None and plan.centres:
        from rimwise.report.plan_drawing import draw_plan  # noqa: PLC0415

        write_bytes(drawing, draw_plan(plan, kinds[0]))
    if tornado is not None and kinds[1] is not None and plan.margin is not None:
        from rimwise.report.margin_drawing import draw_margin  # noqa: PLC0415

        write_bytes(tornado, draw_margin(plan, kinds[1]))


def _drawing_kind(drawing: Path) -> Literal["svg", "png"]:
    kind = DRAWING_KINDS.get(drawing.suffix.lower())
    if kind is None:
        pdf = ", or write the whole page with --sheet" if drawing.suffix.lower() == ".pdf" else ""
        raise WrongInput(f"{drawing} ends in neither .svg nor .png; name the drawing so{pdf}")
    return kind
