"""``rimwise predict``: parse, call the casebook, show."""

from pathlib import Path
from typing import Annotated

import typer

from rimwise.cli.talk import one_sentence, show_foot, show_table


def predict(  # noqa: PLR0913, PLR0917  one argument a flag
    case: Annotated[
        Path, typer.Argument(metavar="CASE.toml", help="Case sheet with the implant's power.")
    ],
    placement: Annotated[
        Path | None,
        typer.Option(metavar="COVER.json", help="Results of measure: the optic in the limbus."),
    ] = None,
    decentration_mm: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="NASAL SUPERIOR", help="Optic's middle from the corneal axis."),
    ] = None,
    tilt_deg: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="NASAL SUPERIOR", help="Where the front of the optic's axis points."),
    ] = None,
    marks_deg: Annotated[
        float | None, typer.Option(help="Where the marks of a toric implant lie.")
    ] = None,
    pupil_mm: Annotated[
        list[float] | None, typer.Option(help="Entrance pupil, again and again; 2 to 6 without.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write the sight as JSON; "-" prints it.')
    ] = None,
) -> None:
    """Say what an eye will see with its implant where it is, beside the ideal placement.

    Example: rimwise predict E-017.toml --decentration-mm 0.3 -0.1 --tilt-deg 2 0 --json sight.json
    """
    with one_sentence():
        from rimwise.casebook.predicting import SightRequest, predict_case  # noqa: PLC0415
        from rimwise.report.sight_words import (  # noqa: PLC0415
            HEADER,
            sight_rows,
            sight_sentences,
        )

        done = predict_case(
            SightRequest(
                case,
                placement,
                decentration_mm,
                tilt_deg,
                marks_deg,
                tuple(pupil_mm or ()),
                json,
            )
        )
        if json != "-":
            sight = done.sight
            show_table(f"{sight.code} ({sight.side} eye)", sight_rows(sight), HEADER)
            notes = [f"Beware: {one.sentence}" for one in done.notes]
            said = [*sight_sentences(sight), "± is one standard deviation, of the placement alone."]
            show_foot([*said, *notes])
