"""The workbench's own description of what it takes (OpenAPI 3.1), made from its forms."""

from collections.abc import Sequence
from typing import Any

from rimwise import __version__
from rimwise.web.fields import MOST_SIGNS, Field, Group
from rimwise.web.forms import EYE_FORM, FRAME_FORM, MEASURE_FORM, PLAN_FORM, SHEET_FORMS, SIGHT_FORM

_TEXT = {"type": "string", "maxLength": MOST_SIGNS}
_CODE = {"type": "string", "maxLength": 80}
_MARK = {"csrf": _TEXT}
_BY = {"who": _TEXT, "why": {"type": "string", "maxLength": 600}}


def _asked(form: Sequence[Group]) -> dict[str, Any]:
    return {name: _kind(field) for group in form for field in group.fields for name in field.names}


def _kind(field: Field) -> dict[str, Any]:
    values = [value for value, _ in field.choices]
    if field.kind == "answer":
        values = ["", "yes", "no"]
    if field.kind in {"number", "whole", "pair"}:
        # As people write them: point or comma, and what is no number as well.
        return {"anyOf": [{"type": "string", "pattern": r"^-?[0-9]{1,3}([.,][0-9]{1,2})?$"}, _TEXT]}
    if values:
        return {"anyOf": [{"enum": values}, _TEXT]}
    return dict(_TEXT)


def _action(of: dict[str, Any], upload: str = "") -> dict[str, Any]:
    kind = "multipart/form-data" if upload else "application/x-www-form-urlencoded"
    file = {upload: {"type": "string", "format": "binary"}} if upload else {}
    schema = {"type": "object", "properties": _MARK | of | file, "required": ["csrf"]}
    return {
        "requestBody": {"required": True, "content": {kind: {"schema": schema}}},
        "responses": {"default": {"description": "a page, or where to go on"}},
    }


def _view(*names: str) -> dict[str, Any]:
    query = [{"name": name, "in": "query", "schema": _CODE} for name in names]
    return {"parameters": query, "responses": {"default": {"description": "a page"}}}


def _more_paths() -> dict[str, Any]:
    """Return what is taken of pictures, frames and masked readers."""
    masked = {"title": _TEXT, "reader-1": _CODE, "reader-2": _CODE, "judge": _CODE, "start": _CODE,
              "limit": _TEXT, "turns": _TEXT, "research": _TEXT}  # fmt: skip
    placed = {"x": _TEXT, "y": _TEXT, "size": _TEXT} | _BY
    return {
        "/bench": {"get": _view()},
        "/picture": {"get": _view("eye", "sha")},
        "/queue": {"get": _view(), "post": _action(_asked(MEASURE_FORM) | _BY, "picture")},
        "/queue/state": {"get": _view()},
        "/queue/cancel": {"post": _action({"number": _CODE, "all": _TEXT, "clear": _TEXT})},
        "/practise": {"get": _view(), "post": _action(placed)},
        "/healing": {"get": _view(),
                     "post": _action(_asked(MEASURE_FORM) | {"day": _TEXT}, "picture")},
        "/frame": {"get": _view(), "post": _action(_asked(FRAME_FORM) | _BY, "frame")},
        "/masked": {"get": _view(), "post": _action(masked | _BY)},
        "/masked/study": {"get": _view("study")},
        "/masked/read": {"get": _view("study")},
        "/masked/judge": {"get": _view("study")},
        "/masked/study.json": {"get": _view("study")},
        "/masked/drawing.png": {"get": _view("study", "number", "first", "second")},
        "/masked/come": {"post": _action({"study": _CODE} | _BY)},
        "/masked/close": {"post": _action({"study": _CODE} | _BY)},
    }  # fmt: skip


def description() -> dict[str, Any]:
    """What does the workbench take, and where?

    Examples
    --------
    >>> "csrf" in description()["paths"]["/plan"]["post"]["requestBody"]["content"][
    ...     "application/x-www-form-urlencoded"]["schema"]["required"]
    True
    """
    sheets: dict[str, Any] = {
        "eye": _CODE, "kind": {"enum": [*SHEET_FORMS, "other"]}, "slot": _CODE, "seen": _CODE,
    }  # fmt: skip
    for form in SHEET_FORMS.values():
        sheets |= _asked(form)
    paths: dict[str, Any] = {
        "/measure": {"get": _view(), "post": _action(_asked(MEASURE_FORM), "picture")},
        "/plan": {"get": _view("code", "from"), "post": _action(_asked(PLAN_FORM))},
        "/plan/live": {"post": _action(_asked(PLAN_FORM))},
        "/plan/save": {"post": _action({"name": _CODE, "code": _CODE} | _BY)},
        "/series": {"get": _view(), "post": _action({"book": _TEXT}, "table")},
        "/eyes": {"get": _view("search", "side", "shown", "after")},
        "/eyes/new": {"get": _view(), "post": _action(_asked(EYE_FORM) | _BY, "sheet")},
        "/eye": {"get": _view("code")},
        "/eye/beside": {"get": _view("code")},
        "/eye/sheet": {"get": _view("code", "kind", "slot"), "post": _action(sheets | _BY)},
        "/eye/history": {"get": _view("code")},
        "/eye/version": {"get": _view("code", "kind", "slot", "version")},
        "/eye/consent": {"post": _action({"code": _CODE, "to": _TEXT} | _BY)},
        "/eye/hide": {"post": _action({"code": _CODE} | _BY)},
        "/sight": {"get": _view("code"), "post": _action(_asked(SIGHT_FORM))},
        "/theatre": {"get": _view("code")},
        "/glance": {"get": _view()},
        "/look": {"post": _action({"back": _TEXT})},
    }
    paths |= _more_paths()
    info = {"title": "rimwise workbench", "version": __version__}
    return {"openapi": "3.1.0", "info": info, "paths": paths}
