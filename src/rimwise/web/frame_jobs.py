"""What the worker is asked to do about recorded frames and clips: a folder in, words and drawings.

The folder is the job's own, in the casebook's; names in it are ours, never those that were sent.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rimwise.align.reference import FixatingFrame
    from rimwise.casebook.aligning import Aligned
    from rimwise.records.clip import ClipRow

Told = dict[str, Any]
PROGRESS, MADE, TABLE = "progress", "made-reference.json", "table.csv"
MOST_LINES = 40  # of the table behind a timeline


def frames_job(folder: str, files: Sequence[str], values: Mapping[str, object], make: bool) -> Told:
    """Where is the centre in these frames, and how far is the eye from fixation?

    Parameters
    ----------
    folder, files : str, sequence of str
        The job's folder and the names of the frames in it.
    values : mapping
        Keys of the picture sheet, of all frames.
    make : bool
        Whether a reference is made of the frames that fixate.

    Raises
    ------
    WrongInput, OutputFailed
    """
    from rimwise.casebook.aligning import AlignRequest, align_frames  # noqa: PLC0415

    place = Path(folder)
    paths = [place / name for name in files]
    request = AlignRequest(paths, values, drawing_dir=place)
    outcome = align_frames(request, lambda done, of, _: _progress(place, done, of))
    fixating = [one.fixating for one in outcome.frames if one.fixating is not None]
    told: Told = {"kind": "frames", "frames": [_frame(one) for one in outcome.frames]}
    told["reference"] = _reference(place, fixating) if make else None
    return told


def _progress(place: Path, done: int, of: int) -> None:
    (place / PROGRESS).write_text(f"{done} {of}", "utf-8")


def _frame(one: "Aligned") -> Told:
    from rimwise.report.frame_words import frame_rows  # noqa: PLC0415

    told: Told = {"document": one.document(), "drawing": None, "rows": [], "reasons": []}
    if one.finding is None:
        sentence = "" if one.reason is None else one.reason.sentence
        return told | {"status": "refused", "headline": "", "reasons": [sentence]}
    offset = one.finding.offset
    words = None if offset is None else offset.turn_words
    return told | {
        "status": one.finding.status,
        "headline": words or "",
        "reasons": [reason.sentence for reason in one.finding.reasons],
        "rows": [list(row) for row in frame_rows(one.finding)[1:]],
        "drawing": None if one.drawing is None else one.drawing.name,
    }


def _reference(place: Path, fixating: "list[FixatingFrame]") -> Told:
    from rimwise.align.reference import make_reference  # noqa: PLC0415
    from rimwise.exchange.frames import reference_document  # noqa: PLC0415
    from rimwise.exchange.writing import write_json  # noqa: PLC0415
    from rimwise.terms.errors import RimwiseError  # noqa: PLC0415

    if not fixating:
        return {"status": "none", "fixations": 0, "sentence": ""}
    try:
        made = make_reference(fixating)
    except RimwiseError as error:
        return {"status": "none", "fixations": len(fixating), "sentence": error.sentence}
    write_json(place / MADE, reference_document(made))
    return {"status": made.status, "fixations": made.fixations, "sentence": ""}


def clip_job(folder: str, file: str, values: Mapping[str, object]) -> Told:
    """Where is the centre in every frame of this recorded clip? Taken up again where it was left.

    Raises
    ------
    WrongInput, OutputFailed, MeasurementRefused
    """
    from rimwise.casebook.clips import ClipRequest, align_clip  # noqa: PLC0415

    place = Path(folder)
    request = ClipRequest(place / file, values, place / TABLE, drawing_dir=place)
    outcome = align_clip(request, lambda done, of, _: _progress(place, done, of))
    timeline, *stills = outcome.drawings
    rows = _rows(place / TABLE, _lamps(values))
    every = max(1, -(-len(rows) // MOST_LINES))
    return {
        "kind": "clip",
        "frames": outcome.frames,
        "counts": outcome.counts,
        "timeline": timeline.name,
        "stills": [_still(one.name, rows) for one in stills],
        "rows": [_line(row) for row in rows[::every]],
    }


def _lamps(values: Mapping[str, object]) -> int:
    lamps = values.get("lamps")
    places = lamps.get("places_mm") if isinstance(lamps, Mapping) else None
    return len(places) if isinstance(places, list | tuple) else 0


def _rows(table: Path, lamps: int) -> "list[ClipRow]":
    import csv  # noqa: PLC0415

    from rimwise.exchange.clip_table import row_of  # noqa: PLC0415

    with table.open(encoding="utf-8", newline="") as file:
        return [row_of(cell, lamps) for cell in csv.DictReader(file)]


def _still(name: str, rows: "list[ClipRow]") -> Told:
    number = int(name.split(".")[-3])
    row = next(one for one in rows if one.frame == number)
    return {"drawing": name, "line": _line(row)}


def _line(row: "ClipRow") -> list[str]:
    """Return time, state, offset, turn and its ± as words: right and up of the examiner."""

    def pair(told: tuple[float, float] | None, unit: str, digits: int) -> str:
        if told is None:
            return "–"
        words = f"{told[0]:+.{digits}f}, {told[1]:+.{digits}f} {unit}"
        return words.replace("-", "−")

    sd = "–" if row.turn_sd_deg is None else f"{row.turn_sd_deg:.2f}°"
    return [f"{row.time_s:.2f} s", str(row.status), pair(row.offset_mm, "mm", 2),
            pair(row.turn_deg, "°", 1), sd, f"{row.confidence:.2f}"]  # fmt: skip


def invented_job(folder: str, name: str, seed: int) -> dict[str, Any]:
    """Draw a frame of an invented eye to try the page on; returns the keys of its sheet."""
    from rimwise.demo.frames import invented_frame  # noqa: PLC0415

    data, sheet = invented_frame(seed)
    (Path(folder) / name).write_bytes(data)
    lamps, lengths = sheet.lamps, sheet.lengths
    assert lamps is not None
    told: dict[str, Any] = {
        "side": sheet.side, "state": sheet.state, "superior_deg": sheet.frame.superior_deg,
        "working_distance_mm": sheet.working_distance_mm, "px_per_mm": sheet.px_per_mm,
        "lamps": {"plane_mm": lamps.plane_mm, "places_mm": [list(one) for one in lamps.places_mm]},
        "cornea": {"radius_mm": sheet.cornea.radius_mm, "thickness_um": sheet.cornea.thickness_um},
        "lengths": {"white_to_white_mm": lengths.white_to_white_mm,
                    "lens_front_depth_mm": lengths.lens_front_depth_mm,
                    "lens_thickness_mm": lengths.lens_thickness_mm},
    }  # fmt: skip
    return {
        key: {k: v for k, v in one.items() if v is not None} if isinstance(one, dict) else one
        for key, one in told.items() if one is not None
    }  # fmt: skip
