"""A browser without a window, for the tests of the workbench: requests straight to the pages."""

import re
from collections.abc import Callable
from typing import Any

import anyio
import httpx

from rimwise.web.worker import Worker

PORT = 8000
BASE = f"http://127.0.0.1:{PORT}"
OWN = {"Origin": BASE, "Sec-Fetch-Site": "same-origin"}


class HereWorker(Worker):
    """Does the job at once in this process: what the child does is tested by itself."""

    def run(self, job: Callable[..., Any], *inputs: object) -> Any:
        return job(*inputs)


class Browser:
    """Sends requests straight to the application, and keeps cookies as a browser does."""

    def __init__(self, app: Any, base: str = BASE) -> None:
        self.app = app
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        self.client = httpx.AsyncClient(transport=transport, base_url=base)

    def request(self, method: str, path: str, **what: Any) -> httpx.Response:
        return anyio.run(lambda: self.client.request(method, path, **what))

    def get(self, path: str, **what: Any) -> httpx.Response:
        return self.request("GET", path, **what)

    def post(self, path: str, **what: Any) -> httpx.Response:
        return self.request("POST", path, **what)


def csrf(client: Browser) -> str:
    found = re.search(r'name="csrf" value="([^"]+)"', client.get("/measure").text)
    assert found
    return found[1]
