"""Flags that are a sheet's keys with dashes: ``--optic-diameter-mm`` is ``optic_diameter_mm``."""

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import typer


@dataclass(frozen=True, slots=True)
class SheetFlag:
    """A key of a sheet that may be given on the command line.

    Parameters
    ----------
    key : str
        As in the sheet; a table's key is written ``table.key`` and its flag is the last part.
    kind : type
        str, float, int or bool. Ranges and choices are checked where the sheet is.
    text : str
        What it means, for ``--help``.
    """

    key: str
    kind: type
    text: str

    @property
    def name(self) -> str:
        """Return the parameter's name."""
        return self.key.rpartition(".")[2]

    @property
    def flag(self) -> str:
        """Return the flag as typed."""
        dashed = self.name.replace("_", "-")
        return f"--{dashed}/--no-{dashed}" if self.kind is bool else f"--{dashed}"


PICTURE_FLAGS = (
    SheetFlag("side", str, "right or left: which eye of the patient; never guessed"),
    SheetFlag("optic_diameter_mm", float, "diameter of the optic, the ruler: 4.5 to 7.5"),
    SheetFlag("optic_diameter_sd_mm", float, "its standard deviation; 0.05 if not given"),
    SheetFlag(
        "state",
        str,
        "which lens is in the eye: natural, gel-natural, empty-bag, gel-implant, implant or visit "
        "(default)",
    ),
    SheetFlag("superior_deg", float, "where the eye's superior points; 90 is up, 270 is down"),
    SheetFlag("superior_sd_deg", float, "its standard deviation; 3 if not given"),
    SheetFlag("mirrored", bool, "whether the picture shows the eye as in a mirror"),
    SheetFlag("toric_marks_per_end", int, "toric marks at each end; 0 for none"),
    SheetFlag("working_distance_mm", float, "camera's entrance pupil to the cornea"),
    SheetFlag("px_per_mm", float, "pixels to the millimetre at the working distance"),
    SheetFlag("code", str, "pseudonym of the eye"),
    SheetFlag("taken", str, "date of the picture, as 2026-03-02"),
    SheetFlag("visit_day", int, "days since surgery, in place of the date"),
    SheetFlag("fixation", str, "confirmed, claimed or none"),
)
CASE_FLAGS = (
    SheetFlag("opening.diameter_mm", float, "judge this diameter of the opening"),
    SheetFlag("opening.centre", str, "visual_axis, lens, pupil or limbus"),
    SheetFlag("opening.technique", str, "manual or guided: whose spread stands in for an own one"),
    SheetFlag("goal.least_cover_mm", float, "cover wanted all the way round"),
    SheetFlag("goal.p_complete", float, "probability of complete cover wanted"),
    SheetFlag("implant.optic_diameter_mm", float, "diameter of the planned optic: 4.5 to 7.5"),
)


def with_flags(
    flags: tuple[SheetFlag, ...], panel: str
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command these flags; it receives them as one mapping called ``flags``.

    Parameters
    ----------
    flags : tuple of SheetFlag
        What to offer.
    panel : str
        The sheet that they are keys of, for ``--help``.
    """

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(command)
        def called(**given: Any) -> None:
            values = {flag.key: given.pop(flag.name) for flag in flags}
            command(flags=values, **given)

        own = inspect.signature(command).parameters.values()
        parameters = [one for one in own if one.name != "flags"]
        parameters += [_parameter(flag, panel) for flag in flags]
        annotations = {one.name: one.annotation for one in parameters}
        vars(called)["__signature__"] = inspect.Signature(parameters)
        called.__annotations__ = annotations
        return called

    return decorate


def _parameter(flag: SheetFlag, panel: str) -> inspect.Parameter:
    option = typer.Option(
        None, flag.flag, help=flag.text, rich_help_panel=panel, show_default=False
    )
    return inspect.Parameter(
        flag.name, inspect.Parameter.KEYWORD_ONLY, default=option, annotation=flag.kind | None
    )
