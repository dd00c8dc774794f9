"""``rimwise eye``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.casebook.eyes import Described


def eye(
    case: Annotated[Path, typer.Argument(help="Case sheet of the eye.", metavar="CASE.toml")],
    lens: Annotated[
        str,
        typer.Option(
            metavar="natural|implant|none",
            help="Which lens is in the eye: before surgery, after it, or between.",
        ),
    ] = "natural",
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write it as JSON; "-" prints it.')
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the eye; ends in .svg or .png.")
    ] = None,
) -> None:
    """Say what this eye's optics do: cardinal points, axes, predicted reflexes, assumptions.

    A reflex is a mirror image of a lamp: P1 cornea front, P2 cornea back, P3 lens front, P4 lens
    back. What nobody measured is assumed, and every assumption is listed with its spread.

    Example: rimwise eye E-017.toml --lens implant --drawing eye.svg
    """
    with one_sentence():
        from rimwise.casebook.eyes import describe_case  # noqa: PLC0415

        found = describe_case(case, lens, None, json, drawing)
        if json != "-":
            _show(found)


def _show(found: "Described") -> None:
    from rimwise.report.eye_words import (  # noqa: PLC0415
        REFLEX_HEADER,
        assumption_rows,
        axis_rows,
        cardinal_rows,
        reflex_rows,
    )

    told = found.told
    show_table(f"Eye {told.code} ({told.record.side})", cardinal_rows(told))
    show_table("Axes, angles and chords", axis_rows(told))
    where = f"lamp on the axis of a camera {told.working_distance_mm:g} mm away, fixated"
    show_table(f"Predicted reflexes ({where})", reflex_rows(told), REFLEX_HEADER)
    show_table(
        "Assumed, not measured", assumption_rows(told), ("what", "value ± sd", "source; status")
    )
    warnings = (*told.record.warnings, *found.notes)
    show_foot([f"Beware: {one.sentence}" for one in warnings])
