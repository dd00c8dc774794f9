"""Entries of ``rimwise.cover/1`` as rows of one table, a picture a row."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

# Column -> the path of its value in an entry; an estimate gives a second column with its sd.
PLAIN: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("picture", ("picture",)),
    ("sha256", ("sha256",)),
    ("side", ("side",)),
    ("state", ("state",)),
    ("status", ("status",)),
    ("least_cover_mm", ("cover", "min_mm", "value")),
    ("least_cover_sd_mm", ("cover", "min_mm", "sd")),
    ("least_cover_at_deg", ("cover", "min_mm", "at_deg")),
    ("complete", ("cover", "complete")),
    ("p_complete", ("cover", "p_complete")),
    ("assessable_deg", ("cover", "assessable_deg")),
    ("opening_seen_deg", ("opening", "seen_deg")),
    ("edge_before_optic", ("opening", "edge_before_optic")),
)
ESTIMATES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("mean_cover_mm", ("cover", "mean_mm")),
    ("covered_percent", ("cover", "area_percent")),
    ("bare_total_deg", ("cover", "bare_total_deg")),
    ("equivalent_diameter_mm", ("opening", "equivalent_diameter_mm")),
    ("area_mm2", ("opening", "area_mm2")),
    ("circularity", ("opening", "circularity")),
    ("opening_from_optic_nasal_mm", ("decentration", "opening-from-optic", "nasal_mm")),
    ("opening_from_optic_superior_mm", ("decentration", "opening-from-optic", "superior_mm")),
    *(
        (f"optic_from_{name}_{way}_mm", ("decentration", f"optic-from-{name}", f"{way}_mm"))
        for name in ("pupil", "limbus", "P1", "P4")
        for way in ("nasal", "superior")
    ),
    ("lens_tilt_x_deg", ("lens_tilt_deg", "x")),
    ("lens_tilt_y_deg", ("lens_tilt_deg", "y")),
    ("dilated_pupil_mm", ("pupil", "dilated_mm")),
    ("implant_toric_axis_deg", ("implant_toric_axis_deg",)),
    ("haptic_axis_deg", ("haptic_axis_deg",)),
    ("opacification_score", ("opacification", "score")),
    ("opacification_area_percent", ("opacification", "area_percent")),
)
COLUMNS = (
    *(name for name, _ in PLAIN),
    *(column for name, _ in ESTIMATES for column in (name, f"{name}_sd")),
    "reason_codes",
    "first_reason",
)
# A spreadsheet takes a cell that begins so for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def cover_row(entry: Mapping[str, Any]) -> dict[str, str]:
    """Which row does one entry make? What was not measured is empty.

    Examples
    --------
    >>> row = cover_row({"picture": "=eye.jpg", "status": "refused", "reasons": [], "cover": None})
    >>> row["picture"], row["status"], row["least_cover_mm"]
    ("'=eye.jpg", 'refused', '')
    """
    row = {name: _cell(_at(entry, path)) for name, path in PLAIN}
    for name, path in ESTIMATES:
        row[name] = _cell(_at(entry, (*path, "value")))
        row[f"{name}_sd"] = _cell(_at(entry, (*path, "sd")))
    reasons = entry.get("reasons") or []
    row["reason_codes"] = _cell(" ".join(reason["code"] for reason in reasons))
    row["first_reason"] = _cell(reasons[0]["sentence"] if reasons else None)
    return row


def table_lines(entries: Iterable[Mapping[str, Any]]) -> Iterator[bytes]:
    """Write entries as CSV, UTF-8, one line after the other."""
    yield _line(COLUMNS)
    for entry in entries:
        row = cover_row(entry)
        yield _line([row[name] for name in COLUMNS])


def _line(cells: Iterable[str]) -> bytes:
    sink = io.StringIO()
    csv.writer(sink, lineterminator="\n").writerow(cells)
    return sink.getvalue().encode("utf-8")


def _at(entry: Any, path: tuple[str, ...]) -> Any:
    for key in path:
        if not isinstance(entry, Mapping):
            return None
        entry = entry.get(key)
    return entry


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
