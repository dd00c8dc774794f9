"""Microscope frames in, centre and turn out: loaded, aligned, drawn, all written.

One bad frame does not stop the others: it becomes a refused entry of the document.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from rimwise.align.frame import Answered, Question, align_frame, refused
from rimwise.align.reference import FixatingFrame, make_reference
from rimwise.casebook.exits import Progress, exit_of, not_read, worst_exit
from rimwise.casebook.one_by_one import drawing_places, one_by_one
from rimwise.exchange.frames import (
    frame_document,
    read_reference,
    reference_document,
    unread_frame_document,
)
from rimwise.exchange.pictures import check_file, load_picture
from rimwise.exchange.results import document_of
from rimwise.exchange.sheets import case_sheet_for, read_picture_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    write_bytes,
    write_json,
)
from rimwise.picture.raster import Raster
from rimwise.records.cover import Reason
from rimwise.records.frame import EyeReference, FrameFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused, WrongInput

MANY = 3
"""So many frames take as long in plain Python as the compiled paths take to load."""

Draw = Callable[[Raster, FrameFinding, PictureSheet], bytes]


@dataclass(frozen=True, slots=True)
class AlignRequest:
    """What is asked of ``align_frames``.

    Parameters
    ----------
    paths : sequence of path
        The frames.
    flags : mapping
        Keys of the picture sheet that hold for all of them and outrank every sheet.
    case : path or None
        The case sheet of the eye; its [opening] is drawn.
    save_reference : path or None
        Where a reference made from these frames goes.
    json_out : path, "-" or None
    drawing_dir : path or None
    """

    paths: Sequence[Path]
    flags: Mapping[str, object]
    case: Path | None = None
    save_reference: Path | None = None
    json_out: Path | str | None = None
    drawing_dir: Path | None = None


@dataclass(frozen=True, slots=True)
class Aligned:
    """What became of one frame; without a finding, ``reason`` says why."""

    picture: str
    finding: FrameFinding | None
    reason: Reason | None = None
    fixating: FixatingFrame | None = None
    drawing: Path | None = None

    @property
    def exit_code(self) -> int:
        """Return the exit code that this frame alone would give."""
        return exit_of(self.finding, self.reason)

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        if self.finding is not None:
            return frame_document(self.finding)
        return unread_frame_document(self.picture, not_read(self.reason))


@dataclass(frozen=True, slots=True)
class AlignOutcome:
    """All frames in the order in which they were given, and the reference made of them."""

    frames: tuple[Aligned, ...]
    reference: EyeReference | None = None

    @property
    def exit_code(self) -> int:
        """Return 1 after an unexpected error, else 2 if any input was bad, else 3 if refused."""
        return worst_exit(one.exit_code for one in self.frames)

    def document(self) -> dict[str, Any]:
        """Return the whole document."""
        return document_of(one.document() for one in self.frames)


def align_frames(
    request: AlignRequest, progress: Progress | None = None, draw: Draw | None = None
) -> AlignOutcome:
    """Where is the centre in these frames, and how far is the eye from fixation?

    Parameters
    ----------
    request : AlignRequest
    progress : callable, optional
        Told before each frame: how many are done, how many there are, the name of the next; and
        once at the end.
    draw : callable, optional
        The step that draws; the real one unless a test gives another.

    Raises
    ------
    OutputFailed
        The document, the reference or a drawing cannot be written.
    WrongInput
        The case sheet cannot be read, or no reference can be made of these frames.
    """
    places = _places(request)
    opening = None if request.case is None else case_sheet_for(request.case).opening.diameter_mm
    question = Question(None, opening, len(request.paths) >= MANY)
    drawer = None if request.drawing_dir is None else draw or _draw_step()
    work = partial(_aligned, request=request, question=question, draw=drawer)
    done = one_by_one(request.paths, places, (work, _failed), progress)
    made = None if request.save_reference is None else _saved(request.save_reference, done)
    outcome = AlignOutcome(done, made)
    if request.json_out is not None:
        write_json(request.json_out, outcome.document())
    return outcome


def _saved(path: Path, done: Sequence[Aligned]) -> EyeReference:
    frames = [one.fixating for one in done if one.fixating is not None]
    if not frames:
        raise WrongInput(
            "no frame was found that fixates, and a reference needs at least one; say fixation = "
            '"confirmed" or "claimed" in the sheet of frames in which the patient looked at a lamp'
        )
    reference = make_reference(frames)
    write_json(path, reference_document(reference))
    return reference


def _places(request: AlignRequest) -> list[Path | None]:
    """Refuse now what could not be written later; return where each drawing goes."""
    named = request.flags.get("reference")
    inputs = [*request.paths, *([Path(str(named))] if named is not None else [])]
    for output in (request.json_out, request.save_reference):
        if output is not None:
            check_writable(output)
            check_not_input(output, inputs)
    return drawing_places(request.paths, request.drawing_dir, "align", inputs)


def _draw_step() -> Draw:
    from rimwise.report.frame_drawing import draw_frame  # noqa: PLC0415

    return draw_frame


def _aligned(
    path: Path, place: Path | None, *, request: AlignRequest, question: Question, draw: Draw | None
) -> Aligned:
    check_file(path)
    told = read_picture_sheet(path, request.flags, case=request.case)
    check_frame(told.sheet, path.name)
    asked = replace(question, reference=_reference(path, told.sheet, request))
    loaded = load_picture(path)
    answered = _answered(loaded.raster, told.sheet, str(path), asked)
    finding = answered.finding
    finding = replace(finding, reasons=(*finding.reasons, *told.notes, *loaded.notes))
    if draw is not None and place is not None:
        write_bytes(place, draw(loaded.raster, finding, told.sheet))
    return Aligned(str(path), finding, None, answered.fixating, place)


def _failed(path: Path, reason: Reason) -> Aligned:
    return Aligned(str(path), None, reason)


def _reference(path: Path, sheet: PictureSheet, request: AlignRequest) -> EyeReference | None:
    """Read the reference: a flag's path from here, a sheet's from the picture's folder."""
    if sheet.reference is None:
        return None
    flag = request.flags.get("reference") is not None
    return read_reference(Path(sheet.reference) if flag else path.parent / sheet.reference)


def _answered(raster: Raster, sheet: PictureSheet, picture: str, question: Question) -> Answered:
    try:
        return align_frame(raster, sheet, picture, question)
    except MeasurementRefused as refusal:
        return Answered(refused(picture, sheet, refusal), None)


def check_frame(sheet: PictureSheet, name: str) -> None:
    """Refuse what is no frame.

    Raises
    ------
    WrongInput
        The sheet says that it is a photograph or a clip.
    """
    if sheet.kind != "frame":
        raise WrongInput(
            f'{name} is a {sheet.kind} by its sheet, and align takes kind = "frame"; photographs '
            "are for measure, or correct the sheet"
        )
