"""The page about healing: pictures of one eye in, its course out, by requests and in a browser."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tree
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, ViewportSize, expect, sync_playwright
from workbench import OWN, Browser, csrf

from rimwise import journey
from rimwise.store.book import Who
from rimwise.terms.cautions import CAUTIONS
from rimwise.web.examples import example_picture
from rimwise.web.jobs import measure_job
from rimwise.web.keeping import Keeping

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
EASY = tree.SOURCE / "demo" / "pictures" / "photo_easy_001.jpg"
PHONE, DESK = ViewportSize(width=390, height=844), ViewportSize(width=1280, height=900)
LONG_MS = 90_000  # two pictures on a busy machine; an ordinary one takes five seconds
SHEET = dict(re.findall(r'^(\w+) = "?([^"\n]+)"?$', EASY.with_suffix(".toml").read_text(), re.M))


def follow(inside: Browser, days: list[str], pictures: list[bytes], **told: str) -> Any:
    values = {
        "csrf": csrf(inside), "side": SHEET["side"], "superior_deg": "90", "code": "E-9",
        "optic_diameter_mm": SHEET["optic_diameter_mm"], "day": days,
    }  # fmt: skip
    files = [("picture", ("eye.jpg", data, "image/jpeg")) for data in pictures]
    return inside.post("/healing", data=values | told, files=files, headers=OWN)


def test_one_picture_of_two_days_has_not_changed(inside: Browser) -> None:
    data = EASY.read_bytes()
    answer = follow(inside, ["90", "7"], [data, data])
    assert answer.status_code == 303
    page = inside.get(answer.headers["location"])
    assert "2 visits, 0 flags" in page.text
    assert page.text.index('<th scope="row">7</th>') < page.text.index('<th scope="row">90</th>')
    assert CAUTIONS[0] in page.text
    name = answer.headers["location"].rpartition("/")[2]
    document = json.loads(inside.get(f"/document/{name}").text)["results"][0]
    assert document["schema"] == "rimwise.healing/1"
    assert abs(document["visits"][1]["change"]["area_percent"]["value"]) < 1e-6
    assert inside.get(f"/healed/{name}/drawing.svg").text.startswith("<?xml")
    assert inside.get(f"/healed/{name}/picture-1.jpg").content.startswith(b"\xff\xd8")
    assert inside.get(f"/healed/{name}/picture-2.jpg").status_code == 404
    told = inside.get(f"/healed/{name}", params={"from": "30"}).text
    assert "day 7" in told.lower()
    assert "before the first day asked for" in told
    assert f"/healed/{name}/picture-0.jpg" not in told
    assert "All visits are shown." in page.text


@pytest.mark.parametrize(
    ("days", "pictures", "told", "says"),
    [
        (["7"], 2, {}, "Give each photograph its day"),
        (["7", "x"], 2, {}, "Give each photograph its day"),
        (["7", "7"], 2, {}, "each of another day"),
        (["7"], 1, {}, "at least two pictures"),
        (["7", "90"], 2, {"limit": "little"}, "a number in mm"),
        (["7", "90"], 2, {"side": ""}, "eye"),
    ],
)
def test_what_cannot_be_followed_is_told(
    inside: Browser, days: list[str], pictures: int, told: dict[str, str], says: str
) -> None:
    answer = follow(inside, days, [EASY.read_bytes()] * pictures, **told)
    assert answer.status_code == 422
    assert says in answer.text
    assert 'value="7"' in answer.text, "and the days are not lost"


WHO = Who("R-2", "a test")


def kept_eye(keeping: Keeping, *days: int | str, measured: bool = True) -> list[str]:
    """An eye of the casebook with photographs of these days; one picture, other last bytes."""
    values, data = example_picture("easy")
    book = keeping.book()
    book.add_eye("E-7", "left" if values["side"] == "left" else "right", WHO)
    kept = []
    for number, day in enumerate(days):
        told = {"visit_day": day} if isinstance(day, int) else {"taken": day}
        kept.append(
            book.add_picture("E-7", f"v{number}.jpg", data + bytes(number), WHO, values | told)
        )
        if measured:
            entry = json.loads(measure_job(values, data, "easy.jpg").document)["results"][0]
            measured_as = {"sha256": kept[-1], "picture": "/elsewhere/easy.jpg"}
            book.put("E-7", "cover", entry | measured_as, WHO, kept[-1])
    return kept


def follow_kept(inside: Browser, kept: list[str], **told: str) -> Any:
    body = {"csrf": csrf(inside), "eye": "E-7", "sha": kept} | told
    return inside.post("/healing/kept", data=body, headers=OWN)


def test_kept_photographs_are_followed_without_measuring_again(
    inside: Browser, keeping: Keeping, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = kept_eye(keeping, 90, 7)
    assert "/healing?eye=E-7" in inside.get("/eye", params={"code": "E-7"}).text
    listed = inside.get("/healing", params={"eye": "E-7"}).text
    assert "day 90: v0.jpg, measured" in listed
    monkeypatch.setattr(journey, "finding_of", None)  # measuring would fail
    answer = follow_kept(inside, kept)
    assert answer.status_code == 303
    page = inside.get(answer.headers["location"])
    assert "2 visits, 0 flags" in page.text
    assert "elsewhere" not in page.text, "where a picture once lay is no business of a page"
    assert ".." not in page.text
    name = answer.headers["location"].rpartition("/")[2]
    course = json.loads(inside.get(f"/document/{name}").text)["results"][0]
    assert (course["code"], [one["day"] for one in course["visits"]]) == ("E-7", [7, 90])
    assert abs(course["visits"][1]["change"]["area_percent"]["value"]) < 1e-6
    limited = inside.get(follow_kept(inside, kept, limit="3").headers["location"]).text
    assert "below 3.00 mm" in limited


def test_dates_make_days_and_are_not_mixed_with_them(inside: Browser, keeping: Keeping) -> None:
    kept = kept_eye(keeping, "2026-03-02", "2026-04-01", 40, measured=False)
    assert "not measured yet" in inside.get("/healing", params={"eye": "E-7"}).text
    mixed = follow_kept(inside, kept)
    assert (mixed.status_code, "tick photographs that say the same" in mixed.text) == (422, True)
    one = follow_kept(inside, kept[:1])
    assert (one.status_code, "Tick two to six" in one.text) == (422, True)
    answer = follow_kept(inside, kept[:2])
    name = answer.headers["location"].rpartition("/")[2]
    course = json.loads(inside.get(f"/document/{name}").text)["results"][0]
    assert [one["day"] for one in course["visits"]] == [0, 30]


def test_an_eye_that_is_not_kept_has_no_page(inside: Browser) -> None:
    assert inside.get("/healing", params={"eye": "E-404"}).status_code == 404


@pytest.fixture
def page() -> Iterator[Page]:
    """The workbench, opened in a browser without a casebook of its own."""
    if not CHROMIUM.exists():
        pytest.skip("no Chromium on this machine (Debian and Ubuntu: the package chromium)")
    program = str(Path(sys.executable).with_name("rimwise"))
    child = subprocess.Popen(
        [program, "serve", "--no-browser"], stdout=subprocess.PIPE, text=True
    )  # fmt: skip
    assert child.stdout
    address = child.stdout.readline().removeprefix("Workbench: ").strip()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        opened = browser.new_page()
        opened.set_default_timeout(LONG_MS)
        opened.goto(address)
        opened.wait_for_url(re.compile(r"^http://127\.0\.0\.1:\d+/$"))
        yield opened
        browser.close()
    child.terminate()
    child.wait(timeout=20)
    child.stdout.close()


def checked(page: Page, viewport: ViewportSize) -> None:
    """The page fits, and no rule of accessibility is broken."""
    page.wait_for_load_state("load")  # a heading is there before the style sheets are
    page.set_viewport_size(viewport)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    found = Axe().run(page)
    assert not found.response["violations"], found.generate_report()


@pytest.mark.browser
def test_an_eye_is_followed_in_a_browser(page: Page) -> None:
    page.get_by_role("link", name="Healing", exact=True).click()
    expect(page.get_by_role("heading", level=1, name="Follow an eye")).to_be_visible()
    for viewport in (PHONE, DESK):
        checked(page, viewport)
    page.get_by_label(SHEET["side"], exact=True).check()
    page.get_by_label("Diameter of the optic").fill(SHEET["optic_diameter_mm"])
    for number, day in ((1, "7"), (2, "90")):
        row = page.get_by_role("group", name=f"Visit {number}")
        row.get_by_label("Day after surgery").fill(day)
        row.get_by_label("Photograph").set_input_files(EASY)
    page.get_by_role("button", name="Follow").click()
    expect(page.get_by_role("heading", level=1, name="2 visits, 0 flags")).to_be_visible(
        timeout=LONG_MS
    )
    for viewport in (PHONE, DESK):
        checked(page, viewport)
    page.get_by_label("From day").fill("30")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("before the first day asked for")).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("^Day "))).to_have_count(1)
