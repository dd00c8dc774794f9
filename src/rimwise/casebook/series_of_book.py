"""A series for the audit out of the casebook: one row an eye, from its newest records."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from rimwise.audit.columns import NUMBER_COLUMNS, Mapped
from rimwise.casebook.strips import strip_of, strip_rows
from rimwise.casebook.target_rows import target_columns
from rimwise.exchange.plan_layer import plan_values
from rimwise.exchange.tables import ReadTable, persons_from
from rimwise.records.series import FlowStep, Names, Series
from rimwise.store.book import Casebook, Kept, KeptEye
from rimwise.terms.errors import WrongInput

_SETTLED_DAYS = 21  # a refraction earlier is not the eye's yet (common practice, no source)
_NAMES = (
    "code", "side", "surgeon", "technique", "opening", "complications", "acuity_category",
    "fixation",
)  # fmt: skip

STRIP = "strip"

Row = dict[str, Any]


def series_from_book(book: Casebook, consent: str = "care") -> ReadTable:
    """Which series do the eyes of a casebook make?

    Of each eye the newest operation, the newest measured cover, the last settled visit and the
    newest plan; eyes without an operation or without the consent stay out and are counted.

    Raises
    ------
    WrongInput
        No eye can be audited.
    """
    eyes = book.eyes(limit=10_000_000)
    flow = [FlowStep("eyes in the casebook", 0, len(eyes))]
    agreed = [eye for eye in eyes if consent in book.consent(eye.code)]
    flow.append(FlowStep(f"no consent to {consent}", len(eyes) - len(agreed), len(agreed)))
    rows = [row for eye in agreed if (row := _row(book, eye)) is not None]
    flow.append(FlowStep("no operation sheet", len(agreed) - len(rows), len(rows)))
    if not rows:
        raise WrongInput(
            f"the casebook has no eye with an operation sheet and consent to {consent}; add "
            "operation sheets with rimwise casebook add, or audit a table"
        )
    names = {
        name: Names.of([row.get(name) for row in rows])
        for name in _NAMES
        if any(row.get(name) for row in rows)
    }
    numbers = {
        one.name: np.array([_number(row.get(one.name)) for row in rows])
        for one in NUMBER_COLUMNS
        if any(row.get(one.name) is not None for row in rows)
    }
    numbers["complete"] = np.array([_number(row.get("complete")) for row in rows])
    findings: list[str] = []
    person = persons_from([row.get("person") for row in rows], findings)
    strips = [row.get(STRIP) for row in rows]
    series = Series(numbers, names, person, "casebook", strip_rows(strips))
    used = {name: name for name in (*numbers, *names)}
    return ReadTable(series, Mapped(used, (), ()), tuple(flow), tuple(findings), ())


def _number(value: object) -> float:
    if isinstance(value, bool | int | float):
        return float(value)
    return math.nan


def _row(book: Casebook, eye: KeptEye) -> Row | None:
    newest: dict[str, Kept] = {}
    visits = []
    for one in book.records(eye.code):
        newest[one.kind] = one
        if one.kind == "visit":
            visits.append(one.document)
    if "operation" not in newest:
        return None
    row: Row = {"code": eye.code, "side": eye.side, "person": eye.person}
    row |= _operation(newest["operation"].document)
    if "case" in newest:
        row["age_years"] = newest["case"].document.get("age_years")
        row["axial_mm"] = newest["case"].document.get("lengths", {}).get("axial_mm")
    if "plan" in newest:
        opening = newest["plan"].document.get("opening") or {}
        row["target_diameter_mm"] = opening.get("diameter_mm")
    if "cover" in newest:
        row |= _cover(newest["cover"].document)
        case = dict(newest["case"].document) if "case" in newest else {}
        if "plan" in newest:  # what was planned outranks what was wished
            planned = plan_values(newest["plan"].document)
            for table in ("opening", "centres"):
                case[table] = {**(case.get(table) or {}), **planned.get(table, {})}
        row[STRIP] = strip_of(newest["cover"].document, eye.side)
        row |= target_columns(case, newest["cover"].document, eye.side)
    return row | _visits(visits)


def _operation(told: Mapping[str, Any]) -> Row:
    return {
        "operation_day": told.get("day"),
        "surgeon": told.get("surgeon"),
        "technique": told.get("technique"),
        "opening": told.get("opening"),
        "complications": "; ".join(told.get("complications") or ()) or None,
    }


def _value(estimate: object, key: str = "value") -> Any:
    return estimate.get(key) if isinstance(estimate, Mapping) else None


def _cover(told: Mapping[str, Any]) -> Row:
    cover, opening = told.get("cover") or {}, told.get("opening") or {}
    pairs = told.get("decentration") or {}
    least, size = cover.get("min_mm"), opening.get("equivalent_diameter_mm")
    row = {
        "least_cover_mm": _value(least),
        "least_cover_sd_mm": _value(least, "sd"),
        "complete": cover.get("complete"),
        "bare_total_deg": _value(cover.get("bare_total_deg")),
        "diameter_mm": _value(size),
        "diameter_sd_mm": _value(size, "sd"),
        "opacification_score": _value((told.get("opacification") or {}).get("score")),
    }
    for pair in ("opening-from-optic", "optic-from-pupil", "optic-from-limbus"):
        vector = pairs.get(pair) or {}
        for way in ("nasal", "superior"):
            name = f"{pair.replace('-', '_')}_{way}_mm"
            row[name] = _value(vector.get(f"{way}_mm"))
    return row


def _visits(visits: list[dict[str, Any]]) -> Row:
    """Last settled refraction and acuity, the day of laser, and how long the eye was watched."""
    row: Row = {}
    for visit in sorted(visits, key=lambda one: one.get("day") or 0):
        day = visit.get("day") or 0
        row["followed_days"] = day
        if visit.get("laser") == "posterior":
            row.setdefault("laser_day", visit.get("laser_day", day))
        if day < _SETTLED_DAYS:
            continue
        acuity, lens = visit.get("acuity_logmar"), visit.get("refraction")
        if isinstance(acuity, str):
            row |= {"acuity_category": acuity, "acuity_logmar": None}
        elif acuity is not None:
            row |= {"acuity_logmar": acuity, "acuity_category": None}
        if lens is not None:
            row |= {name: lens.get(name) for name in ("sphere_dpt", "cylinder_dpt", "axis_deg")}
        if visit.get("optic_tilt") is not None:
            row["tilt_nasal_deg"] = visit["optic_tilt"]["nasal_deg"]
            row["tilt_superior_deg"] = visit["optic_tilt"]["superior_deg"]
        if visit.get("opacification_score") is not None:
            row["opacification_score"] = visit["opacification_score"]
    return row
