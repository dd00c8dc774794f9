"""A real browser for the tests of the workbench, and what ``rimwise serve`` answers it.

The browser is Debian's Chromium; it asks no other host for anything, which is checked as well.
"""

import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Request, ViewportSize, expect, sync_playwright

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
DESK = ViewportSize(width=1280, height=900)
LONG_MS = 60_000  # a busy machine with two cores; an ordinary one takes two seconds


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.skip("no Chromium on this machine (Debian and Ubuntu: the package chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """What ``rimwise serve`` prints."""
    program = str(Path(sys.executable).with_name("rimwise"))
    child = subprocess.Popen(
        [program, "serve", "--no-browser", "--casebook", str(tmp_path / "book")],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout
    yield child.stdout.readline().removeprefix("Workbench: ").strip()
    child.terminate()
    child.wait(timeout=20)
    child.stdout.close()


@pytest.fixture
def opened(chromium: Browser, address: str) -> Iterator[Callable[..., Page]]:
    """Open the workbench as a browser of some size and look; nothing may go wrong in it."""
    contexts: list[Any] = []
    wrong: list[str] = []

    def foreign(request: Request) -> None:
        if not request.url.startswith("http://127.0.0.1:"):
            wrong.append(f"asked {request.url}")

    def go(viewport: ViewportSize = DESK, **look: Any) -> Page:
        context = chromium.new_context(viewport=viewport, **look)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(LONG_MS)
        page.on("request", foreign)
        page.on("pageerror", lambda error: wrong.append(f"script: {error}"))
        page.on(
            "console",
            lambda said: (
                wrong.append(said.text) if "Content Security Policy" in said.text else None
            ),
        )
        page.goto(address)
        # The page that opens moves on by itself, and leaves the token out of the address.
        page.wait_for_url(re.compile(r"^http://127\.0\.0\.1:\d+/$"))
        expect(page.get_by_role("heading", level=1, name="Workbench", exact=True)).to_be_visible()
        return page

    yield go
    for context in contexts:
        context.close()
    assert not wrong
