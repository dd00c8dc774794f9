"""The gate in front of every page: right host, right session, right origin, strict headers.

A page elsewhere on the internet must neither read nor post here, even if it knows the port or
points a name of its own at this machine.
"""

import logging
import os
from urllib.parse import parse_qs

from anyio import to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.door import Door, Session
from rimwise.web.pages import OUTSIDE, log_in_page, outside_css, plain_page
from rimwise.web.uploads import read_form

LOG = logging.getLogger(__name__)

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Lets a request through to the pages only if it comes from this machine's own browser.

    Parameters
    ----------
    app : ASGI application
        The pages; they find the session in ``request.state.session``.
    door : Door
        Token, cookie and hosts of this server.
    """

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        session = None if refused else self._session(headers)
        sending = _strict(send, self._door.scheme)
        if refused is None and session is None:
            in_person = self._door.people is not None
            refused = await self._logged_in(scope, receive) if in_person else self._opened(scope)
        if refused is not None:
            await refused(scope, receive, sending)
            return
        scope.setdefault("state", {})["session"] = session
        await self._answered(scope, receive, sending)

    async def _answered(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the pages answer; of a fault only its kind is logged, never what was worked on."""
        try:
            await self._app(scope, receive, send)
        except Exception as error:
            if os.environ.get("RIMWISE_DEBUG"):
                raise
            LOG.error("a fault of the program (%s) at %s", type(error).__name__, scope["path"])

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._door.hosts:
            return _refusal(421, TEXT["error.host"])
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _refusal(405, TEXT["error.method"])
        if scope["method"] == "POST" and not self._own_origin(headers):
            return _refusal(403, TEXT["error.origin"])
        return None

    def _own_origin(self, headers: Headers) -> bool:
        """Whether a post comes from a page of ours.

        Under "no-referrer" browsers send "Origin: null" with a plain form; then Sec-Fetch-Site,
        which no page can set, must say that it is our own.
        """
        site = headers.get("sec-fetch-site")
        if site not in (None, "same-origin"):
            return False
        origin = headers.get("origin")
        if origin == "null":
            return site == "same-origin"
        return origin == f"{self._door.scheme}://{headers['host'].lower()}"

    def _session(self, headers: Headers) -> Session | None:
        cookies = cookie_parser(headers.get("cookie", ""))
        return self._door.session(cookies.get(self._door.cookie))

    def _opened(self, scope: Scope) -> Response:
        """Answer a request without a session: the token opens one, all else is refused."""
        query = parse_qs(scope["query_string"].decode("latin-1"))
        tokens = query.get("token", [])
        if scope["method"] == "GET" and scope["path"] == "/" and len(tokens) == 1:
            session = self._door.open(tokens[0])
            if session is not None:
                return self._welcome(session)
        return _refusal(403, TEXT["error.session"])

    async def _logged_in(self, scope: Scope, receive: Receive) -> Response:
        """Answer a request without a session on a network: name and password open one."""
        request = Request(scope, receive)
        if scope["method"] == "GET" and scope["path"] == f"/static/{OUTSIDE}":
            return Response(outside_css(), media_type="text/css")
        if scope["method"] != "POST" or scope["path"] != "/log-in":
            return _log_in_page("", 200 if scope["path"] == "/" else 403)
        try:
            told = (await read_form(request)).told
        except WrongInput as error:
            return _log_in_page(error.sentence, 400)
        name, password = ("".join(told.get(key, ())[:1]) for key in ("name", "password"))
        session = await to_thread.run_sync(self._door.log_in, name, password)
        if session is not None:
            return self._welcome(session)
        assert self._door.people is not None
        waits = self._door.people.must_wait(name)
        return _log_in_page(TEXT["login.wait" if waits else "login.wrong"], 429 if waits else 403)

    def _welcome(self, session: Session) -> Response:
        # A page that moves on by itself, not a redirect: after a redirect that began on another
        # site the browser would hold back a strict cookie.
        response = Response(
            plain_page(TEXT["welcome.title"], TEXT["welcome.sentence"], onward="/"),
            media_type="text/html",
        )
        response.set_cookie(
            self._door.cookie, session.key, httponly=True, samesite="strict", path="/",
            secure=self._door.scheme == "https",
        )  # fmt: skip
        return response


def _refusal(status: int, sentence: str) -> Response:
    page = plain_page(TEXT["error.title"], sentence)
    return Response(page, status_code=status, media_type="text/html")


def _log_in_page(sentence: str, status: int) -> Response:
    return Response(log_in_page(sentence), status_code=status, media_type="text/html")


def _strict(send: Send, scheme: str = "http") -> Send:
    """Put the strict headers on whatever is answered."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.update(HEADERS)
            if scheme == "https":
                headers["Strict-Transport-Security"] = "max-age=31536000"
        await send(message)

    return sending
