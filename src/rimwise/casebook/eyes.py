"""A case sheet in, the eye described: loaded, modelled, drawn, written."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from rimwise.exchange.results import document_of, reasons_document
from rimwise.exchange.sheets import ReadCase, read_case_sheet
from rimwise.exchange.writing import check_not_input, check_writable, write_bytes, write_json
from rimwise.records.cover import Reason
from rimwise.records.eye import LensKind
from rimwise.records.eye_description import EyeDescription
from rimwise.terms.errors import WrongInput

LENSES: tuple[LensKind, ...] = ("natural", "implant", "none")
DRAWING_KINDS: dict[str, Literal["svg", "png"]] = {".svg": "svg", ".png": "png"}


@dataclass(frozen=True, slots=True)
class Described:
    """An eye's description with what should be said about the sheets that it came from."""

    path: Path
    told: EyeDescription
    notes: tuple[Reason, ...]

    def document(self) -> dict[str, Any]:
        """Return the entry of the results; the notes stand among the warnings."""
        entry = self.told.document()
        entry["case"] = str(self.path)
        entry["warnings"] = [*entry["warnings"], *reasons_document(self.notes)]
        return entry


def describe_case(
    path: Path,
    lens: str = "natural",
    flags: Mapping[str, object] | None = None,
    json_out: Path | str | None = None,
    drawing: Path | None = None,
) -> Described:
    """What do this eye's optics do, and which reflexes will it show?

    Parameters
    ----------
    path : path
        The case sheet.
    lens : "natural", "implant" or "none"
        Which lens is in the eye: before surgery, after it, or between.
    flags : mapping, optional
        Keys of the case sheet that outrank it; a table's key is written ``table.key``.
    json_out : path, "-" or None
        Where the document goes.
    drawing : path, optional
        A file ending in .svg or .png.

    Raises
    ------
    WrongInput
        The sheet cannot be used, or the eye it describes cannot be.
    OutputFailed
        The document or the drawing cannot be written.
    """
    from rimwise.eye.known import known_from_case  # noqa: PLC0415
    from rimwise.eye.this_eye import eye_record  # noqa: PLC0415
    from rimwise.purkinje.describe import describe_eye  # noqa: PLC0415

    for place in (json_out, drawing):
        if place is not None:
            check_writable(place)
            check_not_input(place, [path])
    kind = None if drawing is None else DRAWING_KINDS.get(drawing.suffix.lower())
    if drawing is not None and kind is None:
        raise WrongInput(f"{drawing} ends in neither .svg nor .png; name the drawing so")
    chosen = next((one for one in LENSES if one == lens), None)
    if chosen is None:
        raise WrongInput(f"lens is {lens!r}, and one of {', '.join(LENSES)} is allowed")
    read: ReadCase = read_case_sheet(path, flags)
    record = eye_record(known_from_case(read.sheet, chosen))
    found = Described(path, describe_eye(read.sheet.code, record), read.notes)
    if drawing is not None and kind is not None:
        from rimwise.report.eye_drawing import draw_eye  # noqa: PLC0415

        write_bytes(drawing, draw_eye(found.told, kind))
    if json_out is not None:
        write_json(json_out, document_of([found.document()]))
    return found
