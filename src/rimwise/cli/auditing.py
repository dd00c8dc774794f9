"""``rimwise audit``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, say, show_foot, show_table
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.auditing import Audited


Table = Annotated[
    Path | None, typer.Argument(metavar="TABLE.csv", help="One row an eye, one heading line.")
]
Book = Annotated[bool, typer.Option("--casebook", help="Audit the casebook in place of a table.")]
BookFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="The casebook's folder, if not the usual one.")
]
Column = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=HEADING", help="Which heading is which column; see --columns."),
]
Only = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=VALUE", help="Keep these rows, e.g. technique=manual."),
]
Eyes = Annotated[str, typer.Option(help="Two eyes of one person: both, first or random.")]
Seed = Annotated[int, typer.Option(min=0, help="For all that is drawn at random.")]
Compare = Annotated[
    str | None, typer.Option(metavar="NAME=FIRST,SECOND", help="Two groups side by side.")
]
Adjust = Annotated[
    list[str] | None, typer.Option(metavar="NAME", help="A number held equal in --compare.")
]
Charts = Annotated[
    bool, typer.Option("--charts", help="Learning charts in the order of operation.")
]
Bare = Annotated[
    float | None,
    typer.Option(min=0.0, max=1.0, help="Share of incomplete covers to expect, for its chart."),
]
OwnSpreadFile = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write this surgeon's bias and scatter for plan.")
]
HandName = Annotated[
    str, typer.Option(help="Published spread behind a small series: manual or guided.")
]
RecountOnly = Annotated[
    bool, typer.Option("--recount", help="Check printed percentages: count, total, percent.")
]
ColumnsOnly = Annotated[
    bool, typer.Option("--columns", help="List the columns that an audit knows, and end.")
]
JsonFile = Annotated[
    str | None, typer.Option(metavar="FILE", help='Write the audit as JSON; "-" prints it.')
]
TablesFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="One CSV a chapter, same bytes every time.")
]
DrawingFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for the drawings, singly.")
]
PageFile = Annotated[
    Path | None, typer.Option(metavar="FILE.html", help="The whole audit as one page.")
]


def audit(  # noqa: PLR0913, PLR0917  one argument a flag
    table: Table = None,
    column: Column = None,
    only: Only = None,
    eyes: Eyes = "both",
    seed: Seed = 1,
    compare: Compare = None,
    adjust: Adjust = None,
    charts: Charts = False,
    expected_bare: Bare = None,
    spread: OwnSpreadFile = None,
    hand: HandName = "manual",
    recount: RecountOnly = False,
    columns: ColumnsOnly = False,
    casebook: Book = False,
    folder: BookFolder = None,
    json: JsonFile = None,
    tables: TablesFolder = None,
    drawing: DrawingFolder = None,
    page: PageFile = None,
) -> None:
    """Say over a series of eyes whether the way of working works, and how much it scatters.

    Example: rimwise audit eyes.csv --only technique=manual --spread own.json --page audit.html
    """
    with one_sentence():
        if columns:
            _list_columns()
            return
        if (table is None) != casebook:
            raise WrongInput(
                "a table or the casebook is audited: give a CSV file (its headings: --columns), or "
                "--casebook"
            )
        if recount and table is not None:
            raise typer.Exit(_recount(table))
        choices = _pairs(column, "--column"), _pairs(only, "--only"), eyes, hand
        outputs = json, tables, drawing, page, spread
        many = seed, _groups(compare), tuple(adjust or ()), charts, expected_bare
        _audit(table, choices, many, outputs, folder)


def _audit(
    table: Path | None,
    choices: tuple[dict[str, str], dict[str, str], str, str],
    many: tuple[int, tuple[str, str, str] | None, tuple[str, ...], bool, float | None],
    outputs: tuple[str | None, Path | None, Path | None, Path | None, str | None],
    folder: Path | None,
) -> None:
    from rimwise.audit.select import eyes_choice  # noqa: PLC0415
    from rimwise.audit.spread import hand_named  # noqa: PLC0415
    from rimwise.casebook.auditing import AuditRequest, audit_table  # noqa: PLC0415

    columns, only, eyes, hand = choices
    seed, groups, adjust, charts, bare = many
    json, tables, drawings, page, spread = outputs
    request = AuditRequest(
        table,
        columns,
        only,
        eyes_choice(eyes),
        seed,
        groups,
        adjust,
        charts,
        bare,
        json_out=json,
        tables=tables,
        drawings=drawings,
        page=page,
        spread_out=spread,
        hand=hand_named(hand),
        casebook=folder,
    )
    done = audit_table(request)
    if "-" not in (json, spread):
        _show(done)


def _pairs(told: list[str] | None, flag: str) -> dict[str, str]:
    pairs = {}
    for one in told or []:
        name, sign, value = one.partition("=")
        if not (sign and name and value):
            raise WrongInput(f"{flag} {one}: NAME=VALUE is needed")
        pairs[name.strip().replace("-", "_")] = value.strip()
    return pairs


def _groups(told: str | None) -> tuple[str, str, str] | None:
    if told is None:
        return None
    name, sign, both = told.partition("=")
    first, comma, second = both.partition(",")
    if not (sign and comma and name and first and second):
        raise WrongInput(f"--compare {told}: NAME=FIRST,SECOND is needed")
    return name.strip(), first.strip(), second.strip()


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

    preview = [*done.read.preview]
    show_table("Columns as they were taken", preview, ("heading", "column", "first cells"))
    show_table("Audit", audit_head(done.audit))
    for part in done.audit.parts:
        show_table(part.title, chapter_rows(part), ("", "value", "95 % interval", "eyes"))
    if done.differences:
        rows = [
            (
                one.outcome,
                f"{one.first:.3f}",
                f"{one.second:.3f}",
                f"{one.difference.value:.3f}" if one.difference.value is not None else "-",
                "-"
                if one.difference.low is None or one.difference.high is None
                else f"{one.difference.low:.3f} to {one.difference.high:.3f}",
                "-" if one.p_holm is None else f"{one.p_holm:.3g}",
            )
            for one in done.differences
        ]
        show_table(
            "Second against first (ratio for scatters)",
            rows,
            ("outcome", "first", "second", "difference", "95 % interval", "p (Holm)"),
        )
    _show_rest(done)


def _show_rest(done: "Audited") -> None:
    said = [f"Chart: {one.sentence}." for one in done.charts]
    if done.spread is not None:
        own = done.spread
        said.append(
            f"Spread of {own.eyes} eyes, {own.technique}: bias {own.nasal.bias:+.2f} mm nasal, "
            f"{own.superior.bias:+.2f} mm superior; scatter {own.nasal.sd:.2f} and "
            f"{own.superior.sd:.2f} mm; diameter {own.diameter.bias:+.2f} ± {own.diameter.sd:.2f} "
            f"mm; {100 * own.nasal.shrunk:.0f} % of it is the published spread."
        )
        said += [f"Beware: {one}." for one in own.notes]
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
