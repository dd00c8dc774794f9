"""The page of the queue: many pictures dropped at once, measured one after the other."""

from typing import Any

from anyio import to_thread
from fastapi import Request, Response
from starlette.responses import JSONResponse

from rimwise.terms.errors import WrongInput
from rimwise.web.bench_pages import to_picture
from rimwise.web.catalogue import TEXT
from rimwise.web.fields import in_words, values_of
from rimwise.web.forms import MEASURE_FORM
from rimwise.web.queue import Queue
from rimwise.web.uploads import picture_name
from rimwise.web.views import first, go, sent_form, session_of, shown


def _queue(request: Request) -> Queue:
    queue = request.app.state.queue
    assert isinstance(queue, Queue)
    return queue


async def queue_page(request: Request) -> Response:
    """Answer by the page; what an earlier run of the program left is gone on with."""
    queue = _queue(request)
    listed = await to_thread.run_sync(queue.listed)
    if listed:
        await to_thread.run_sync(queue.go_on)
    return shown(request, "queue.html", listed=listed, to_picture=to_picture)


async def queue_state(request: Request) -> Response:
    """Answer by what has become of each picture."""
    listed = await to_thread.run_sync(_queue(request).listed)
    told = [
        {
            "number": one["number"],
            "state": TEXT[f"queue.{one['state']}"],
            "sentence": one["sentence"],
            "open": one["state"] in ("waits", "runs"),
            "to": to_picture(one["values"]["code"], one["sha256"]) if one["sha256"] else "",
        }
        for one in listed
    ]
    return JSONResponse(told)


async def add(request: Request) -> Response:
    """Put one picture into the queue."""
    sent = await sent_form(request)
    session = session_of(request)
    session.name = first(sent.told, "who")[:64] or session.name
    pictures = [(name, data) for name, data in sent.files if data]
    if len(pictures) != 1:
        raise WrongInput(TEXT["error.one_picture"])
    try:
        values = values_of(MEASURE_FORM, sent.told)
    except WrongInput as error:
        raise WrongInput(in_words(error.sentence, MEASURE_FORM)) from None
    if not values.get("code"):
        raise WrongInput(TEXT["error.bench_code"])
    name, data = pictures[0]
    queue = _queue(request)
    await to_thread.run_sync(queue.add, data, picture_name(name), values, session.name)
    return go(request, "/queue")


async def cancel(request: Request) -> Response:
    """Take one picture, all that wait, or all that is done out of the queue."""
    sent = await sent_form(request)
    number = first(sent.told, "number")
    queue = _queue(request)
    if "clear" in sent.told:
        await to_thread.run_sync(queue.clear)
    elif number or "all" in sent.told:
        await to_thread.run_sync(queue.cancel, number or None)
    return go(request, "/queue")


QUEUE_VIEWS: dict[str, Any] = {"/queue": queue_page, "/queue/state": queue_state}
QUEUE_ACTIONS: dict[str, Any] = {"/queue": add, "/queue/cancel": cancel}
