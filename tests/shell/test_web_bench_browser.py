"""The picture workbench in a real browser: by mouse, by keyboard, saved, and there again."""

import json
import os
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from playwright.sync_api import Locator, Page, ViewportSize, expect

from rimwise.web.bench import numbers_job
from rimwise.web.examples import example_picture

PHONE, DESK = ViewportSize(width=390, height=844), ViewportSize(width=1280, height=900)
LONG_MS = 60_000

pytestmark = pytest.mark.browser


def at_bench(page: Page) -> None:
    page.get_by_role("button", name="clear picture").click()
    page.get_by_role("link", name="Correct on the photograph").click(timeout=LONG_MS)
    ready(page)


def ready(page: Page) -> None:
    page.wait_for_selector("[data-ready]")
    settled(page)


def settled(page: Page) -> None:
    page.wait_for_selector("[data-wait]", state="hidden")


def least(page: Page) -> str:
    return page.locator("[data-glance] dd span").first.inner_text()


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=4)
    page.mouse.up()
    settled(page)


def middle(one: Locator) -> tuple[float, float]:
    box = one.bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_dragged_point_changes_the_numbers_as_the_function_says(
    opened: Callable[..., Page],
) -> None:
    page = opened()
    sent: list[str] = []
    page.on("request", lambda one: sent.append(one.post_data or "") if "/numbers" in one.url else 0)
    at_bench(page)
    with page.expect_response(re.compile("/start$")) as first:
        page.reload()
    start = first.value.json()
    ready(page)
    before = least(page)
    grip = middle(page.locator("circle.grip").nth(6))
    with page.expect_response(re.compile("/numbers$")):
        drag(page, grip, (grip[0], grip[1] - 25))
    answer = page.request.get(page.url + "/start").json()
    assert answer["told"] == start["told"], "nothing is kept before it is saved"
    assert least(page) != before
    _compare(page, sent[-1])
    after = least(page)
    page.get_by_role("button", name="Undo").click()
    settled(page)
    assert least(page) == before
    page.get_by_role("button", name="Redo").click()
    settled(page)
    assert least(page) == after
    _saved(page, after)


def _compare(page: Page, body: str) -> None:
    from urllib.parse import parse_qs  # noqa: PLC0415

    told = json.loads(parse_qs(body)["told"][0])
    assert len(told["opening_px"]) == 1
    with page.expect_download() as download:
        page.evaluate(
            """name => { const a = document.createElement("a"); a.href = `/document/${name}`;
            a.download = "x.json"; a.click(); }""",
            page.url.rpartition("/")[2],
        )
    entry = json.loads(Path(download.value.path()).read_text("utf-8"))["results"][0]
    says = numbers_job(entry, example_picture("easy")[0], told)
    assert says["glance"][0][1] == least(page)


def _saved(page: Page, numbers: str) -> None:
    page.get_by_label("Code of the eye").fill("E-77")
    page.get_by_label("Written by").fill("R-2")
    page.get_by_label("Why").fill("the edge runs further out here")
    page.get_by_role("button", name="Save as a new version").click()
    page.wait_for_url(re.compile("/picture\\?eye=E-77"))
    for _ in range(2):
        ready(page)
        assert least(page) == numbers
        expect(page.locator("[data-points]")).to_contain_text("point")
        expect(page.get_by_text("the edge runs further out here").last).to_be_visible()
        page.reload()
    ready(page)
    page.get_by_label("Compare with").select_option("1")
    expect(page.get_by_role("columnheader", name="Version 1")).to_be_visible()


def _spent_s(folder: Path) -> float:
    """Return the processor time of the workbench with this casebook and of its children."""
    if not Path("/proc/self/stat").exists():
        pytest.skip("processor time of other programs is read on Linux only")
    parents, spent, own = {}, {}, None
    for place in Path("/proc").glob("[0-9]*"):
        try:
            words = (place / "cmdline").read_bytes()
            told = (place / "stat").read_text("utf-8").rpartition(")")[2].split()
        except OSError:
            continue
        pid = int(place.name)
        parents[pid] = int(told[1])
        spent[pid] = (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")
        if str(folder).encode() in words and b"serve" in words:
            own = pid
    assert own
    return spent[own] + sum(spent[pid] for pid, parent in parents.items() if parent == own)


def _circle_transform_s() -> float:
    """Return the least processor time of OpenCV's circle transform of the easy example."""
    grey = cv2.imdecode(np.frombuffer(example_picture("easy")[1], np.uint8), cv2.IMREAD_GRAYSCALE)
    assert grey is not None
    spent = []
    cv2.setNumThreads(1)
    for _ in range(5):
        start = time.process_time()
        half = cv2.GaussianBlur(grey, (0, 0), 2.0)[::2, ::2].copy()
        near = 0.2 * half.shape[1]
        cv2.HoughCircles(
            half, cv2.HOUGH_GRADIENT, 1.0, 1000.0, param1=40.0, param2=15.0,
            minRadius=int(0.8 * near), maxRadius=int(1.2 * near),
        )  # fmt: skip
        spent.append(time.process_time() - start)
    return min(spent)


@pytest.mark.alone
def test_numbers_follow_a_hand_within_a_tenth_of_a_second(
    opened: Callable[..., Page], tmp_path: Path
) -> None:
    """From the hand's move to the new numbers on the page: program and page together.

    By processor time: what else the machine does is not the workbench's, nor is what the browser
    spends on being asked by this test. A tenth of a second is meant of a machine on which OpenCV's
    circle transform of the same picture takes 16 ms (half of the 33 ms which are kept in
    ``benchmarks/results`` for the benchmark's own six); a slower one is given as much more time as
    that peer takes now.
    """
    page = opened()
    at_bench(page)
    before = least(page)
    grip = middle(page.locator("circle.grip").nth(6))
    page.mouse.move(*grip)
    page.mouse.down()
    page.mouse.move(grip[0], grip[1] - 8)
    settled(page)
    watch = page.context.new_cdp_session(page)
    watch.send("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
    watch.send("Performance.enable")

    def page_s() -> float:
        metrics = watch.send("Performance.getMetrics")["metrics"]
        told = {one["name"]: float(one["value"]) for one in metrics}
        return told["TaskDuration"] - told["DevToolsCommandDuration"]

    start, moves = _spent_s(tmp_path / "book") + page_s(), 20
    for step in range(moves):
        with page.expect_response(re.compile("/numbers$")):
            page.mouse.move(grip[0], grip[1] - 9 - step)
        settled(page)
    took = _spent_s(tmp_path / "book") + page_s() - start
    page.mouse.up()
    settled(page)
    assert least(page) != before
    assert took / moves <= 0.1 * max(1.0, _circle_transform_s() / 0.016)


def test_the_strip_takes_hands_too_and_arcs_are_hidden(opened: Callable[..., Page]) -> None:
    page = opened()
    at_bench(page)
    before = least(page)
    strip = page.locator("[data-strip]")
    strip.scroll_into_view_if_needed()
    place = middle(strip)
    drag(page, place, (place[0], place[1] + 30))
    assert least(page) != before
    rows = page.locator("[data-points] tr")
    page.get_by_text("Placed points and hidden arcs").click()
    expect(rows).to_have_count(1)
    page.get_by_role("button", name=re.compile("Remove: Opening")).click()
    settled(page)
    assert least(page) == before
    page.get_by_text("Hidden arc", exact=True).click()
    strip.scroll_into_view_if_needed()
    place = middle(strip)
    drag(page, place, (place[0] + 120, place[1]))
    expect(rows).to_contain_text("hidden arc")


def test_all_of_it_is_done_by_keyboard(opened: Callable[..., Page]) -> None:
    page = opened()
    at_bench(page)
    before = least(page)
    page.locator("[data-stage]").focus()
    for key in ("Shift+ArrowLeft", "Shift+ArrowLeft", *["Shift+ArrowUp"] * 4):
        page.keyboard.press(key)
    settled(page)
    expect(page.locator("[data-points] tr")).to_have_count(1)
    expect(page.locator("[data-points] tr")).to_contain_text("20°")
    for _ in range(4):
        page.keyboard.press("z")
    settled(page)
    assert least(page) == before
    for key in ("h", *["Shift+ArrowLeft"] * 6, "h"):
        page.keyboard.press(key)
    settled(page)
    expect(page.locator("[data-points]")).to_contain_text("hidden arc")
    for key in ("p", "w", "ArrowRight", "+", "+", "0"):
        page.keyboard.press(key)
    settled(page)
    optic = page.locator("[data-points] tr").filter(has_text="Optic")
    assert optic.count() > 12, "the whole curve was shifted"


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("look", ["light", "dark"])
def test_no_serious_fault_of_access(
    opened: Callable[..., Page], viewport: ViewportSize, look: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    page = opened(viewport, color_scheme=look, bypass_csp=True)
    at_bench(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for folded in page.locator("details").all():
        folded.evaluate("one => { one.open = true; }")
    found: Any = Axe().run(page).response["violations"]
    serious = [
        (one["id"], [node["html"][:120] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in {"serious", "critical"}
    ]
    assert not serious
