"""The picture workbench: a photograph with its curves, moved by hand; numbers that follow."""

import json
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

from anyio import to_thread
from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import WrongInput
from rimwise.web import bench_book as kept
from rimwise.web.bench import (
    Bench,
    ShownPicture,
    corrected_job,
    masked,
    numbers_job,
    picture_job,
    shown_job,
    told_of,
)
from rimwise.web.catalogue import TEXT
from rimwise.web.jobs import measure_job
from rimwise.web.keeping import booked
from rimwise.web.views import first, go, sent_form, session_of, shown, work
from rimwise.web.worker import Worker

MOST_SIGNS = 200_000  # of the points: two thousand of them take 60,000


def to_picture(eye: str, sha256: str) -> str:
    """Where is the workbench of this picture?

    Examples
    --------
    >>> to_picture("E 1", "ab")
    '/picture?eye=E+1&sha=ab'
    """
    return f"/picture?{urlencode({'eye': eye, 'sha': sha256})}"


async def picture(request: Request) -> Response:
    """Answer by the workbench of a picture that the casebook keeps."""
    eye, sha256 = request.query_params.get("eye", ""), request.query_params.get("sha", "")
    bench = await booked(request, kept.kept_bench, eye, sha256)
    if bench is None:
        raise HTTPException(404)
    if bench.version == 0:
        data = await booked(request, kept.picture_bytes, sha256)
        measured = await work(request, measure_job, bench.values, data, bench.name)
        bench.entry = json.loads(measured.document)["results"][0]
    name = session_of(request).lay(bench)
    listed = await booked(request, kept.versions, eye, sha256)
    return shown(request, "bench.html", bench=bench, name=name, versions=listed)


async def benches(request: Request) -> Response:
    """Answer by the photographs that are in work, and those that the casebook measured last."""
    laid = session_of(request).benches()
    last = await booked(request, kept.last_pictures)
    return shown(request, "benches.html", laid=laid, last=last, to_picture=to_picture)


async def bench_page(request: Request, name: str) -> Response:
    """Answer by the workbench of a picture that was not saved yet."""
    bench = bench_of(request, name)
    if bench.task is not None:
        raise HTTPException(404)
    if bench.eye is not None:
        return go(request, to_picture(bench.eye, bench.sha256))
    return shown(request, "bench.html", bench=bench, name=name, versions=[])


async def photograph(request: Request, name: str) -> Response:
    """Answer by the picture itself, as stored."""
    return Response((await _shown(request, bench_of(request, name))).jpeg, media_type="image/jpeg")


async def start(request: Request, name: str) -> Response:
    """Answer by all that the page's script draws at first."""
    bench = bench_of(request, name)
    told = told_of(bench.entry)
    seen = await _shown(request, bench)
    numbers = _seen(bench, await _by_hand(request, shown_job, bench.entry))
    size = {"width": seen.width_px, "height": seen.height_px, "orientation": seen.orientation}
    return JSONResponse({"picture": size, "told": told, "numbers": numbers})


async def numbers(request: Request, name: str) -> Response:
    """Answer by the numbers that follow from the points sent."""
    sent = await sent_form(request)
    bench = bench_of(request, name)
    told = told_points(first(sent.told, "told"))
    found = await _by_hand(request, numbers_job, bench.entry, bench.values, told)
    return JSONResponse(_seen(bench, found))


async def older(request: Request, name: str, number: int) -> Response:
    """Answer by one version, to be drawn beside what is in work."""
    bench = bench_of(request, name)
    if bench.eye is None:
        raise HTTPException(404)
    entry = await booked(request, kept.version, bench.eye, bench.sha256, number)
    if entry is None:
        raise HTTPException(404)
    return JSONResponse(await _by_hand(request, shown_job, entry))


async def save(request: Request, name: str) -> Response:
    """Keep the correction as the next version, with its reason."""
    sent = await sent_form(request)
    bench = bench_of(request, name)
    if bench.task is not None:
        raise HTTPException(404)
    session = session_of(request)
    session.name = first(sent.told, "who")[:64]
    eye, why = first(sent.told, "eye")[:64] or (bench.eye or ""), first(sent.told, "why")[:500]
    if not eye or not why:
        raise WrongInput(TEXT["error.bench_code" if not eye else "error.why"])
    told = told_points(first(sent.told, "told"))
    signed = told | {"when": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")}
    data = bench.data or await booked(request, kept.picture_bytes, bench.sha256)
    entry = bench.entry
    if told != told_of(entry):
        who = {"who": session.name} if session.name else {}
        entry = await work(request, corrected_job, entry, bench.values, signed | who, data)
    seen = None if "anyway" in sent.told else bench.version
    what = kept.Keep(eye, entry, session.name, why)
    try:
        await booked(request, kept.keep, bench, what, seen)
    except WrongInput as error:
        if type(error).__name__ != "WrittenMeanwhile":
            raise
        meanwhile = {"sentence": TEXT["bench.meanwhile"], "newer": to_picture(eye, bench.sha256)}
        return JSONResponse(meanwhile, status_code=409)
    return go(request, to_picture(eye, bench.sha256))


def told_points(text: str) -> dict[str, Any]:
    """Return what the page's script sent; its values are checked where files of points are."""
    if len(text) > MOST_SIGNS:
        raise WrongInput(TEXT["error.form"])
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        raise WrongInput(TEXT["error.form"]) from None
    if not isinstance(told, dict):
        raise WrongInput(TEXT["error.form"])
    return told


def _seen(bench: Bench, answer: Any) -> Any:
    return answer if bench.task is None else masked(answer)


def bench_of(request: Request, name: str) -> Bench:
    """Which photograph of this session lies under this name?"""
    bench = session_of(request).bench(name)
    if bench is None:
        raise HTTPException(404)
    return bench


async def _shown(request: Request, bench: Bench) -> ShownPicture:
    if bench.shown is None:
        data = bench.data or await booked(request, kept.picture_bytes, bench.sha256)
        bench.shown = await work(request, picture_job, data, bench.name)
    return bench.shown


async def _by_hand(request: Request, job: Any, *inputs: object) -> Any:
    """Let the hand's own worker do a job: a picture being measured never makes a hand wait."""
    worker: Worker = request.app.state.hand
    return await to_thread.run_sync(worker.run, job, *inputs)


BENCH_VIEWS: dict[str, Any] = {
    "/picture": picture,
    "/bench": benches,
    "/bench/{name}": bench_page,
    "/bench/{name}/picture.jpg": photograph,
    "/bench/{name}/start": start,
    "/bench/{name}/version/{number}": older,
}
BENCH_ACTIONS: dict[str, Any] = {
    "/bench/{name}/numbers": numbers,
    "/bench/{name}/save": save,
}
