"""The page of a day: self-contained, escaped, with every caution; and it prints on one sheet."""

import html.parser
import io
import json
import shutil
from importlib import resources
from pathlib import Path

import pytest
import typst
from matplotlib import get_data_path
from PIL import Image

from rimwise.exchange.pdf import page_pdf
from rimwise.report.page import DayPage, PagePicture, PageTable, day_data, day_html
from rimwise.report.words import Row
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import OutputFailed


def a_picture(name="drawing.jpg"):
    sink = io.BytesIO()
    Image.new("RGB", (1300, 1480), (200, 120, 60)).save(sink, format="JPEG")
    return PagePicture(name, "E-001 <b>bold</b>", "a picture", sink.getvalue(), "image/jpeg")


def a_page(**changes):
    values = {
        "title": "A day & a <night> #let x = 1 $y$",
        "subtitle": "invented",
        "numbers": (
            Row("Least cover", "0.12 ± 0.03 mm", "at 12 o'clock"),
            Row("Opening diameter", "5.20 ± 0.02 mm"),
            Row("Complete cover", "95.0 %"),
        ),
        "pictures": (a_picture(),),
        "plan": a_picture("plan.jpg"),
        "table": PageTable("Caption", ("Picture", "Truth"), (("E-001", "0.1"),) * 15),
        "methods": "By hand. " * 60,
        "inputs": (("E-001", "ab" * 32),) * 15,
        "version": "0.0",
    }
    return DayPage(**(values | changes))


class Seen(html.parser.HTMLParser):
    """Collects what a browser would fetch or run, and the pictures without words."""

    def __init__(self):
        super().__init__()
        self.tags, self.addresses, self.wordless = [], [], 0

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        self.tags.append(tag)
        self.addresses += [v for k, v in attrs if k in {"src", "href"} and v]
        self.wordless += tag == "img" and not named.get("alt")


def test_the_page_fetches_and_runs_nothing():
    text = day_html(a_page())
    seen = Seen()
    seen.feed(text)
    assert not {"script", "link", "iframe", "object"} & set(seen.tags)
    assert all(address.startswith("data:image/") for address in seen.addresses)
    assert "@import" not in text
    assert "url(" not in text
    assert seen.wordless == 0


def test_words_are_escaped():
    text = day_html(a_page())
    assert "<b>bold" not in text
    assert "A day &amp; a &lt;night&gt;" in text


def test_every_caution_and_own_word_is_on_the_page():
    text = day_html(a_page())
    for caution in CAUTIONS:
        assert caution in text
    for words in ("capsule overlap", "capsulotomy", "lens body", "0.12 ± 0.03 mm", "ab" * 32):
        assert words in text
    assert "prefers-color-scheme: dark" in text
    assert "@media print" in text


def printed_pages(page, folder: Path) -> int:
    """Count the pages by setting the same template as pictures."""
    for picture in (*page.pictures[:1], *([page.plan] if page.plan else [])):
        (folder / picture.name).write_bytes(picture.data)
    with resources.as_file(resources.files("rimwise.exchange") / "day.typ") as template:
        shutil.copyfile(template, folder / "day.typ")
    made = typst.compile(
        str(folder / "day.typ"), root=str(folder), format="png", ppi=20.0,
        font_paths=[str(Path(get_data_path()) / "fonts" / "ttf")], ignore_system_fonts=True,
        sys_inputs={"day": json.dumps(day_data(page))},
    )  # fmt: skip
    return len(made) if isinstance(made, list) else 1


def test_the_page_prints_on_one_sheet(tmp_path):
    assert printed_pages(a_page(), tmp_path) == 1


def test_the_pdf_is_the_same_twice_and_takes_any_words():
    page = a_page()
    files = {"drawing.jpg": page.pictures[0].data, "plan.jpg": page.plan.data}
    made = page_pdf("day", day_data(page), files)
    assert made.startswith(b"%PDF-1.7")
    assert made == page_pdf("day", day_data(page), files)


def test_a_page_without_pictures_or_plan_is_set():
    page = a_page(pictures=(), plan=None)
    assert page_pdf("day", day_data(page), {}).startswith(b"%PDF")
    assert "<img" not in day_html(page)


def test_a_missing_picture_and_a_wandering_name_are_refused():
    with pytest.raises(OutputFailed, match="could not be set"):
        page_pdf("day", day_data(a_page()), {})
    with pytest.raises(OutputFailed, match="plain name"):
        page_pdf("day", day_data(a_page()), {"../drawing.jpg": b""})
