"""``rimwise constants``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, show_foot, show_table

if TYPE_CHECKING:
    from rimwise.casebook.constants import OwnConstant

HEADER = ("formula, constant", "method", "value", "95 %", "offset", "sd", "eyes for ±0.05")


def constants(
    table: Annotated[
        Path, typer.Argument(help="Operated eyes with one kind of implant.", metavar="EYES.csv")
    ],
    a_constant: Annotated[
        float, typer.Option(help="Where the search starts, for example as printed.")
    ],
    keratometer_index: Annotated[
        float | None, typer.Option(help="Index behind a column k_dpt, often 1.3375 or 1.332.")
    ] = None,
    implant_index: Annotated[
        float | None, typer.Option(help="Index of the implant, for the exact trace.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write the answers as JSON; "-" prints them.')
    ] = None,
) -> None:
    """Fit an implant's constants to a surgeon's own eyes: several honest answers, each named.

    Columns: axial_mm, radius_mm (or k_dpt), implant_power_dpt, achieved_dpt (spherical equivalent
    at the spectacles); chamber_depth_mm, lens_thickness_mm and person where known for every eye.
    With both depths the exact trace has its answers too (position_share).

    Example: rimwise constants eyes.csv --a-constant 118.4 --keratometer-index 1.3375
    """
    with one_sentence():
        from rimwise.casebook.constants import own_constants  # noqa: PLC0415

        found = own_constants(table, a_constant, keratometer_index, json, implant_index)
        if json != "-":
            _show(found)


def _show(found: "tuple[OwnConstant, ...]") -> None:
    from rimwise.plan.constant_methods import METHODS  # noqa: PLC0415
    from rimwise.plan.formulas import STATUS  # noqa: PLC0415
    from rimwise.plan.lens_series import CALIBRATED_EYES  # noqa: PLC0415

    rows = [
        (
            f"{one.formula}, {one.name}",
            one.fit.method,
            f"{one.fit.value:.3f}",
            f"{one.interval.low:.2f} to {one.interval.high:.2f}",
            f"{round(one.fit.offset_dpt, 2) + 0.0:+.2f}".replace("-", "−"),
            f"{one.fit.sd_dpt:.2f}",
            str(one.eyes_for_005),
        )
        for one in found
    ]
    eyes = found[0].fit.eyes
    show_table(f"Constants from {eyes} own eyes", rows, HEADER)
    notes = [f"{method}: {question}." for method, question in METHODS.items()]
    if not found[0].fit.calibrated:
        notes.append(
            f"Beware: uncalibrated; {eyes} eyes stand behind these constants, and they count from "
            f"{CALIBRATED_EYES} on."
        )
    notes.append(f"Beware: formulas: {STATUS}.")
    notes.append(
        "Offset and sd of the prediction errors, dpt; an offset is to be added to every prediction."
    )
    show_foot(notes)
