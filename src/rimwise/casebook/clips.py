"""A recorded clip in, its table, timeline and best stills out; resumable, of any length."""

import hashlib
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import rimwise
from rimwise.align.frame import Question, align_frame, check_reference
from rimwise.align.tracking import Followed, Wanted, follow_frame
from rimwise.casebook.exits import Progress
from rimwise.exchange.clip_table import GrowingTable
from rimwise.exchange.clips import ClipFrame, ahead, check_clip, clip_frames, clip_length
from rimwise.exchange.frames import read_reference
from rimwise.exchange.sheets import case_sheet_for, read_picture_sheet
from rimwise.exchange.writing import check_not_input, check_writable, make_folder, write_bytes
from rimwise.records.clip import SHOWN, ClipRow
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused, WrongInput

_STILLS = 3
_APART_S = 0.5  # stills show different moments
_DRAWN = 4000


@dataclass(frozen=True, slots=True)
class ClipRequest:
    """What is asked of ``align_clip``.

    Parameters
    ----------
    path : path
    flags : mapping
        Keys of the picture sheet that outrank every sheet.
    table : path
        ``.csv`` or ``.parquet``.
    case : path or None
    drawing_dir : path or None
        Folder of the timeline and the stills.
    reflexes_only : bool
        Whether pupil, P1 and P4 are followed without the fit of the eye: no limbus and no turn.
    """

    path: Path
    flags: Mapping[str, object]
    table: Path
    case: Path | None = None
    drawing_dir: Path | None = None
    reflexes_only: bool = False


@dataclass(frozen=True, slots=True)
class ClipOutcome:
    """How many frames have which status, and what was drawn."""

    frames: int
    counts: dict[str, int]
    resumed_at: int
    drawings: tuple[Path, ...] = ()


def align_clip(request: ClipRequest, progress: Progress | None = None) -> ClipOutcome:
    """Where is the centre in every frame of a recorded clip?

    Raises
    ------
    WrongInput
        No recorded clip, another eye's reference, or no sheet that fits.
    NotAPicture
        The clip cannot be decoded; rows made before are kept for a next run.
    OutputFailed
        Table or drawing cannot be written.
    MeasurementRefused
        The eye was found in no frame.
    """
    sheet, question, named = _asked(request)
    lamps = len(sheet.lamps.places_mm) if sheet.lamps is not None else 0
    table = GrowingTable(request.table, lamps, _made_from(request, (sheet, question)))
    resumed = table.open()
    try:
        _follow(request, table, (sheet, question), progress)
        counts = Counter(str(row.status) for row in table.rows())
        _refuse_nothing(request.path, counts)
    finally:
        table.close()
    drawings = _drawings(request, table, (sheet, question)) if named is not None else ()
    table.finish()
    return ClipOutcome(sum(counts.values()), dict(counts), resumed, drawings)


def _asked(request: ClipRequest) -> tuple[PictureSheet, Question, Path | None]:
    check_clip(request.path)
    check_writable(request.table)
    named = request.flags.get("reference")
    inputs = [request.path, *([Path(str(named))] if named is not None else [])]
    check_not_input(request.table, inputs)
    sheet = read_picture_sheet(request.path, request.flags, case=request.case).sheet
    if sheet.lamps is None:
        raise WrongInput(
            "no [lamps] are given, and a reflex is the image of a lamp; write their places_mm "
            "into the clip's sheet or clinic.toml"
        )
    reference = None
    if sheet.reference is not None:
        there = Path(sheet.reference)
        reference = read_reference(
            there if named is not None else request.path.parent / sheet.reference
        )
        check_reference(sheet, reference)
    opening = None if request.case is None else case_sheet_for(request.case).opening.diameter_mm
    folder = None if request.drawing_dir is None else make_folder(request.drawing_dir)
    return sheet, Question(reference, opening), folder


def _made_from(request: ClipRequest, asked: tuple[PictureSheet, Question]) -> dict[str, object]:
    digest = hashlib.sha256()
    with request.path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    told = hashlib.sha256(repr((asked, request.reflexes_only)).encode()).hexdigest()
    return {"clip": digest.hexdigest(), "asked": told, "rimwise": rimwise.__version__}


def _follow(
    request: ClipRequest,
    table: GrowingTable,
    asked: tuple[PictureSheet, Question],
    progress: Progress | None,
) -> None:
    """Add a row a frame from where the table ends, the eye known from where it was last seen."""
    length = clip_length(request.path)
    shown = [row.frame for row in table.rows() if row.status in SHOWN][-1:]
    frames = (
        frame
        for frame in clip_frames(request.path, min([table.done, *shown]))
        if frame.number >= table.done or frame.number in shown
    )
    for row in _rows(frames, Wanted(*asked, whole=not request.reflexes_only)):
        if progress is not None:
            progress(row.frame, max(length, row.frame + 1), "")
        if row.frame >= table.done:
            table.add(row)


def _rows(frames: Iterator[ClipFrame], wanted: Wanted) -> Iterator[ClipRow]:
    """Follow the eye, while the next frames are decoded."""
    last: Followed | None = None
    with closing(ahead(frames)) as ready:
        for frame in ready:
            last = follow_frame(frame.picture, (frame.number, frame.time_s), wanted, last)
            yield last.row


def _refuse_nothing(path: Path, counts: Counter[str]) -> None:
    if not any(counts[status] for status in SHOWN):
        raise MeasurementRefused(
            "no-eye",
            f"the eye was found in no frame of {path.name}; check that [lamps], px_per_mm and "
            "white_to_white_mm in its sheet are those of this clip and of its size in pixels",
        )


def _best(table: GrowingTable) -> list[ClipRow]:
    """Return the rows with the best known turn, at different moments."""
    best: list[ClipRow] = []
    for row in table.rows():
        if row.status != "found":
            continue
        near = [one for one in best if abs(one.time_s - row.time_s) < _APART_S]
        if all(_merit(row) > _merit(one) for one in near):
            best = [one for one in best if one not in near]
            best = sorted([*best, row], key=_merit, reverse=True)[:_STILLS]
    return best


def _merit(row: ClipRow) -> tuple[float, float]:
    """Nearest to fixation where a turn is told, else the best seen."""
    if row.turn_deg is None:
        return 0.0, -float(row.frame)
    return row.confidence / (1.0 + (row.turn_deg[0] ** 2 + row.turn_deg[1] ** 2) ** 0.5), 0.0


def _drawings(
    request: ClipRequest, table: GrowingTable, asked: tuple[PictureSheet, Question]
) -> tuple[Path, ...]:
    from rimwise.report.clip_drawing import draw_timeline  # noqa: PLC0415
    from rimwise.report.frame_drawing import draw_frame  # noqa: PLC0415

    folder, stem = Path(str(request.drawing_dir)), request.path.stem
    sheet, question = asked
    total = sum(1 for _ in table.rows())
    every = max(1, -(-total // _DRAWN))
    drawn = [row for row in table.rows() if row.frame % every == 0]
    made = [folder / f"{stem}.timeline.png"]
    write_bytes(made[0], draw_timeline(drawn, request.path.name, sheet.side))
    wanted = {row.frame for row in _best(table)}
    for frame in clip_frames(request.path, min(wanted, default=0)):
        if not wanted or frame.number > max(wanted):
            break
        if frame.number not in wanted:
            continue
        name = f"{stem}.{frame.number:06d}"
        try:
            finding = align_frame(frame.raster, sheet, name, question).finding
        except MeasurementRefused:
            continue
        made.append(folder / f"{name}.align.png")
        write_bytes(made[-1], draw_frame(frame.raster, replace(finding, picture=name), sheet))
    return tuple(made)
