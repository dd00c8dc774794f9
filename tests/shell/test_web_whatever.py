"""Whatever is sent, the workbench answers, and never by a fault of its own."""

import io
import json
import re
import time
from typing import Any

import numpy as np
import pytest
import schemathesis
import tree
from hypothesis import HealthCheck, Phase, given, settings
from PIL import Image
from workbench import OWN, PORT, Browser, HereWorker, csrf

from rimwise.store.book import Who
from rimwise.store.studies import put_study
from rimwise.terms.errors import RimwiseError
from rimwise.web.app import make_app
from rimwise.web.door import Door
from rimwise.web.examples import example_picture
from rimwise.web.jobs import measure_job
from rimwise.web.keeping import Keeping
from rimwise.web.series_jobs import Wish, audit_job

SHORT, LONG = 6, 250  # cases an operation: 46 operations make 276 and 11,500
CORPUS_SHORT, CORPUS_LONG = 30, 500
HANG_S = 10.0


@pytest.fixture
def ready(inside: Browser, keeping: Keeping) -> Browser:
    """A browser inside a workbench with one eye, its picture, and a masked study of it."""
    book, by = keeping.book(), Who("S-2")
    book.add_eye("E-1", "left", by)
    book.put("E-1", "case", {"side": "left", "corneal_surgery": "none"}, by)
    values, data = example_picture("easy")
    sha256 = book.add_picture("E-1", "eye.jpg", data, by, values)
    told = {"title": "", "readers": ["workbench", "R-2"], "judge": "R-3", "turns": 1, "salt": "0",
            "limit_mm": 0.2, "left_out": 0,
            "pictures": [{"eye": "E-1", "sha256": sha256, "arm": "", "visit": ""}]}  # fmt: skip
    put_study(book, "", told, by, 0)
    return inside


def _send(browser: Browser, case: Any, mark: str) -> int:
    """Send one case as a browser would: with the session's cookie, origin and mark."""
    told = dict(case.body) | {"csrf": mark} if isinstance(case.body, dict) else {}
    for place in (case.query, told):
        for name in ("code", "eye"):
            # Half of all requests are about the eye that is there.
            if name in place and len(str(place[name])) % 2 == 0:
                place[name] = "E-1"
        if "study" in place and len(str(place["study"])) % 2 == 0:
            place["study"] = "M-1"
    files = {name: ("x.jpg", value) for name, value in told.items() if isinstance(value, bytes)}
    texts = {
        name: value if isinstance(value, list) else str(value)
        for name, value in told.items() if name not in files
    }  # fmt: skip
    query = {name: str(value) for name, value in dict(case.query).items()}
    answer = browser.request(
        case.method, case.path, params=query, headers=OWN,
        data=texts or None, files=files or None,
    )  # fmt: skip
    return answer.status_code


def _all_operations(browser: Browser, cases: int) -> int:
    mark = csrf(browser)
    schema = schemathesis.openapi.from_dict(browser.get("/openapi.json").json())
    sent = 0
    for found in schema.get_all_operations():
        operation = found.ok()

        @given(case=operation.as_strategy())
        @settings(
            max_examples=cases, deadline=None, derandomize=True, database=None,
            phases=[Phase.generate], suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        def each(case: Any) -> None:
            nonlocal sent
            sent += 1
            status = _send(browser, case, mark)
            assert status < 500, (case.method, case.path, case.query, case.body)

        each()
    return sent


def test_no_request_by_the_description_meets_a_fault(ready: Browser) -> None:
    assert _all_operations(ready, SHORT) >= 200


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_ten_thousand_requests_by_the_description_meet_no_fault(
    ready: Browser, keeping: Keeping
) -> None:
    sent = 0
    while sent < 10_000:
        sent += _all_operations(ready, LONG)
    assert keeping.book().verify() == []


def _dicom() -> bytes:
    """The beginning of a DICOM file (PS3.10): preamble, mark, one element of its meta group."""
    return b"\0" * 128 + b"DICM" + b"\x02\0\0\0UL\x04\0\x0a\0\0\0" + b"\x5a" * 400


def _wholes() -> list[tuple[str, bytes]]:
    """Whole files of each kind, from which broken ones are made."""
    pixels = np.random.default_rng(3).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    files = []
    for kind in ("PNG", "JPEG", "TIFF", "BMP", "GIF", "PPM", "WEBP"):
        sink = io.BytesIO()
        Image.fromarray(pixels).save(sink, kind)
        files.append((f"eye.{kind.lower()}", sink.getvalue()))
    photo = (tree.SOURCE / "demo" / "pictures" / "photo_easy_001.jpg").read_bytes()
    files.append(("photo.jpg", photo))
    files.append(("eye.dcm", _dicom()))
    text = json.dumps({"rimwise": "0.1.0", "results": [{"schema": "rimwise.cover/1", "code": "E"}]})
    files.append(("eye.json", text.encode()))
    return files


def _broken(rng: np.random.Generator, data: bytes) -> bytes:
    """Break a file: bits, a hole, an end too soon, a part twice, a number made huge."""
    kind = int(rng.integers(0, 5))
    spoilt = bytearray(data)
    at = int(rng.integers(0, len(spoilt)))
    if kind == 0:
        for place in rng.integers(0, len(spoilt), 1 + len(spoilt) // 200):
            spoilt[place] ^= 1 << int(rng.integers(0, 8))
    elif kind == 1:
        del spoilt[at : at + int(rng.integers(1, 200))]
    elif kind == 2:
        del spoilt[at:]
    elif kind == 3:
        spoilt[at:at] = spoilt[: int(rng.integers(1, 500))]
    else:
        at = min(at, 60)  # sizes stand in the head of a picture
        spoilt[at : at + 4] = b"\xff\xff\xff\xff"
    return bytes(spoilt)


def _feed(count: int) -> dict[str, int]:
    """Have broken files measured and audited; each is answered or refused, and soon."""
    rng = np.random.default_rng(20260302)
    files, ends = _wholes(), {"answered": 0, "refused": 0}
    for number in range(count):
        name, whole = files[number % len(files)]
        data = _broken(rng, whole)
        start = time.process_time()
        try:
            if name.endswith(".json"):
                audit_job(data, name, Wish())
            else:
                measure_job({"side": "left", "optic_diameter_mm": 6.0}, data, name)
            ends["answered"] += 1
        except RimwiseError:
            ends["refused"] += 1
        assert time.process_time() - start <= HANG_S, (name, number)
    return ends


def test_thirty_broken_files_are_answered_or_refused() -> None:
    assert _feed(CORPUS_SHORT)["refused"] >= CORPUS_SHORT // 3


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_five_hundred_broken_files_are_answered_or_refused() -> None:
    assert _feed(CORPUS_LONG)["refused"] >= CORPUS_LONG // 3


def test_a_page_is_there_within_a_second_of_work(door: Door, keeping: Keeping) -> None:
    browser = Browser(make_app(door, HereWorker(), keeping), f"http://127.0.0.1:{PORT}")
    start = time.process_time()
    assert browser.get("/", params={"token": door.token}).status_code == 200
    assert re.search("<h1>", browser.get("/").text)
    assert time.process_time() - start <= 1.0
