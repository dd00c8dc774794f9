"""The workbench in a real browser: a photograph goes in, a measured result comes out.

The browser is Debian's Chromium; it asks no other host for anything, which is checked as well.
"""

import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import tree
from playwright.sync_api import Page, ViewportSize, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeout

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
PICTURES = tree.SOURCE / "demo" / "pictures"
EASY = PICTURES / "photo_easy_001.jpg"
PHONE, DESK = ViewportSize(width=390, height=844), ViewportSize(width=1280, height=900)
LONG_MS = 60_000  # a busy machine with two cores; an ordinary one takes two seconds

pytestmark = pytest.mark.browser


def sheet(picture: Path) -> dict[str, str]:
    return dict(
        re.findall(r'^(\w+) = "?([^"\n]+)"?$', picture.with_suffix(".toml").read_text(), re.M)
    )


def fill(page: Page, picture: Path = EASY) -> None:
    told = sheet(picture)
    page.get_by_role("link", name="Measure", exact=True).click()
    page.get_by_label("Photograph").set_input_files(picture)
    page.get_by_label(told["side"], exact=True).check()
    page.get_by_label("Diameter of the optic").fill(told["optic_diameter_mm"].replace(".", ","))


def measure(page: Page) -> None:
    page.get_by_role("button", name="Measure").click()
    expect(page.get_by_role("heading", name="Numbers")).to_be_visible(timeout=LONG_MS)
    page.wait_for_load_state("load")


def go(page: Page, name: str) -> None:
    """Follow a link of the menu and wait until the new page stands, its style sheets included."""
    with page.expect_navigation(wait_until="load"):
        page.get_by_role("link", name=name, exact=True).click()


def fits(page: Page) -> bool:
    """Whether nothing reaches over the page's side."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def test_a_photograph_is_measured_and_its_numbers_come_as_a_file(
    opened: Callable[..., Page],
) -> None:
    page = opened()
    fill(page)
    measure(page)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Measured")
    expect(page.get_by_role("rowheader", name="Least cover (capsule overlap)")).to_be_visible()
    drawing = page.get_by_role("img", name=re.compile("unrolled cover strip"))
    expect(drawing).to_be_visible()
    expect(drawing).to_have_js_property("complete", True)
    assert drawing.evaluate("one => one.naturalWidth") > 1000
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the numbers").click()
    document = json.loads(Path(download.value.path()).read_text("utf-8"))
    entry = document["results"][0]
    assert (entry["schema"], entry["side"]) == ("rimwise.cover/1", sheet(EASY)["side"])
    least = entry["cover"]["min_mm"]["value"]
    expect(page.locator(".least")).to_contain_text(f"{abs(least):.2f}")
    page.get_by_role("link", name="Start").click()
    expect(page.get_by_role("link", name=re.compile("Measured.*photo_easy"))).to_be_visible()
    page.get_by_role("button", name="Forget all results").click()
    expect(page.get_by_text("None yet.")).to_be_visible()


def test_a_wrong_entry_keeps_the_photograph_and_leads_to_the_field(
    opened: Callable[..., Page],
) -> None:
    page = opened()
    fill(page)
    optic = page.get_by_label("Diameter of the optic")
    optic.fill("60")
    page.get_by_role("button", name="Measure").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("a number from 4.5 to 7.5 mm is allowed")
    expect(optic).to_have_attribute("aria-invalid", "true")
    alert.get_by_role("link").click()
    expect(optic).to_be_focused()
    optic.fill(sheet(EASY)["optic_diameter_mm"])
    measure(page)


def test_without_its_script_the_workbench_works_the_same(opened: Callable[..., Page]) -> None:
    page = opened(java_script_enabled=False)
    fill(page)
    page.get_by_label("Diameter of the optic").fill("60")
    page.get_by_role("button", name="Measure").click()
    expect(page.get_by_role("alert")).to_contain_text("is allowed")
    fill(page)
    measure(page)


def test_an_opening_is_planned_and_its_entries_can_be_changed(opened: Callable[..., Page]) -> None:
    page = opened()
    page.get_by_role("link", name="Plan", exact=True).click()
    page.get_by_label("right", exact=True).check()
    page.get_by_label("Earlier corneal surgery").select_option("none")
    page.get_by_label("Diameter of the optic").fill("6,0")
    page.get_by_label("Centre the opening on").select_option("lens")
    page.get_by_label("Judge this diameter").fill("5,0")
    page.get_by_role("button", name="Plan", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Opening of 5.00 mm")
    expect(
        page.get_by_role("img", name=re.compile("Probability of complete cover"))
    ).to_be_visible()
    page.get_by_role("link", name="Change these entries").click()
    expect(page.get_by_label("right", exact=True)).to_be_checked()
    page.get_by_label("Judge this diameter").fill("4.8")
    page.get_by_role("button", name="Plan", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Opening of 4.80 mm")


def _press_until(page: Page, reached: str) -> None:
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate(f"document.activeElement.matches({json.dumps(reached)})"):
            outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none", "where the keyboard is must be seen"
            return
    raise AssertionError(f"the keyboard does not reach {reached}")


def _choose_by_keyboard(page: Page, picture: Path) -> None:
    """Open the chooser by the keyboard.

    A browser opens it only while it counts the page as just touched by its person, which lapses
    on a busy machine: then the person presses again, and so does this.
    """
    _press_until(page, "#picture")
    page.wait_for_load_state("networkidle")
    for patience_ms in (5_000, 10_000, LONG_MS):
        expect(page.locator("#picture")).to_be_focused()
        try:
            with page.expect_file_chooser(timeout=patience_ms) as chooser:
                page.keyboard.press("Enter")
        except PlaywrightTimeout:
            continue
        chooser.value.set_files(picture)
        break
    assert page.locator("#picture").evaluate("one => one.files.length") == 1


def test_all_is_done_by_keyboard(opened: Callable[..., Page]) -> None:
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    _press_until(page, 'a[href="/measure"]')
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1, name="Measure a photograph")).to_be_visible()
    page.wait_for_load_state("load")
    _choose_by_keyboard(page, EASY)
    _press_until(page, 'input[name="side"]')
    page.keyboard.press("Space")
    if sheet(EASY)["side"] == "left":
        page.keyboard.press("ArrowRight")
    _press_until(page, "#optic-diameter-mm")
    page.keyboard.type(sheet(EASY)["optic_diameter_mm"])
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Numbers")).to_be_visible(timeout=LONG_MS)
    expect(page.locator(".kicker")).to_contain_text(f"{sheet(EASY)['side']} eye")


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_fits_and_its_targets_are_large(
    opened: Callable[..., Page], viewport: ViewportSize
) -> None:
    page = opened(viewport, has_touch=viewport is PHONE)
    small = """() => [
        ...document.querySelectorAll("button, .button, input, select, summary, nav a")]
        .filter(one => one.type !== "hidden" && one.getClientRects().length)
        .map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
        .filter(([, box]) => box.height < 23.5 || box.width < 23.5).map(([name]) => name)"""
    for name in ("Start", "Measure", "Plan"):
        go(page, name)
        expect(page.get_by_role("link", name=name, exact=True)).to_have_attribute(
            "aria-current", "page"
        )
        for folded in page.locator("details").all():
            folded.evaluate("one => { one.open = true; }")
        assert fits(page)
        assert page.evaluate(small) == []
    fill(page)
    measure(page)
    assert fits(page)


def _light(page: Page, of: str) -> float:
    channels = re.findall(r"[\d.]+", page.evaluate(f"getComputedStyle(document.body).{of}"))
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (float(one) / 255.0 for one in channels[:3])
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(page: Page) -> float:
    """Contrast of text on the page by WCAG 2.2, relative luminance; read in the standard."""
    lights = sorted((_light(page, "color"), _light(page, "backgroundColor")))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def test_dark_and_theatre_looks_are_dark_and_legible(opened: Callable[..., Page]) -> None:
    page = opened(color_scheme="light")
    assert _light(page, "backgroundColor") > 0.8
    assert _contrast(page) >= 7.0
    page.emulate_media(color_scheme="dark")
    assert _light(page, "backgroundColor") < 0.02
    assert _contrast(page) >= 7.0
    page.emulate_media(color_scheme="light")
    with page.expect_navigation(wait_until="load"):
        page.get_by_role("button", name="Theatre look").click()
    expect(page.get_by_role("button", name="Theatre look")).to_have_attribute(
        "aria-pressed", "true"
    )
    assert _light(page, "backgroundColor") < 0.005
    assert _contrast(page) >= 7.0


def test_a_photograph_can_be_dropped(opened: Callable[..., Page]) -> None:
    page = opened()
    go(page, "Measure")  # with its script, which listens
    drop = """([bytes, name]) => {
        const data = new DataTransfer();
        data.items.add(new File([new Uint8Array(bytes)], name, { type: "image/jpeg" }));
        document.querySelector("[data-drop]").dispatchEvent(
            new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
        return document.querySelector("#picture").files[0].name; }"""
    assert page.evaluate(drop, [list(EASY.read_bytes()[:1000]), "dropped.jpg"]) == "dropped.jpg"


def _series(folder: Path) -> Path:
    """An invented series: thirty persons, both eyes each."""
    rows = ["person,side,least_cover_mm,complete,opening_from_optic_nasal_mm,"
            "opening_from_optic_superior_mm"]  # fmt: skip
    for eye in range(60):
        cover = 0.3 + 0.02 * ((7 * eye) % 11 - 5)
        nasal, superior = 0.05 * ((3 * eye) % 7 - 3), 0.04 * ((5 * eye) % 9 - 4)
        side = ("left", "right")[eye % 2]
        rows.append(f"P-{eye // 2},{side},{cover:.2f},true,{nasal:.2f},{superior:.2f}")
    path = folder / "series.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_series_is_audited_and_its_numbers_come_as_a_file(
    opened: Callable[..., Page], viewport: ViewportSize, tmp_path: Path
) -> None:
    page = opened(viewport)
    go(page, "Series")
    page.locator("input#table").set_input_files(_series(tmp_path))
    page.get_by_role("button", name="Audit", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(
        "60 eyes of 30 persons", timeout=LONG_MS
    )
    page.wait_for_load_state("load")
    expect(page.get_by_role("heading", name="Cover of the optic (capsule overlap)")).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("60 eyes as points"))).to_be_visible()
    assert fits(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the numbers").click()
    document = json.loads(Path(download.value.path()).read_text("utf-8"))
    assert document["results"][0]["schema"] == "rimwise.audit/1"
    go(page, "Start")
    expect(page.get_by_role("link", name=re.compile("60 eyes of 30 persons"))).to_be_visible()


def test_what_is_no_series_is_told_on_the_page(opened: Callable[..., Page], tmp_path: Path) -> None:
    page = opened()
    go(page, "Series")
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("a,b\n1,2\n", encoding="utf-8")
    page.locator("input#table").set_input_files(wrong)
    page.get_by_role("button", name="Audit", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text(
        "has no heading that an audit knows", timeout=LONG_MS
    )
