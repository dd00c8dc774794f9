"""What the views share: the session, a page shown, a form read, work done elsewhere."""

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from anyio import to_thread
from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse

from rimwise.web.catalogue import TEXT
from rimwise.web.door import Session
from rimwise.web.pages import page
from rimwise.web.uploads import NotReadable, Sent, read_form
from rimwise.web.worker import Worker

Kind = TypeVar("Kind")
_OWN_PATH = re.compile(r"/(?:[\w-]+(?:/[\w-]+)?)?(?:\?[\w.=&%+-]{1,400})?", re.ASCII)


def session_of(request: Request) -> Session:
    """Whose request is this? The gate has let nobody in without a session."""
    session = request.state.session
    assert isinstance(session, Session)
    return session


def shown(request: Request, template: str, status: int = 200, **what: Any) -> HTMLResponse:
    """Show a page of this session's look."""
    session = session_of(request)
    query = request.url.query if request.method == "GET" else ""
    back = f"{request.url.path}?{query}" if query else request.url.path
    text = page(
        template, csrf=session.csrf, theatre=session.theatre, path=request.url.path, back=back,
        who=session.name, person=session.person, **what,
    )  # fmt: skip
    return HTMLResponse(text, status_code=status)


def asks_for_json(request: Request) -> bool:
    """Whether a script asks, which shows the answer itself."""
    return request.headers.get("accept", "") == "application/json"


def sentence_page(request: Request, status: int, sentence: str) -> Response:
    """Answer by one sentence."""
    if asks_for_json(request):
        return JSONResponse({"sentence": sentence, "field": None}, status_code=status)
    return shown(request, "sentence.html", status, sentence=sentence)


async def sent_form(request: Request) -> Sent:
    """Read a form, and refuse one that this session did not hand out."""
    sent = await read_form(request)
    if not session_of(request).handed_out("".join(sent.told.get("csrf", ()))):
        raise NotReadable(TEXT["error.csrf"])
    return sent


def first(told: Mapping[str, Any], name: str) -> str:
    """What was said first under this name, without the spaces around it?

    Examples
    --------
    >>> first({"code": [" E-1 "]}, "code"), first({}, "code")
    ('E-1', '')
    """
    return "".join(told.get(name, ())[:1]).strip()


def whole(text: str) -> int:
    """Which count was sent? 0 where it is none.

    Examples
    --------
    >>> whole("12"), whole("²"), whole("-1"), whole("9" * 30)
    (12, 0, 0, 0)
    """
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


async def work(request: Request, job: Callable[..., Any], *inputs: object) -> Any:
    """Let the worker's child do a job."""
    worker: Worker = request.app.state.worker
    return await to_thread.run_sync(worker.run, job, *inputs)


def result_of(request: Request, name: str, kind: type[Kind]) -> Kind:
    """Which result of this session has this name?"""
    result = session_of(request).result(name)
    if not isinstance(result, kind):
        raise HTTPException(404)
    return result


def go(request: Request, path: str) -> Response:
    """Lead the browser on to another page of ours."""
    if asks_for_json(request):
        return JSONResponse({"go": path})
    return RedirectResponse(path, status_code=303)


def own_path(said: str) -> str:
    """Which page of ours is meant? Anything else leads to the start.

    Examples
    --------
    >>> own_path("/eye?code=E-1"), own_path("//elsewhere.example"), own_path("/a/b/c")
    ('/eye?code=E-1', '/', '/')
    """
    return said if _OWN_PATH.fullmatch(said) else "/"
