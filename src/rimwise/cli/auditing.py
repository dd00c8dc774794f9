"""``rimwise audit``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from rimwise.cli import audit_flags as opt
from rimwise.cli.audit_flags import Told, needed_words
from rimwise.cli.talk import one_sentence, say, show_foot, show_table
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.audit_writing import Audited


def audit(  # noqa: PLR0913, PLR0917  one argument a flag
    table: opt.Table = None,
    column: opt.Column = None,
    only: opt.Only = None,
    eyes: opt.Eyes = "both",
    seed: opt.Seed = 1,
    compare: opt.Compare = None,
    adjust: opt.Adjust = None,
    paired: opt.Paired = False,
    margin: opt.Margin = None,
    eyes_needed: opt.EyesNeeded = None,
    charts: opt.Charts = False,
    expected_bare: opt.Bare = None,
    covers: opt.Covers = None,
    funnel: opt.Funnel = None,
    share: opt.Fewest = None,
    spread: opt.OwnSpreadFile = None,
    hand: opt.HandName = "manual",
    recount: opt.RecountOnly = False,
    columns: opt.ColumnsOnly = False,
    casebook: opt.Book = False,
    folder: opt.BookFolder = None,
    json: opt.JsonFile = None,
    tables: opt.TablesFolder = None,
    drawing: opt.DrawingFolder = None,
    drawing_as: opt.DrawingKind = "svg",
    page: opt.PageFile = None,
    pdf: opt.PdfFile = None,
) -> None:
    """Say over a series of eyes whether the way of working works, and how much it scatters.

    Example: rimwise audit eyes.csv --only technique=manual --spread own.json --page audit.html
    """
    told = Told(**locals())
    with one_sentence():
        _do(told)


def _do(told: Told) -> None:
    if told.columns:
        _list_columns()
        return
    if told.eyes_needed is not None:
        show_foot([needed_words(told.eyes_needed)])
        return
    if (told.table is None) != told.casebook:
        raise WrongInput(
            "a table or the casebook is audited: give a CSV file (its headings: --columns), or "
            "--casebook"
        )
    if told.recount and told.table is not None:
        raise typer.Exit(_recount(told.table))
    _audit(told)


def _audit(told: Told) -> None:
    from rimwise.casebook.auditing import audit_table  # noqa: PLC0415

    done = audit_table(told.request())
    if "-" not in (told.json, told.spread):
        _show(done)


def _list_columns() -> None:
    from rimwise.audit.columns import NAME_COLUMNS, NUMBER_COLUMNS  # noqa: PLC0415

    rows = [(one.name, one.meaning, ", ".join(one.also)) for one in NAME_COLUMNS]
    rows += [
        (one.name, f"{one.meaning} ({one.low:g} to {one.high:g})", ", ".join(one.also))
        for one in NUMBER_COLUMNS
    ]
    show_table("Columns that an audit knows; all are optional", rows, ("name", "meaning", "or"))


def _recount(table: Path) -> int:
    from rimwise.casebook.auditing import recount_table  # noqa: PLC0415

    told = recount_table(table)
    show_table("", [(one.sentence,) for one in told])
    wrong = sum(not one.agrees for one in told)
    say(f"{len(told) - wrong} of {len(told)} percentages agree with their counts")
    return 3 if wrong else 0


def _show(done: "Audited") -> None:
    from rimwise.report.audit_words import audit_head, chapter_rows  # noqa: PLC0415
    from rimwise.report.side_tables import comparison_table  # noqa: PLC0415

    preview = [*done.read.preview]
    show_table("Columns as they were taken", preview, ("heading", "column", "first cells"))
    show_table("Audit", audit_head(done.audit))
    for part in done.audit.parts:
        show_table(part.title, chapter_rows(part), ("", "value", "95 % interval", "eyes"))
    compared = comparison_table(done.differences, done.groups)
    if compared is not None:
        # How each was tested stands in the page's table.
        rows = [row[:6] + row[8:10] for row in compared.rows]
        show_table(compared.title, rows, compared.head[:6] + compared.head[8:10])
    _show_rest(done)


def _show_rest(done: "Audited") -> None:
    said = [f"Chart: {one.sentence}." for one in done.charts]
    if done.funnel is not None:
        said.append(f"Funnel: {done.funnel.sentence}.")
    if done.spread is not None:
        own = done.spread
        said.append(
            f"Spread of {own.eyes} eyes, {own.technique}: bias {own.nasal.bias:+.2f} mm nasal, "
            f"{own.superior.bias:+.2f} mm superior; scatter {own.nasal.sd:.2f} and "
            f"{own.superior.sd:.2f} mm; diameter {own.diameter.bias:+.2f} ± {own.diameter.sd:.2f} "
            f"mm; {100 * own.nasal.shrunk:.0f} % of it is the published spread."
        )
        said += [f"Beware: {one}." for one in own.notes]
        said.append(
            "rimwise plan takes it from now on."
            if any(path.name == "spread.json" for path in done.written)
            else "rimwise plan takes it with --spread, or by itself where the file is called "
            "spread.json and lies beside the case sheets or above."
        )
    said += [f"Beware: {one}." for one in (*done.read.findings, *done.audit.warnings, *done.notes)]
    if done.read.mapped.unused:
        said.append(f"Not used: {', '.join(done.read.mapped.unused[:12])}.")
    if done.read.mapped.unit_from:
        said.append(
            "Units taken for granted (as in the column's name): "
            f"{', '.join(done.read.mapped.unit_from[:12])}."
        )
    said += [f"Written: {path}" for path in done.written]
    show_foot(said)
