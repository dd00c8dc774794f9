"""``rimwise align``: parse, call the casebook, show."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.sheet_flags import PICTURE_FLAGS, SheetFlag, with_flags
from rimwise.cli.talk import (
    one_sentence,
    progress_bar,
    say,
    show_foot,
    show_table,
    told_of_compiling,
)
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.aligning import AlignOutcome, AlignRequest
    from rimwise.casebook.clips import ClipRequest

HEADER = ("frame", "status", "reflexes", "eye rotation", "turn to fixation")
FRAME_FLAGS = (
    SheetFlag("reference", str, "this eye's reference, the file that --save-reference wrote"),
    *(
        flag
        for flag in PICTURE_FLAGS
        if flag.key not in ("optic_diameter_mm", "optic_diameter_sd_mm", "toric_marks_per_end")
    ),
)

FrameDrawing = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for one drawing a frame.")
]
ClipTable = Annotated[
    Path | None,
    typer.Option(metavar="T.csv|T.parquet", help="Of a recorded clip: one row a frame."),
]

ReflexesOnly = Annotated[
    bool,
    typer.Option(
        "--reflexes-only",
        help="Of a clip: follow pupil, P1 and P4 without the fit of the eye; faster, no turn.",
    ),
]


@with_flags(FRAME_FLAGS, "Keys of the picture sheet; they outrank it")
def align(  # noqa: PLR0913 - one argument a flag
    frames: Annotated[
        list[Path],
        typer.Argument(
            help="Recorded frames of an operating microscope, or one clip.", metavar="FRAME"
        ),
    ],
    save_reference: Annotated[
        Path | None,
        typer.Option(metavar="R.json", help="Write a reference from frames that fixate."),
    ] = None,
    case: Annotated[
        Path | None,
        typer.Option(help="Case sheet or plan (JSON) of the eye; its opening is drawn."),
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Write the results as JSON; "-" prints them.')
    ] = None,
    drawing: FrameDrawing = None,
    table: ClipTable = None,
    *,
    reflexes_only: ReflexesOnly = False,
    flags: Mapping[str, object],
) -> None:
    """Say where the centre is in recorded frames or a clip, and the turn back to fixation.

    Reflex (a lamp's mirror image, P1 to P4), reference offset (P1 to P4 while the patient fixates).

    Example: rimwise align frame.jpg --reference E-017.json --json frame.json --drawing .
    """
    with one_sentence():
        from rimwise.casebook.aligning import AlignRequest  # noqa: PLC0415
        from rimwise.exchange.clips import is_clip  # noqa: PLC0415

        if table is not None or any(is_clip(one) for one in frames):
            found = _clip_request(frames, flags, (table, case, drawing), json or save_reference)
            _clip(replace(found, reflexes_only=reflexes_only))
            return
        _check_whole(reflexes_only)
        request = AlignRequest(frames, flags, case, save_reference, json, drawing)
        outcome = _aligned(request)
        if json != "-":
            _show(outcome, len(frames) == 1)
        _complain(outcome)
        raise typer.Exit(outcome.exit_code)


def _aligned(request: "AlignRequest") -> "AlignOutcome":
    from rimwise.casebook.aligning import MANY, align_frames  # noqa: PLC0415

    count = len(request.paths)
    with told_of_compiling(count >= MANY), progress_bar("aligning", count) as progress:
        return align_frames(request, progress)


def _check_whole(reflexes_only: bool) -> None:
    if reflexes_only:
        raise WrongInput("--reflexes-only is for a clip; leave it out with single frames")


def _clip_request(
    paths: list[Path],
    flags: Mapping[str, object],
    places: tuple[Path | None, Path | None, Path | None],
    other: object,
) -> "ClipRequest":
    from rimwise.casebook.clips import ClipRequest  # noqa: PLC0415

    table, case, drawing = places
    if len(paths) != 1 or table is None or other is not None:
        raise WrongInput(
            "a clip is aligned by itself into a table, and stills into JSON or a reference; give "
            "one clip with --table T.csv, or frames without it"
        )
    return ClipRequest(paths[0], flags, table, case, drawing)


def _clip(request: "ClipRequest") -> None:
    from rimwise.casebook.clips import align_clip  # noqa: PLC0415

    with told_of_compiling(True), progress_bar("following", 2) as progress:
        outcome = align_clip(request, progress)
    share = [f"{count} {status}" for status, count in sorted(outcome.counts.items())]
    taken_up = f"Taken up at frame {outcome.resumed_at}." if outcome.resumed_at else ""
    drawings = [f"Drawing: {one}" for one in outcome.drawings]
    told = [
        f"{outcome.frames} frames: {', '.join(share)}.",
        taken_up,
        f"Table: {request.table}",
        *drawings,
    ]
    show_foot([one for one in told if one])


def _show(outcome: "AlignOutcome", alone: bool) -> None:
    from rimwise.report.frame_words import frame_rows, reflex_words  # noqa: PLC0415
    from rimwise.report.reflex_words import pair_words  # noqa: PLC0415

    found = [one.finding for one in outcome.frames if one.finding is not None]
    if not found:
        return
    if alone:
        show_table(f"{found[0].picture} ({found[0].side} eye)", frame_rows(found[0]))
    else:
        rows = []
        for one in found:
            turn = None if one.offset is None else one.offset.turn_deg
            turned = one.eye_rotation_deg
            rows.append(
                (
                    Path(one.picture).name,
                    one.status,
                    reflex_words(one),
                    "" if turned is None else pair_words(turned, "°", one.side),
                    "" if turn is None else pair_words(turn, "°", one.side),
                )
            )
        show_table("", rows, HEADER)
    notes = [f"Beware: {reason.sentence}" for reason in found[0].reasons] if alone else []
    drawings = [f"Drawing: {one.drawing}" for one in outcome.frames if one.drawing is not None]
    show_foot(["± is one standard deviation.", *notes, *_reference_words(outcome), *drawings])


def _reference_words(outcome: "AlignOutcome") -> list[str]:
    made = outcome.reference
    if made is None:
        return []
    how = "verified by their scatter" if made.status == "verified" else "unverified"
    return [f"Reference of {made.fixations} fixation(s), {how}."]


def _complain(outcome: "AlignOutcome") -> None:
    """One sentence on standard error for each frame that gave no answer."""
    for one in outcome.frames:
        if one.reason is not None:
            say(one.reason.sentence)
        elif one.finding is not None and one.finding.status == "refused":
            why = one.finding.reasons[0].sentence if one.finding.reasons else "it cannot answer"
            say(f"{Path(one.picture).name} is refused: {why}")
