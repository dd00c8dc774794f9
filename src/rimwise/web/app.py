"""The pages of the workbench and what happens when a form is sent."""

import re
from collections.abc import Mapping, Sequence
from importlib import resources
from typing import Any, TypeVar

from anyio import to_thread
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.telemetry import TelemetryConfig
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse
from starlette.types import ASGIApp

from rimwise.terms.errors import MeasurementRefused, RimwiseError, WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.door import Door, Session
from rimwise.web.examples import EXAMPLES, example_picture
from rimwise.web.fields import (
    MEASURE_FORM,
    PLAN_FORM,
    Group,
    WrongField,
    in_words,
    key_in,
    values_of,
)
from rimwise.web.guard import Guard
from rimwise.web.jobs import (
    AuditedSeries,
    MeasuredPicture,
    PlannedOpening,
    audit_job,
    measure_job,
    plan_job,
)
from rimwise.web.pages import Filled, look_css, page
from rimwise.web.uploads import NotReadable, Sent, TooLarge, picture_name, read_form
from rimwise.web.worker import Worker, WorkerFault

STATIC = {
    "workbench.css": "text/css",
    "workbench.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}

# The web library can report requests to a collector if the environment says so; here never.
SILENT: TelemetryConfig = {
    "tracing": False,
    "metrics": False,
    "logs": False,
    "auto_configure": False,
}
Kind = TypeVar("Kind")


def make_app(door: Door, worker: Worker) -> ASGIApp:
    """Which application answers at this door?

    Parameters
    ----------
    door : Door
        Who may come in.
    worker : Worker
        Where pictures are measured and plans are made.
    """
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, telemetry=SILENT)
    app.state.worker = worker
    for path, view in _VIEWS.items():
        app.add_api_route(path, view, methods=["GET", "HEAD"], include_in_schema=False)
    for path, action in _ACTIONS.items():
        app.add_api_route(path, action, methods=["POST"], include_in_schema=False)
    app.add_exception_handler(HTTPException, _no_page)
    app.add_exception_handler(RequestValidationError, _no_page)
    app.add_exception_handler(RimwiseError, _not_done)
    app.add_exception_handler(WorkerFault, _fault)
    app.add_exception_handler(Exception, _fault)
    return Guard(app, door)


def _session(request: Request) -> Session:
    session = request.state.session
    assert isinstance(session, Session)
    return session


def _shown(request: Request, template: str, status: int = 200, **what: Any) -> HTMLResponse:
    session = _session(request)
    path = request.url.path
    text = page(template, csrf=session.csrf, theatre=session.theatre, path=path, **what)
    return HTMLResponse(text, status_code=status)


def _sentence(request: Request, status: int, sentence: str) -> Response:
    if _asks_for_json(request):
        return JSONResponse({"sentence": sentence, "field": None}, status_code=status)
    return _shown(request, "sentence.html", status, sentence=sentence)


async def _no_page(request: Request, _error: Exception) -> Response:
    return _sentence(request, 404, TEXT["error.gone"])


async def _not_done(request: Request, error: Exception) -> Response:
    assert isinstance(error, RimwiseError)
    status = 413 if isinstance(error, TooLarge) else 400
    return _sentence(request, status, error.sentence)


async def _fault(request: Request, _error: Exception) -> Response:
    return _sentence(request, 500, TEXT["error.fault"])


def _asks_for_json(request: Request) -> bool:
    return request.headers.get("accept", "") == "application/json"


async def _home(request: Request) -> Response:
    recent = _session(request).newest_first()
    return _shown(request, "home.html", recent=recent, examples=EXAMPLES)


async def _measure_form(request: Request) -> Response:
    return _shown(request, "measure.html", form=MEASURE_FORM, filled=Filled())


async def _plan_form(request: Request) -> Response:
    entries = _session(request).entries(request.query_params.get("from", ""))
    return _shown(request, "plan.html", form=PLAN_FORM, filled=Filled(entries))


async def _series_form(request: Request) -> Response:
    return _shown(request, "series.html", form=(), filled=Filled())


async def _series(request: Request) -> Response:
    sent = await _sent(request)
    try:
        tables = [(name, data) for name, data in sent.files if data]
        if len(tables) != 1:
            raise WrongField("table", TEXT["error.one_table"])
        name, data = tables[0]
        audited = await _work(request, audit_job, data, picture_name(name))
    except (WrongInput, MeasurementRefused) as error:
        return _asked_again(request, "series.html", (), sent, error)
    return _go(request, f"/audited/{_session(request).keep(audited)}")


async def _audited(request: Request, name: str) -> Response:
    shown = _result(request, name, AuditedSeries)
    return _shown(request, "audited.html", shown=shown, name=name)


async def _audit_drawing(request: Request, name: str, number: int) -> Response:
    drawings = _result(request, name, AuditedSeries).drawings
    if not 0 <= number < len(drawings):
        raise HTTPException(404)
    return Response(drawings[number][2], media_type="image/svg+xml")


async def _measure(request: Request) -> Response:
    sent = await _sent(request)
    try:
        values = values_of(MEASURE_FORM, sent.told)
        pictures = [(name, data) for name, data in sent.files if data]
        if len(pictures) != 1:
            raise WrongField("picture", TEXT["error.one_picture"])
        name, data = pictures[0]
        measured = await _work(request, measure_job, values, data, picture_name(name))
    except WrongInput as error:
        return _asked_again(request, "measure.html", MEASURE_FORM, sent, error)
    return _go(request, f"/measured/{_session(request).keep(measured)}")


async def _example(request: Request) -> Response:
    sent = await _sent(request)
    name = "".join(sent.told.get("example", ())[:1])
    if name not in EXAMPLES:
        raise HTTPException(404)
    values, data = example_picture(name)
    measured = await _work(request, measure_job, values, data, f"invented eye, {name}.jpg")
    return _go(request, f"/measured/{_session(request).keep(measured)}")


async def _plan(request: Request) -> Response:
    sent = await _sent(request)
    try:
        planned = await _work(request, plan_job, values_of(PLAN_FORM, sent.told))
    except WrongInput as error:
        return _asked_again(request, "plan.html", PLAN_FORM, sent, error)
    return _go(request, f"/planned/{_session(request).keep(planned, sent.told)}")


def _asked_again(
    request: Request,
    template: str,
    form: Sequence[Group],
    sent: Sent,
    error: WrongInput | MeasurementRefused,
) -> Response:
    """Show the form again as it was filled in, with the sentence and the field that it is about."""
    key = error.key if isinstance(error, WrongField) else key_in(error.sentence, form)
    sentence = in_words(error.sentence, form)
    if _asks_for_json(request):
        fields = {one.key: one.element for group in form for one in group.fields}
        where = key if key in {"picture", "table"} else fields.get(key or "")
        return JSONResponse({"sentence": sentence, "field": where}, status_code=422)
    told: Mapping[str, Sequence[str]] = {
        name: given[:20] for name, given in sent.told.items() if all(len(g) <= 200 for g in given)
    }
    return _shown(request, template, 422, form=form, filled=Filled(told, sentence, key))


async def _measured(request: Request, name: str) -> Response:
    shown = _result(request, name, MeasuredPicture)
    return _shown(request, "measured.html", shown=shown, name=name)


async def _planned(request: Request, name: str) -> Response:
    shown = _result(request, name, PlannedOpening)
    return _shown(request, "planned.html", shown=shown, name=name)


async def _drawing(request: Request, name: str) -> Response:
    return Response(_result(request, name, MeasuredPicture).drawing, media_type="image/png")


async def _plan_drawing(request: Request, name: str) -> Response:
    drawing = _result(request, name, PlannedOpening).drawing
    if drawing is None:
        raise HTTPException(404)
    return Response(drawing, media_type="image/svg+xml")


async def _document(request: Request, name: str) -> Response:
    result = _session(request).result(name)
    if result is None:
        raise HTTPException(404)
    kinds = {MeasuredPicture: "cover", PlannedOpening: "plan", AuditedSeries: "audit"}
    kind = kinds[type(result)]
    attached = f'attachment; filename="rimwise-{kind}.json"'
    headers = {"Content-Disposition": attached}
    return Response(result.document, media_type="application/json", headers=headers)


async def _theatre(request: Request) -> Response:
    sent = await _sent(request)
    session = _session(request)
    session.theatre = not session.theatre
    return _go(request, _own_path("".join(sent.told.get("back", ())[:1])))


async def _forget(request: Request) -> Response:
    await _sent(request)
    _session(request).forget()
    return _go(request, "/")


async def _static(name: str) -> Response:
    if name == "look.css":
        return Response(look_css(), media_type="text/css")
    if name not in STATIC:
        raise HTTPException(404)
    data = resources.files("rimwise.web").joinpath("static", name).read_bytes()
    return Response(data, media_type=STATIC[name])


async def _sent(request: Request) -> Sent:
    """Read a form, and refuse one that this session did not hand out."""
    sent = await read_form(request)
    if not _session(request).handed_out("".join(sent.told.get("csrf", ()))):
        raise NotReadable(TEXT["error.csrf"])
    return sent


async def _work(request: Request, job: Any, *inputs: object) -> Any:
    worker: Worker = request.app.state.worker
    return await to_thread.run_sync(worker.run, job, *inputs)


def _result(request: Request, name: str, kind: type[Kind]) -> Kind:
    result = _session(request).result(name)
    if not isinstance(result, kind):
        raise HTTPException(404)
    return result


def _go(request: Request, path: str) -> Response:
    if _asks_for_json(request):
        return JSONResponse({"go": path})
    return RedirectResponse(path, status_code=303)


def _own_path(said: str) -> str:
    """Which page of ours is meant? Anything else leads to the start."""
    return said if re.fullmatch(r"(/[\w-]+){1,2}", said, re.ASCII) else "/"


_VIEWS: dict[str, Any] = {
    "/": _home,
    "/measure": _measure_form,
    "/measured/{name}": _measured,
    "/measured/{name}/drawing.png": _drawing,
    "/plan": _plan_form,
    "/planned/{name}": _planned,
    "/planned/{name}/drawing.svg": _plan_drawing,
    "/series": _series_form,
    "/audited/{name}": _audited,
    "/audited/{name}/drawing-{number}.svg": _audit_drawing,
    "/document/{name}": _document,
    "/static/{name}": _static,
}
_ACTIONS: dict[str, Any] = {
    "/measure": _measure,
    "/example": _example,
    "/plan": _plan,
    "/series": _series,
    "/look": _theatre,
    "/forget": _forget,
}
