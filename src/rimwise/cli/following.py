"""``rimwise follow``: parse, call the casebook, show."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.sheet_flags import PICTURE_FLAGS, with_flags
from rimwise.cli.talk import one_sentence, progress_bar, say, show_foot, show_table
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.following import Followed
    from rimwise.records.healing import Healing

HEADER = ("day", "status", "least cover", "area", "shift", "turn", "edge")


Pictures = Annotated[
    list[Path],
    typer.Argument(help="Photographs of eyes at their visits.", metavar="PICTURE"),
]
Limit = Annotated[float, typer.Option(help="Least cover below which an eye is flagged.")]
Contact = Annotated[
    list[str] | None,
    typer.Option(
        metavar="FROM-TO",
        help="Arc of the last picture, in degrees, where you saw front and back capsule touch.",
    ),
]
VisitSheets = Annotated[
    list[Path] | None,
    typer.Option(metavar="FILE.toml", help="Refraction and acuity of a picture's day."),
]
JsonFile = Annotated[
    str | None, typer.Option(metavar="FILE", help='Write the courses as JSON; "-" prints them.')
]
DrawingFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for one drawing an eye.")
]


@with_flags(PICTURE_FLAGS, "Keys of the picture sheet; they outrank it")
def follow(  # noqa: PLR0913  one argument a flag
    pictures: Pictures,
    limit_mm: Limit = 0.0,
    contact: Contact = None,
    visit_sheet: VisitSheets = None,
    json: JsonFile = None,
    drawing: DrawingFolder = None,
    *,
    flags: Mapping[str, object],
) -> None:
    """Say what has changed in an eye since its first visit, and what is to be expected.

    The pictures' sheets bear the eye's code and the day (visit_day or taken).

    Example: rimwise follow E-017-week1.jpg E-017-month3.jpg --json course.json --drawing .
    """
    with one_sentence():
        from rimwise.casebook.following import FollowRequest, follow_pictures  # noqa: PLC0415

        request = FollowRequest(
            pictures, flags, limit_mm, _arcs(contact), visit_sheet or (), json, drawing
        )
        with progress_bar("following", len(pictures)) as progress:
            done = follow_pictures(request, progress)
        if json != "-":
            _show_all(done)
        for course in done.courses:
            for visit in course.visits:
                if visit.finding.status == "refused":
                    name = Path(visit.finding.picture).name
                    say(f"{name} is refused: {visit.finding.reasons[0].sentence}")
        raise typer.Exit(done.exit_code)


def _show_all(done: "Followed") -> None:
    for course in done.courses:
        _show(course)
    notes = [f"{one.sentence}" for course in done.courses for one in course.notes]
    drawings = [f"Drawing: {path}" for path in done.drawings]
    show_foot(["± is one standard deviation.", *dict.fromkeys(notes), *drawings])


def _arcs(told: list[str] | None) -> tuple[tuple[float, float], ...]:
    arcs = []
    for one in told or []:
        begin, _, end = one.partition("-")
        try:
            arcs.append((float(begin) % 360.0, float(end) % 360.0))
        except ValueError:
            raise WrongInput(
                f"--contact {one}: two directions such as 200-260 are needed"
            ) from None
    return tuple(arcs)


def _show(course: "Healing") -> None:
    from rimwise.report.healing_words import along_lines, course_foot, course_rows  # noqa: PLC0415

    show_table(f"{course.code} ({course.side} eye)", course_rows(course), HEADER)
    show_table("", [(line,) for line in (*along_lines(course), *course_foot(course))])
