"""``rimwise plan``: parse, call the casebook, show."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.sheet_flags import CASE_FLAGS, with_flags
from rimwise.cli.talk import one_sentence, say, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.casebook.planning import Planned

_TORNADO = typer.Option(metavar="FILE", help="Draw what spoils it first; ends in .svg or .png.")
_SHEET = typer.Option(metavar="FILE", help="The plan on one page; ends in .pdf or .html.")
_CUTS = typer.Option(metavar="FILE", help="Own eyes as CSV, cut_mm and left_mm: what a cut leaves.")
_CONTRAST = typer.Option(
    "--contrast/--no-contrast", help="Whether to tell what each centre costs in contrast."
)
_SEAT = typer.Option(metavar="head|side", help="Turns the eye on the sheet as it will be seen.")


@with_flags(CASE_FLAGS, "Keys of the case sheet; they outrank it")
def plan(  # noqa: PLR0913, PLR0917  one argument a flag
    case: Annotated[Path, typer.Argument(help="Case sheet of the eye.", metavar="CASE.toml")],
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write the plan as JSON; "-" prints it.')
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the plan; ends in .svg or .png.")
    ] = None,
    tornado: Annotated[Path | None, _TORNADO] = None,
    sheet: Annotated[Path | None, _SHEET] = None,
    surgeon_sits: Annotated[str, _SEAT] = "head",
    fellow: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Case sheet of the other eye, to compare numbers."),
    ] = None,
    spread: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The surgeon's own, from audit, or: published."),
    ] = None,
    cuts: Annotated[Path | None, _CUTS] = None,
    contrast: Annotated[bool, _CONTRAST] = True,
    *,
    flags: Mapping[str, object],
) -> None:
    """Say how large the opening should be, how likely it covers, and what spoils it first.

    Opening (capsulotomy), cover (capsule overlap), optic (implant's lens body).

    Example: rimwise plan E-017.toml --centre visual_axis --json plan.json --drawing plan.svg
    """
    with one_sentence():
        from rimwise.casebook.planning import PlanFiles, plan_case  # noqa: PLC0415

        files = PlanFiles(json, drawing, tornado, sheet, surgeon_sits, contrast)
        planned = plan_case(case, flags, files, fellow=fellow, spread=spread, cuts=cuts)
        if json != "-":
            _show(planned)
        if planned.exit_code:
            say(planned.plan.reasons[0].sentence)
        raise typer.Exit(planned.exit_code)


def _show(planned: "Planned") -> None:
    from rimwise.report.plan_words import plan_table  # noqa: PLC0415

    plan = planned.plan
    show_table(f"Plan of {plan.code} ({plan.side} eye)", plan_table(plan))
    warnings = [f"Beware: {warning.sentence}" for warning in (*plan.warnings, *planned.notes)]
    assumed = [
        f"Assumed: {one.what} {one.value:g}"
        + ("" if one.sd is None else f" ± {one.sd:g}")
        + f" {'' if one.unit == '1' else one.unit} ({one.cite}; {one.status})"
        for one in plan.assumptions
    ]
    show_foot([*warnings, *assumed])
