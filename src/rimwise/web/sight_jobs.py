"""What the worker is asked to do about an eye's sight: numbers first, then pictures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwise.web.jobs import THE_FORM

if TYPE_CHECKING:
    from rimwise.records.case import CaseSheet
    from rimwise.records.cover import Reason
    from rimwise.records.eye import EyeRecord
    from rimwise.records.sight import ImplantPlace

Table = tuple[str, tuple[str, ...], tuple[tuple[str, ...], ...]]


@dataclass(frozen=True, slots=True)
class AskedSight:
    """Which eye is looked through, and where its implant stands.

    Parameters
    ----------
    case : mapping
        The case sheet.
    decentration_mm, tilt_deg : (nasal, superior) or None
        Without the first the measured place is taken, without the second the tilt is unknown.
    marks_deg : float or None
    measured : mapping or None
        The newest measurement of a picture of this eye.
    """

    case: Mapping[str, Any]
    decentration_mm: tuple[float, float] | None
    tilt_deg: tuple[float, float] | None
    marks_deg: float | None
    measured: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class SightNumbers:
    """What the page shows of one pupil's numbers; tables are (caption, head, rows)."""

    pupil_mm: float
    tables: tuple[Table, ...]
    said: tuple[str, ...]
    beware: tuple[str, ...]
    assumed: tuple[str, ...]
    drawing: bytes
    described: str
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SightScene:
    """One picture as seen, and the row that stands behind it."""

    name: str
    described: str
    row: tuple[str, ...]
    picture: bytes


def numbers_job(asked: AskedSight, pupil_mm: float, mapped: bool = False) -> SightNumbers:
    """What does this eye see through this pupil, beside the ideal placement?

    With maps of what standing elsewhere would cost, where they are asked for.

    Raises
    ------
    WrongInput
        The sheet lacks what a sight needs.
    MeasurementRefused
        The cornea was operated, or light does not pass the optic.
    """
    from rimwise.casebook.seeing import edge_notes, marked, profile_notes  # noqa: PLC0415
    from rimwise.exchange.results import reasons_document  # noqa: PLC0415
    from rimwise.predict.looks import bare_edges  # noqa: PLC0415
    from rimwise.predict.make import SightQuestion, predict_sight  # noqa: PLC0415
    from rimwise.report.sight_drawing import draw_sight, sight_description  # noqa: PLC0415
    from rimwise.report.sight_page import (  # noqa: PLC0415
        assumed_words,
        contrast_table,
        cost_table,
        focus_table,
    )
    from rimwise.report.sight_words import HEADER, sight_rows, sight_sentences  # noqa: PLC0415

    case, record, place, notes = _eye(asked)
    profile = None if case.implant is None else case.implant.profile
    edges = bare_edges(record, place, (pupil_mm,), _cover(asked))
    map_pupil_mm = pupil_mm if mapped else None
    ask = SightQuestion(case.code, (pupil_mm,), map_pupil_mm=map_pupil_mm, profile=profile)
    sight = marked(predict_sight(record, place, ask), edges)
    beware = (*notes, *profile_notes(profile), *edge_notes(edges))
    (pupil,) = sight.pupils
    document = sight.document()
    document["bare_edge_in_pupil"] = [one.document() for one in edges]
    document["warnings"] = reasons_document(beware)
    behind = [contrast_table(pupil), focus_table(pupil)]
    if sight.sensitivity is not None:
        behind.insert(0, cost_table(sight.sensitivity, sight.side))
    return SightNumbers(
        pupil_mm=pupil_mm,
        tables=(("", HEADER, tuple(sight_rows(sight))),
                *((one.caption, one.head, one.rows) for one in behind)),
        said=tuple(sight_sentences(sight)),
        beware=tuple(one.sentence for one in beware),
        assumed=tuple(assumed_words(sight)),
        drawing=draw_sight(sight, "svg"),
        described=sight_description(sight),
        document=document,
    )  # fmt: skip


def whole_document(parts: Sequence[Mapping[str, Any]]) -> str:
    """Which one document tells all pupils? What each adds is put together, the rest is the same.

    Examples
    --------
    >>> parts = [{"by_pupil": [3], "sensitivity": None}, {"by_pupil": [4], "sensitivity": {}}]
    >>> "".join(whole_document(parts).split())[-37:]
    '{"by_pupil":[3,4],"sensitivity":{}}]}'
    """
    from rimwise.exchange.results import document_of  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415

    whole: dict[str, Any] = {}
    for part in parts:
        for name, value in part.items():
            if isinstance(value, list) and name in whole:
                whole[name] = [*whole[name], *(one for one in value if one not in whole[name])]
            elif whole.get(name) is None:
                whole[name] = value
    return json_text(document_of([whole]))


def scenes_job(asked: AskedSight, light: str) -> tuple[SightScene, ...]:
    """How do the chart and the lamps look in this light, beside the ideal placement?"""
    from rimwise.casebook.seeing import shown_pictures  # noqa: PLC0415
    from rimwise.report.sight_page import pictures_table, seen_description  # noqa: PLC0415

    case, record, place, _ = _eye(asked)
    shown = shown_pictures(case, record, place, _cover(asked), (light,))
    rows = pictures_table(tuple(one for one, _ in shown)).rows
    return tuple(
        SightScene(f"{one.scene}-{one.light}", seen_description(one), row, png)
        for (one, png), row in zip(shown, rows, strict=True)
    )


def _eye(
    asked: AskedSight,
) -> "tuple[CaseSheet, EyeRecord, ImplantPlace, tuple[Reason, ...]]":
    from dataclasses import replace  # noqa: PLC0415

    from rimwise.casebook.predicting import (  # noqa: PLC0415
        SightRequest,
        missing_notes,
        place_of,
        record_of,
    )
    from rimwise.exchange.case_records import case_record  # noqa: PLC0415
    from rimwise.exchange.sheet_keys import CaseKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_layers import checked_layer  # noqa: PLC0415

    merged = {"code": "without code"} | checked_layer(asked.case, CaseKeys, THE_FORM).values
    case, notes = case_record(merged, THE_FORM)
    typed = asked.decentration_mm or (0.0, 0.0)
    request = SightRequest(Path("the case sheet"), None, typed, asked.tilt_deg, asked.marks_deg)
    record = record_of(case, request)
    place, said = place_of(record, request)
    if asked.decentration_mm is None and asked.measured is not None:
        place = replace(place, shift_mm=_measured_shift(asked.measured))
        said = tuple(one for one in said if one.code != "placement-without-sd")
    return case, record, place, (*notes, *missing_notes(case), *said)


def measured_place(cover: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Where does a measured picture say that the optic stands in the limbus?

    Examples
    --------
    >>> measured_place({"decentration": None}) is None
    True
    """
    vector = (cover.get("decentration") or {}).get("optic-from-limbus")
    if not vector or not all(_is_told(vector.get(one)) for one in ("x_mm", "y_mm")):
        return None
    return dict(vector)


def _is_told(one: Any) -> bool:
    return isinstance(one, Mapping) and None not in {one.get("value"), one.get("sd")}


def _measured_shift(cover: Mapping[str, Any]) -> Any:
    from rimwise.terms.estimate import Estimate  # noqa: PLC0415

    vector = measured_place(cover) or {}
    x, y = (Estimate(vector[one]["value"], vector[one]["sd"], "photograph")
            for one in ("x_mm", "y_mm"))  # fmt: skip
    return x, y


def _cover(asked: AskedSight) -> tuple[float | None, ...] | None:
    told = (asked.measured or {}).get("cover")
    widths = told.get("width_mm") if isinstance(told, Mapping) else None
    return tuple(widths) if isinstance(widths, list) and len(widths) == 360 else None
