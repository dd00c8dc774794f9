"""Photographs in, cover out: each picture and its sheet loaded, measured, drawn, all written.

One bad picture does not stop the others: it becomes a refused entry of the document.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from rimwise.casebook.exits import Progress, exit_of, not_read, worst_exit
from rimwise.casebook.one_by_one import drawing_places, one_by_one
from rimwise.exchange.pictures import check_file, load_picture
from rimwise.exchange.results import cover_document, document_of, unread_document
from rimwise.exchange.sheets import read_picture_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    write_bytes,
    write_json,
)
from rimwise.journey import Measure, corrected_finding, finding_of, with_budget
from rimwise.picture.raster import Raster
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput


class Draw(Protocol):
    """The step that draws one finding as a PNG."""

    def __call__(self, raster: Raster, finding: CoverFinding, sheet: PictureSheet) -> bytes:
        """How does this finding look?"""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked of ``measure_pictures``.

    Parameters
    ----------
    paths : sequence of path
        The photographs.
    flags : mapping
        Keys of the picture sheet that hold for all of them and outrank every sheet.
    sheet, case : path or None
        A sheet in place of the one beside each picture; the case sheet of the eye.
    json_out : path, "-" or None
        Where the document goes.
    drawing_dir : path or None
        Folder for one drawing a picture.
    points : path or None
        A reader's corrections of the curves; for one picture alone.
    budget : bool
        Whether to say where each ± comes from.
    """

    paths: Sequence[Path]
    flags: Mapping[str, object]
    sheet: Path | None = None
    case: Path | None = None
    json_out: Path | str | None = None
    drawing_dir: Path | None = None
    points: Path | None = None
    budget: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """What became of one picture; without a finding, ``reason`` says why."""

    picture: str
    finding: CoverFinding | None
    reason: Reason | None = None
    drawing: Path | None = None

    @property
    def exit_code(self) -> int:
        """Return the exit code that this picture alone would give."""
        return exit_of(self.finding, self.reason)

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        if self.finding is not None:
            return cover_document(self.finding)
        return unread_document(self.picture, not_read(self.reason))


@dataclass(frozen=True, slots=True)
class Outcome:
    """All pictures in the order in which they were given."""

    pictures: tuple[Measured, ...]

    @property
    def exit_code(self) -> int:
        """Return 1 after an unexpected error, else 2 if any input was bad, else 3 if refused."""
        return worst_exit(one.exit_code for one in self.pictures)

    def document(self) -> dict[str, Any]:
        """Return the whole document."""
        return document_of(one.document() for one in self.pictures)


def measure_pictures(
    request: Request,
    progress: Progress | None = None,
    measure: Measure | None = None,
    draw: Draw | None = None,
) -> Outcome:
    """What do these photographs show?

    Parameters
    ----------
    request : Request
        Pictures, flags and where the answers go.
    progress : callable, optional
        Told before each picture: how many are done, how many there are, the name of the next; and
        once at the end.
    measure, draw : callable, optional
        The steps; the real ones unless a test gives others.

    Returns
    -------
    Outcome
        One entry a picture, with the exit code of the whole.

    Raises
    ------
    OutputFailed
        The document or a drawing cannot be written.
    WrongInput
        The file of points cannot be used, or there are several pictures for it.
    """
    places = _places(request)
    drawing = None if request.drawing_dir is None else draw or _draw_step()
    steps = _Steps(measure, drawing, _corrections(request))
    work = partial(_measured, request=request, steps=steps)
    outcome = Outcome(one_by_one(request.paths, places, (work, _failed), progress))
    if request.json_out is not None:
        write_json(request.json_out, outcome.document())
    return outcome


def _places(request: Request) -> list[Path | None]:
    """Refuse now what could not be written later; return where each drawing goes."""
    if request.json_out is not None:
        check_writable(request.json_out)
        check_not_input(request.json_out, request.paths)
    return drawing_places(request.paths, request.drawing_dir, "cover", request.paths)


def _corrections(request: Request) -> Corrections | None:
    """Return what a reader says of the one picture's curves."""
    if request.points is None:
        return None
    if len(request.paths) != 1:
        raise WrongInput(
            f"--points corrects one picture, and {len(request.paths)} were given; measure each "
            "with its own file of points"
        )
    from rimwise.exchange.points import read_corrections  # noqa: PLC0415 - brings pydantic

    return read_corrections(request.points)


@dataclass(frozen=True, slots=True)
class _Steps:
    """The steps to be called, the drawing only where one is wanted."""

    measure: Measure | None
    draw: Draw | None
    corrections: Corrections | None = None


def _draw_step() -> Draw:
    from rimwise.report.cover_drawing import draw_cover  # noqa: PLC0415

    return draw_cover


def _measured(path: Path, place: Path | None, *, request: Request, steps: _Steps) -> Measured:
    check_file(path)
    told = read_picture_sheet(path, request.flags, sheet=request.sheet, case=request.case)
    if not (steps.corrections is not None and _before_implant(told.sheet)):
        check_kind(told.sheet, path.name)
    loaded = load_picture(path)
    finding = finding_of(loaded.raster, told.sheet, shown_name(path), loaded.sha256, steps.measure)
    if steps.corrections is not None:
        finding = corrected_finding(finding, told.sheet, steps.corrections, loaded.raster)
    if request.budget:
        finding = with_budget(finding, told.sheet)
    finding = replace(finding, reasons=(*finding.reasons, *told.notes, *loaded.notes))
    if place is not None and steps.draw is not None:
        write_bytes(place, steps.draw(loaded.raster, finding, told.sheet))
    return Measured(shown_name(path), finding, None, place)


def _failed(path: Path, reason: Reason) -> Measured:
    told = replace(reason, sentence=shown_name(reason.sentence))
    return Measured(shown_name(path), None, told)


def _before_implant(sheet: PictureSheet) -> bool:
    """Whether this is a theatre's frame whose opening a reader can outline."""
    return sheet.kind == "frame" and sheet.state in ("natural", "gel-natural", "empty-bag")


def check_kind(sheet: PictureSheet, name: str) -> None:
    """Refuse what is no photograph.

    Raises
    ------
    WrongInput
        The sheet says that it is a frame or a clip.
    """
    if sheet.kind != "photograph":
        raise WrongInput(
            f'{name} is a {sheet.kind} by its sheet, and measure takes kind = "photograph"; frames '
            "and clips of an operation are for align, or correct the sheet"
        )


def shown_name(text: Path | str) -> str:
    r"""How does a file's name, or a sentence with it, stand in documents, which are UTF-8?

    Examples
    --------
    >>> shown_name(Path("eye.jpg")), shown_name("eye\udcff.jpg")
    ('eye.jpg', 'eye\\udcff.jpg')
    """
    return str(text).encode("utf-8", "backslashreplace").decode("utf-8")
