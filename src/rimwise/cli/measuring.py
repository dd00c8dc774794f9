"""``rimwise measure``: parse, call the casebook, show."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.sheet_flags import PICTURE_FLAGS, with_flags
from rimwise.cli.talk import one_sentence, progress_bar, say, show_foot, show_table
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.measuring import Measured, Outcome
    from rimwise.records.cover import CoverFinding

HEADER = (
    "picture",
    "status",
    "least cover (capsule overlap)",
    "at",
    "complete cover",
    "opening (capsulotomy)",
)

DrawingFlag = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for one drawing a picture.")
]

JsonFlag = Annotated[
    str | None,
    typer.Option(
        metavar="FILE", help='Write the results as JSON; "-" prints them; .csv: a table of --study.'
    ),
]

CaseFlag = Annotated[
    Path | None,
    typer.Option(help="Case sheet or plan (JSON) of the eye, for what nothing else says."),
]

SheetFlag = Annotated[
    Path | None, typer.Option(help="Sheet to use in place of NAME.toml beside NAME.jpg.")
]

PointsFlag = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        help="A reader's corrections: points on the edges, hidden arcs, swap (TOML or JSON).",
    ),
]

BudgetFlag = Annotated[
    bool, typer.Option("--budget", help="Say where each ± comes from, by number and direction.")
]

StudyFlag = Annotated[
    Path | None,
    typer.Option(metavar="TABLE", help="Repeatability: CSV of eye, picture or numbers, method."),
]


@with_flags(PICTURE_FLAGS, "Keys of the picture sheet; they outrank it")
def measure(  # noqa: PLR0913  one argument for each flag of the command
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(help="Photographs of eyes with an implant.", metavar="PICTURE..."),
    ] = None,
    sheet: SheetFlag = None,
    case: CaseFlag = None,
    json: JsonFlag = None,
    drawing: DrawingFlag = None,
    study: StudyFlag = None,
    *,
    points: PointsFlag = None,
    budget: BudgetFlag = False,
    flags: Mapping[str, object],
) -> None:
    """Say how far the capsule covers the implant's optic, by direction, each number with its ±.

    Cover (capsule overlap), opening (capsulotomy), optic (implant's lens body).

    Example: rimwise measure eye.jpg --side left --optic-diameter-mm 6.0

    Sheet in eye.toml, drawn: rimwise measure eye.jpg --drawing .

    Several, a sheet beside each: rimwise measure *.jpg --json all.json

    Edges placed by hand: rimwise measure eye.jpg --points eye.points.toml

    Where the ± comes from: rimwise measure eye.jpg --budget

    Repeatability: rimwise measure --study repeats.csv --drawing plots
    """
    with one_sentence():
        from rimwise.casebook.measuring import Request, measure_pictures  # noqa: PLC0415

        if study is not None:
            more = bool(pictures or sheet or case or points or budget)
            raise typer.Exit(_study(study, flags, (drawing, json), more))
        if not pictures:
            raise WrongInput("no picture was given; name one or more, or a table with --study")
        request = Request(pictures, flags, sheet, case, json, drawing, points, budget)
        with progress_bar("measuring", len(pictures)) as progress:
            outcome = measure_pictures(request, progress)
        if json != "-":
            _show(outcome, len(pictures) == 1)
        _complain(outcome)
        raise typer.Exit(outcome.exit_code)


def _study(
    table: Path,
    flags: Mapping[str, object],
    out: tuple[Path | None, str | None],
    more_given: bool,
) -> int:
    if more_given:
        raise WrongInput(
            "--study takes its pictures from the table and prints what they say together; leave "
            "out pictures, --sheet, --case, --points and --budget, and write sheets beside the "
            "pictures"
        )
    from rimwise.casebook.studying import measure_study, write_study  # noqa: PLC0415
    from rimwise.report.study_words import methods_sentence, study_rows  # noqa: PLC0415

    drawing, json = out
    with progress_bar("measuring", 2) as progress:
        study = measure_study(table, flags, progress, drawing)
    if json is not None:
        write_study(study, table, json)
    if json != "-":
        rows = [(row.label, row.value, row.note) for row in study_rows(study.numbers)]
        show_table(f"Study of {table.name}, intervals of 95 %", rows)
        drawn = [f"Drawing: {path}" for path in study.drawings]
        show_foot([f"For the methods section: {methods_sentence(study.numbers)}", *drawn])
    for picture in study.left_out:
        say(f"{picture} gave no number and is left out; measure it alone to see why")
    return study.exit_code


def _show(outcome: "Outcome", alone: bool) -> None:
    from rimwise.report.words import cover_rows  # noqa: PLC0415

    found = [one.finding for one in outcome.pictures if one.finding is not None]
    if not found:
        return
    if alone:
        rows = [(row.label, row.value, row.note) for row in cover_rows(found[0])]
        show_table(f"{found[0].picture} ({found[0].side} eye)", rows)
        _show_budget(found[0])
    else:
        show_table("", [_short(one) for one in outcome.pictures], HEADER)
    more = [] if alone else ["For all rows and reasons measure one picture, or use --json."]
    drawings = [f"Drawing: {one.drawing}" for one in outcome.pictures if one.drawing is not None]
    show_foot(["± is one standard deviation.", *more, *drawings])


def _show_budget(finding: "CoverFinding") -> None:
    from rimwise.report.budget_words import (  # noqa: PLC0415
        budget_rows,
        curve_rows,
        direction_rows,
    )

    asked = finding.budget is not None
    for title, found in (
        ("Curves compared", curve_rows(finding) if asked else ()),
        ("Where the ± comes from, each source alone", budget_rows(finding)),
        ("Cover by clock hour, with the two largest sources in mm", direction_rows(finding)),
    ):
        if found:
            show_table(title, [(row.label, row.value, row.note) for row in found])


def _short(one: "Measured") -> tuple[str, ...]:
    from rimwise.report.words import (  # noqa: PLC0415
        STATUS_WORDS,
        estimate_words,
        number_words,
        place_words,
    )

    name, finding = Path(one.picture).name, one.finding
    if finding is None:
        return (name, "wrong input" if one.exit_code == 2 else "fault", "", "", "", "")
    cover, opening = finding.cover, finding.opening
    least = None if cover is None else cover.min_mm
    return (
        name,
        STATUS_WORDS[finding.status],
        "" if least is None else number_words(least.value, least.sd, "mm"),
        "" if least is None else place_words(least.at_deg, finding.side).replace(" (", ", ")[:-1],
        "" if cover is None else {True: "yes", False: "no", None: "cannot be told"}[cover.complete],
        "" if opening is None else estimate_words(opening.equivalent_diameter_mm, "mm"),
    )


def _complain(outcome: "Outcome") -> None:
    """One sentence on standard error for each picture that gave no answer."""
    for one in outcome.pictures:
        if one.reason is not None:
            say(one.reason.sentence)
        elif one.finding is not None and one.finding.status == "refused":
            why = one.finding.reasons[0].sentence if one.finding.reasons else "it cannot answer"
            say(f"{Path(one.picture).name} is refused: {why}")
