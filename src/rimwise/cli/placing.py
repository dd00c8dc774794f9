"""``rimwise place``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, say, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.records.placement import Placement

_CASE = typer.Option(
    metavar="CASE.toml", help="Case sheet or plan (JSON): visual axis and lens centre."
)


def place(
    cover: Annotated[
        Path,
        typer.Argument(help="Results of measure, or a plan (--json).", metavar="COVER.json"),
    ],
    case: Annotated[Path | None, _CASE] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write the places as JSON; "-" prints them.')
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for one drawing a picture.")
    ] = None,
    same_eye: Annotated[
        bool,
        typer.Option(
            "--same-eye",
            help="All pictures show one eye, the last as it is now, the others with the haptics "
            "at other angles.",
        ),
    ] = False,
) -> None:
    """Say where the optic can be put today, where it will rest, and whether turning it helps.

    Optic (implant's lens body), opening (capsulotomy), cover (capsule overlap).

    Example: rimwise place eye.json --case E-017.toml --json place.json --drawing .
    """
    with one_sentence():
        from rimwise.casebook.placing import PlaceRequest, place_findings  # noqa: PLC0415

        placed = place_findings(PlaceRequest(cover, case, json, drawing, same_eye))
        if json != "-":
            shown = [one for one in placed.placements if one.today is not None]
            for one in shown:
                _show(one)
            said = [*(reason for one in shown for reason in one.reasons), *placed.notes]
            notes = [f"Beware: {sentence}" for sentence in dict.fromkeys(n.sentence for n in said)]
            drawings = [f"Drawing: {path}" for path in placed.drawings]
            show_foot(["± is one standard deviation.", *notes, *drawings])
        for one in placed.placements:
            if one.status == "refused":
                say(f"{one.picture} is refused: {one.reasons[0].sentence}")
        raise typer.Exit(placed.exit_code)


def _show(placement: "Placement") -> None:
    from rimwise.report.place_words import place_table  # noqa: PLC0415

    show_table(f"{placement.picture} ({placement.side} eye)", place_table(placement))
