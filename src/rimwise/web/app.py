"""The pages of the workbench and what happens when a form is sent."""

import json
from collections.abc import Mapping, Sequence
from importlib import resources
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.telemetry import TelemetryConfig
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse
from starlette.types import ASGIApp

from rimwise.terms.errors import MeasurementRefused, RimwiseError, WrongInput
from rimwise.web.bench import Bench
from rimwise.web.bench_pages import BENCH_ACTIONS, BENCH_VIEWS
from rimwise.web.catalogue import TEXT
from rimwise.web.description import description
from rimwise.web.door import Door
from rimwise.web.examples import EXAMPLES, example_picture
from rimwise.web.eyes import EYE_ACTIONS, EYE_VIEWS
from rimwise.web.fields import Group, WrongField, in_words, key_in, values_of
from rimwise.web.forms import MEASURE_FORM, PLAN_FORM
from rimwise.web.frame_desk import FrameDesk
from rimwise.web.frame_pages import FRAME_ACTIONS, FRAME_VIEWS
from rimwise.web.guard import Guard
from rimwise.web.healing import HEALING_ACTIONS, HEALING_VIEWS
from rimwise.web.healing_jobs import FollowedEye
from rimwise.web.jobs import (
    MeasuredPicture,
    PlannedOpening,
    measure_job,
    plan_job,
)
from rimwise.web.keeping import Keeping, book_folder
from rimwise.web.masked_pages import MASKED_ACTIONS, MASKED_VIEWS
from rimwise.web.pages import Filled, look_css
from rimwise.web.plans import PLAN_ACTIONS, PLAN_VIEWS
from rimwise.web.practise import PRACTISE_ACTIONS, PRACTISE_VIEWS
from rimwise.web.queue import Queue
from rimwise.web.queue_pages import QUEUE_ACTIONS, QUEUE_VIEWS
from rimwise.web.series import SERIES_ACTIONS, SERIES_VIEWS
from rimwise.web.series_jobs import AuditedSeries
from rimwise.web.sight import SIGHT_ACTIONS, SIGHT_VIEWS
from rimwise.web.sight_run import SightRun
from rimwise.web.uploads import Sent, TooLarge, picture_name
from rimwise.web.views import (
    asks_for_json,
    go,
    own_path,
    result_of,
    sent_form,
    sentence_page,
    session_of,
    shown,
    work,
)
from rimwise.web.worker import Worker, WorkerFault

STATIC = {
    "workbench.css": "text/css",
    "workbench.js": "text/javascript",
    "live.js": "text/javascript",
    "bench.css": "text/css",
    "queue.js": "text/javascript",
    "sight.js": "text/javascript",
    "frame.js": "text/javascript",
    "bench.js": "text/javascript",
    "bench-draw.js": "text/javascript",
    "bench-strip.js": "text/javascript",
    "bench-hands.js": "text/javascript",
    "practise.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}

# The web library can report requests to a collector if the environment says so; here never.
SILENT: TelemetryConfig = {
    "tracing": False,
    "metrics": False,
    "logs": False,
    "auto_configure": False,
}


def make_app(
    door: Door,
    worker: Worker,
    keeping: Keeping,
    hand: Worker | None = None,
    long: Worker | None = None,
) -> ASGIApp:
    """Which application answers at this door?

    Parameters
    ----------
    door : Door
        Who may come in.
    worker : Worker
        Where pictures are measured and plans are made.
    keeping : Keeping
        Where the casebook is.
    hand : Worker, optional
        Where numbers follow a hand on a picture; the same worker without it.
    long : Worker, optional
        Where frames and clips are aligned, which takes minutes; the same worker without it.
    """
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, telemetry=SILENT)
    app.state.door = door
    app.state.worker = worker
    app.state.hand = hand or worker
    app.state.keeping = keeping
    app.state.queue = Queue(worker, keeping)
    app.state.desk = FrameDesk(long or worker, keeping.folder)
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


async def _no_page(request: Request, _error: Exception) -> Response:
    return sentence_page(request, 404, TEXT["error.gone"])


async def _not_done(request: Request, error: Exception) -> Response:
    assert isinstance(error, RimwiseError)
    status = 413 if isinstance(error, TooLarge) else 400
    return sentence_page(request, status, error.sentence)


async def _fault(request: Request, _error: Exception) -> Response:
    return sentence_page(request, 500, TEXT["error.fault"])


async def _home(request: Request) -> Response:
    recent = session_of(request).newest_first()
    return shown(request, "home.html", recent=recent, examples=EXAMPLES)


async def _measure_form(request: Request) -> Response:
    return shown(request, "measure.html", form=MEASURE_FORM, filled=Filled())


async def _measure(request: Request) -> Response:
    sent = await sent_form(request)
    try:
        values = values_of(MEASURE_FORM, sent.told)
        pictures = [(name, data) for name, data in sent.files if data]
        if len(pictures) != 1:
            raise WrongField("picture", TEXT["error.one_picture"])
        name, data = pictures[0]
        measured = await work(request, measure_job, values, data, picture_name(name))
    except WrongInput as error:
        return _asked_again(request, "measure.html", MEASURE_FORM, sent, error)
    return _laid(request, measured, values, data)


async def _example(request: Request) -> Response:
    sent = await sent_form(request)
    name = "".join(sent.told.get("example", ())[:1])
    if name not in EXAMPLES:
        raise HTTPException(404)
    values, data = example_picture(name)
    measured = await work(request, measure_job, values, data, f"invented eye, {name}.jpg")
    return _laid(request, measured, values, data)


async def _plan(request: Request) -> Response:
    sent = await sent_form(request)
    try:
        planned = await work(
            request, plan_job, values_of(PLAN_FORM, sent.told), book_folder(request)
        )
    except WrongInput as error:
        return _asked_again(request, "plan.html", PLAN_FORM, sent, error)
    return go(request, f"/planned/{session_of(request).keep(planned, sent.told)}")


def _laid(
    request: Request, measured: MeasuredPicture, values: Mapping[str, object], data: bytes
) -> Response:
    """Keep what was measured, and the photograph for a hand that corrects it."""
    name = session_of(request).keep(measured)
    entry = json.loads(measured.document)["results"][0]
    session_of(request).lay(Bench(measured.name, values, entry, data), name)
    return go(request, f"/measured/{name}")


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
    if asks_for_json(request):
        fields = {one.key: one.element for group in form for one in group.fields}
        where = key if key in {"picture", "table"} else fields.get(key or "")
        return JSONResponse({"sentence": sentence, "field": where}, status_code=422)
    told: Mapping[str, Sequence[str]] = {
        name: given[:20] for name, given in sent.told.items() if all(len(g) <= 200 for g in given)
    }
    return shown(request, template, 422, form=form, filled=Filled(told, sentence, key))


async def _measured(request: Request, name: str) -> Response:
    result = result_of(request, name, MeasuredPicture)
    return shown(request, "measured.html", shown=result, name=name)


async def _drawing(request: Request, name: str) -> Response:
    return Response(result_of(request, name, MeasuredPicture).drawing, media_type="image/png")


async def _plan_drawing(request: Request, name: str) -> Response:
    drawing = result_of(request, name, PlannedOpening).drawing
    if drawing is None:
        raise HTTPException(404)
    return Response(drawing, media_type="image/svg+xml")


async def _document(request: Request, name: str) -> Response:
    result = session_of(request).result(name)
    if result is None:
        raise HTTPException(404)
    kinds = {MeasuredPicture: "cover", PlannedOpening: "plan", AuditedSeries: "audit",
             FollowedEye: "healing", SightRun: "sight"}  # fmt: skip
    kind = kinds[type(result)]
    attached = f'attachment; filename="rimwise-{kind}.json"'
    headers = {"Content-Disposition": attached}
    return Response(result.document, media_type="application/json", headers=headers)


async def _theatre(request: Request) -> Response:
    sent = await sent_form(request)
    session = session_of(request)
    session.theatre = not session.theatre
    return go(request, own_path("".join(sent.told.get("back", ())[:1])))


async def _forget(request: Request) -> Response:
    await sent_form(request)
    session_of(request).forget()
    return go(request, "/")


async def _description(_request: Request) -> Response:
    return JSONResponse(description())


async def _log_out(request: Request) -> Response:
    await sent_form(request)
    door: Door = request.app.state.door
    door.log_out(session_of(request))
    return go(request, "/")


async def _static(name: str) -> Response:
    if name == "look.css":
        return Response(look_css(), media_type="text/css")
    if name not in STATIC:
        raise HTTPException(404)
    data = resources.files("rimwise.web").joinpath("static", name).read_bytes()
    return Response(data, media_type=STATIC[name])


_VIEWS: dict[str, Any] = {
    "/": _home,
    "/measure": _measure_form,
    "/measured/{name}": _measured,
    "/measured/{name}/drawing.png": _drawing,
    "/planned/{name}/drawing.svg": _plan_drawing,
    "/document/{name}": _document,
    "/openapi.json": _description,
    "/static/{name}": _static,
    **EYE_VIEWS,
    **PRACTISE_VIEWS,
    **PLAN_VIEWS,
    **HEALING_VIEWS,
    **SERIES_VIEWS,
    **BENCH_VIEWS,
    **QUEUE_VIEWS,
    **MASKED_VIEWS,
    **SIGHT_VIEWS,
    **FRAME_VIEWS,
}
_ACTIONS: dict[str, Any] = {
    "/measure": _measure,
    "/example": _example,
    "/plan": _plan,
    "/look": _theatre,
    "/forget": _forget,
    "/log-out": _log_out,
    **EYE_ACTIONS,
    **PRACTISE_ACTIONS,
    **PLAN_ACTIONS,
    **HEALING_ACTIONS,
    **SERIES_ACTIONS,
    **BENCH_ACTIONS,
    **QUEUE_ACTIONS,
    **MASKED_ACTIONS,
    **SIGHT_ACTIONS,
    **FRAME_ACTIONS,
}
