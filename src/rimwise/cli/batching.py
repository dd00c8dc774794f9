"""``rimwise batch``: parse, call the casebook, show."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.sheet_flags import PICTURE_FLAGS, with_flags
from rimwise.cli.talk import one_sentence, progress_bar, say, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.casebook.batch import BatchOutcome

MOST_FAILURES_SHOWN = 20
STATUSES = ("measured", "partial", "refused", "wrong input", "fault")


@with_flags(PICTURE_FLAGS, "Keys of the picture sheet; they outrank it")
def batch(  # noqa: PLR0913, PLR0917  one argument for each flag of the command
    folder: Annotated[
        Path, typer.Argument(help="Folder of photographs, with those below.", metavar="FOLDER")
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the table cover.csv.")
    ] = Path("batch-out"),
    case: Annotated[
        Path | None, typer.Option(help="Case sheet of the eye, for what nothing else says.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write all results as JSON too.")
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for one drawing a picture.")
    ] = None,
    workers: Annotated[
        int, typer.Option(min=0, max=256, help="Processes; 0 takes one a core.")
    ] = 0,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Measure again what is there from an earlier run.")
    ] = False,
    *,
    flags: Mapping[str, object],
) -> None:
    """Measure a whole folder of photographs: one table out, a picture a row.

    Stopped and started again, it goes on where it was; what failed is listed with the reason.

    Example: rimwise batch pictures --out measured --workers 2

    One optic in all: rimwise batch pictures --optic-diameter-mm 6.0

    All results, drawn: rimwise batch pictures --json all.json --drawing drawn

    Measured anew: rimwise batch pictures --fresh
    """
    with one_sentence():
        from rimwise.casebook.batch import (  # noqa: PLC0415
            BatchRequest,
            measure_folder,
            pictures_in,
        )

        request = BatchRequest(folder, out, flags, case, json, drawing, workers, fresh)
        with progress_bar("measuring", len(pictures_in(folder, out))) as progress:
            outcome = measure_folder(request, progress)
        _show(outcome)
        raise typer.Exit(outcome.exit_code)


def _show(outcome: "BatchOutcome") -> None:
    total = sum(outcome.by_status.values())
    counts = [(word, str(outcome.by_status.get(word, 0))) for word in STATUSES]
    show_table(f"{total} pictures", counts)
    measured = total - outcome.kept
    lines = [f"Table: {outcome.table}"]
    if measured:
        rate = measured / max(outcome.seconds, 1e-3)
        lines.append(f"{measured} measured now in {outcome.seconds:.1f} s, {rate:.1f} a second.")
    if outcome.kept:
        lines.append(f"{outcome.kept} kept from an earlier run; --fresh measures them again.")
    show_foot(lines)
    for failure in outcome.failures[:MOST_FAILURES_SHOWN]:
        word = "is refused" if failure.exit_code == 3 else "gave no answer"
        say(f"{failure.picture} {word}: {failure.sentence}")
    more = len(outcome.failures) - MOST_FAILURES_SHOWN
    if more > 0:
        say(f"{more} more gave no answer; the table's columns status and first_reason tell why")
