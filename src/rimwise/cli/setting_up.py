"""``rimwise setup``: parse, call the casebook, show."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from rimwise.cli.aligning import FRAME_FLAGS
from rimwise.cli.sheet_flags import with_flags
from rimwise.cli.talk import one_sentence, print_lines, say, show_foot, show_table

HEADER = ("what", "stated", "from the frames", "verdict")


@with_flags(
    tuple(flag for flag in FRAME_FLAGS if flag.key != "reference"),
    "Keys of the picture sheet; they outrank it",
)
def setup(
    frames: Annotated[
        list[Path],
        typer.Argument(help="Frames of an operating microscope.", metavar="FRAME"),
    ],
    write: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a proposal for clinic.toml into a new file."),
    ] = None,
    *,
    flags: Mapping[str, object],
) -> None:
    """Check lamps, scale and orientation of a microscope's set-up against recorded frames.

    Nobody's clinic.toml is changed: a proposal is printed, or written into a new file.

    Example: rimwise setup frame-1.jpg frame-2.jpg --write proposed.toml
    """
    with one_sentence():
        from rimwise.casebook.setting_up import check_setup  # noqa: PLC0415

        verdict = check_setup(frames, flags, write)
        show_table("", verdict.rows, HEADER)
        print_lines(verdict.proposal.splitlines())
        show_foot(["± is one standard deviation."])
        for sentence in verdict.refused:
            say(sentence)
        raise typer.Exit(0 if verdict.agrees and not verdict.refused else 3)
