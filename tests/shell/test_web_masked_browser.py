"""A masked reading in a real browser: placed by hand on a nameless picture, kept, gone."""

import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from real_browser import LONG_MS

from rimwise.store.book import Casebook, Who
from rimwise.store.studies import put_study
from rimwise.web.examples import example_picture
from rimwise.web.masked_book import course

pytestmark = pytest.mark.browser


def _begin(folder: Path) -> None:
    by = Who("S-2", "invented")
    values, data = example_picture("easy")
    pictures = []
    with Casebook(folder) as book:
        for number in range(2):
            code = f"E-SECRET-{number}"
            book.add_eye(code, "left", by)
            sheet = dict(values) | {"side": "left"}
            sha256 = book.add_picture(code, "secret.jpg", data + bytes([number]), by, sheet)
            pictures.append({"eye": code, "sha256": sha256, "arm": "secret", "visit": "1"})
        told = {"title": "", "readers": ["R-1", "R-2"], "judge": "R-3", "turns": 1,
                "limit_mm": 0.2, "salt": "00", "pictures": pictures, "left_out": 0}  # fmt: skip
        put_study(book, "", told, by, 0)


def _around(page: Page, radius: float, count: int) -> None:
    box = page.locator("[data-stage]").bounding_box()
    assert box
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    for k in range(count):
        deg = 360.0 * k / count
        x, y = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        page.mouse.click(middle[0] + radius * x, middle[1] - radius * y)
        page.wait_for_selector("[data-wait]", state="hidden")


def test_a_reader_places_points_keeps_them_and_the_next_picture_comes(
    opened: Callable[..., Page], tmp_path: Path
) -> None:
    _begin(tmp_path / "book")
    page = opened()
    page.get_by_role("link", name="Masked reading", exact=True).click()
    page.get_by_role("link", name=re.compile("M-1")).click()
    page.get_by_role("button", name="Read: R-1").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Picture 1 of 2", timeout=LONG_MS)
    page.wait_for_selector("[data-ready]")
    assert "SECRET" not in page.content().upper()
    box = page.locator("[data-stage]").bounding_box()
    assert box
    page.get_by_role("button", name="Keep this reading").click()
    expect(page.get_by_role("alert")).to_contain_text("point")
    _around(page, 0.25 * box["height"], 8)
    page.get_by_text("Optic", exact=True).first.click()
    _around(page, 0.32 * box["height"], 8)
    expect(page.locator("[data-headline]")).to_contain_text("Enough is placed")
    page.get_by_role("button", name="Keep this reading").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Picture 2 of 2", timeout=LONG_MS)
    page.wait_for_selector("[data-ready]")
    expect(page.locator("[data-points]")).not_to_contain_text("°")
    page.get_by_label("Why it cannot be read").fill("a glare over all of it")
    page.get_by_role("button", name="This picture cannot be read").click()
    expect(page.get_by_text("2 of 2 readings")).to_be_visible(timeout=LONG_MS)
    with Casebook(tmp_path / "book") as book:
        found = course(book, "M-1")
        assert found
        assert [one.values is None for one in found.readings].count(True) == 1
        assert book.verify() == []
