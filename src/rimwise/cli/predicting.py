"""``rimwise predict``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.casebook.predicting import Predicted


CaseFile = Annotated[
    Path, typer.Argument(metavar="CASE.toml", help="Case sheet with the implant's power.")
]
CoverFile = Annotated[
    Path | None,
    typer.Option(metavar="COVER.json", help="Results of measure: the optic in the limbus."),
]
Decentration = Annotated[
    tuple[float, float] | None,
    typer.Option(metavar="NASAL SUPERIOR", help="Optic's middle from the corneal axis."),
]
Tilt = Annotated[
    tuple[float, float] | None,
    typer.Option(metavar="NASAL SUPERIOR", help="Where the front of the optic's axis points."),
]
Marks = Annotated[float | None, typer.Option(help="Where the marks of a toric implant lie.")]
Pupils = Annotated[
    list[float] | None, typer.Option(help="Entrance pupil, again and again; 2 to 6 without.")
]
MapPupil = Annotated[
    float | None,
    typer.Option(help="Map what standing elsewhere would cost, through this pupil; takes seconds."),
]
Loss = Annotated[
    float, typer.Option(metavar="SHARE", help="Of contrast, that the tolerance circle allows.")
]
Drawing = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for a drawing, with the maps.")
]
Pictures = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="Folder for pictures of a chart and lamps as seen."),
]
Page = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="Folder for one HTML page with numbers and pictures."),
]
JsonFile = Annotated[
    str | None, typer.Option(metavar="FILE", help='Write the sight as JSON; "-" prints it.')
]


def predict(  # noqa: PLR0913, PLR0917  one argument a flag
    case: CaseFile,
    placement: CoverFile = None,
    decentration_mm: Decentration = None,
    tilt_deg: Tilt = None,
    marks_deg: Marks = None,
    pupil_mm: Pupils = None,
    map_pupil_mm: MapPupil = None,
    loss: Loss = 0.1,
    drawing: Drawing = None,
    pictures: Pictures = None,
    page: Page = None,
    json: JsonFile = None,
) -> None:
    """Say what an eye will see with its implant where it is, beside the ideal placement.

    Example: rimwise predict E-017.toml --decentration-mm 0.3 -0.1 --tilt-deg 2 0 --json sight.json
    """
    with one_sentence():
        from rimwise.casebook.predicting import SightRequest, predict_case  # noqa: PLC0415

        pupils = tuple(pupil_mm or ())
        asked = SightRequest(
            case, placement, decentration_mm, tilt_deg, marks_deg, pupils, map_pupil_mm, loss,
            drawing, pictures, page, json,
        )  # fmt: skip
        done = predict_case(asked)
        if json != "-":
            _show(done)


def _show(done: "Predicted") -> None:
    from rimwise.report.sight_words import HEADER, sight_rows, sight_sentences  # noqa: PLC0415

    sight = done.sight
    show_table(f"{sight.code} ({sight.side} eye)", sight_rows(sight), HEADER)
    notes = [f"Beware: {one.sentence}" for one in done.notes]
    said = [*sight_sentences(sight), "± is one standard deviation, of the placement alone."]
    drawn = [] if done.drawing is None else [f"Drawing: {done.drawing}"]
    seen = [f"Picture: {one}" for one in done.pictures]
    page = [] if done.page is None else [f"Page: {done.page}"]
    show_foot([*said, *notes, *drawn, *seen, *page])
