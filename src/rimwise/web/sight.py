"""The pages about sight: an eye of the casebook, where its implant stands, what it will see."""

from collections.abc import Mapping
from typing import Any

from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import WrongInput
from rimwise.web import bookkeeping as kept
from rimwise.web.bookkeeping import EyePage
from rimwise.web.catalogue import TEXT
from rimwise.web.fields import WrongField, key_in, values_of
from rimwise.web.forms import SIGHT_FORM
from rimwise.web.keeping import booked
from rimwise.web.pages import Filled
from rimwise.web.sight_jobs import AskedSight, measured_place
from rimwise.web.sight_run import SightRun
from rimwise.web.views import first, go, result_of, sent_form, session_of, shown

# By day, in the dusk, and that of the maps.
USUAL_PUPILS_MM = (3.0, 5.0, 4.0)


async def sight_form(request: Request) -> Response:
    """Answer by the form, an eye's code in it where one was asked for."""
    code = request.query_params.get("code", "")[:64]
    told = {"code": [code]} if code else {}
    return shown(request, "sight.html", form=SIGHT_FORM, filled=Filled(told))


async def look(request: Request) -> Response:
    """Start to work out what this eye will see."""
    sent = await sent_form(request)
    try:
        values = values_of(SIGHT_FORM, sent.told)
        page = await booked(request, kept.read_eye, first(sent.told, "code")[:64])
        run = _run(page, values.get("sight") or {})
    except WrongInput as error:
        key = error.key if isinstance(error, WrongField) else key_in(error.sentence, SIGHT_FORM)
        filled = Filled(sent.told, error.sentence, key)
        return shown(request, "sight.html", 422, form=SIGHT_FORM, filled=filled)
    run.start(request.app.state.worker)
    return go(request, f"/seen/{session_of(request).keep(run)}")


def _run(page: EyePage | None, told: Any) -> SightRun:
    if page is None:
        raise WrongField("code", TEXT["sight.no_eye"])
    sheets = page.sheets.get("case", [])
    if not sheets:
        raise WrongField("code", TEXT["sight.no_case"])
    case = {"code": page.eye.code, "side": page.eye.side} | dict(sheets[0].document)
    covers = sorted(page.sheets.get("cover", []), key=lambda one: one.at, reverse=True)
    measured = next((one.document for one in covers if measured_place(one.document)), None)
    where, tilt = _pair(told, "decentration_mm", 2.0), _pair(told, "tilt_deg", 20.0)
    if where is None and measured is None:
        raise WrongField("sight.decentration_mm", TEXT["sight.no_place"])
    marks = _number(told, "marks_deg", 0.0, 180.0)
    names = ("pupil_mm", "second_mm", "map_pupil_mm")
    pupils = [_number(told, one, 2.0, 6.0) for one in names]
    first_mm, second_mm, map_mm = (
        one or other for one, other in zip(pupils, USUAL_PUPILS_MM, strict=True)
    )
    alone = tuple(one for one in dict.fromkeys((first_mm, second_mm)) if one != map_mm)
    asked = AskedSight(case, where, tilt, marks, measured)
    return SightRun(page.eye.code, page.eye.side, asked, alone, map_mm)


def _number(told: Mapping[str, Any], name: str, low: float, high: float) -> float | None:
    value = told.get(name)
    if value is None:
        return None
    if not isinstance(value, int | float) or not low <= value <= high:
        sentence = f"{TEXT[f'field.sight.{name}']}: {low:g} to {high:g} is allowed."
        raise WrongField(f"sight.{name}", sentence)
    return float(value)


def _pair(told: Mapping[str, Any], name: str, most: float) -> tuple[float, float] | None:
    value = told.get(name)
    if value is None:
        return None
    x, y = value
    for one in (x, y):
        _number({name: one}, name, -most, most)
    return float(x), float(y)


async def seen(request: Request, name: str) -> Response:
    """Answer by what has been found so far."""
    return shown(request, "seen.html", run=result_of(request, name, SightRun), name=name)


async def seen_state(request: Request, name: str) -> Response:
    """Answer a script: how far is it?"""
    run = result_of(request, name, SightRun)
    return JSONResponse({"done": run.done, "steps": run.steps, "open": run.open})


async def sight_drawing(request: Request, name: str, number: int) -> Response:
    """Answer by the drawing of one pupil."""
    numbers = result_of(request, name, SightRun).numbers
    if not 0 <= number < len(numbers):
        raise HTTPException(404)
    return Response(numbers[number].drawing, media_type="image/svg+xml")


async def sight_picture(request: Request, name: str, number: int) -> Response:
    """Answer by one picture as seen."""
    scenes = result_of(request, name, SightRun).scenes
    if not 0 <= number < len(scenes):
        raise HTTPException(404)
    return Response(scenes[number].picture, media_type="image/png")


SIGHT_VIEWS: dict[str, Any] = {
    "/sight": sight_form,
    "/seen/{name}": seen,
    "/seen/{name}/state": seen_state,
    "/seen/{name}/drawing-{number}.svg": sight_drawing,
    "/seen/{name}/picture-{number}.png": sight_picture,
}
SIGHT_ACTIONS: dict[str, Any] = {"/sight": look}
