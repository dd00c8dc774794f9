"""Masked reading: nothing is seen that could bias, readings count once, and the study is told."""

import json
import math
import re
import statistics
from typing import Any

import pytest
from workbench import OWN, Browser, csrf

from rimwise.store.book import Who
from rimwise.web.door import Door
from rimwise.web.examples import example_picture
from rimwise.web.jobs import measure_job
from rimwise.web.keeping import Keeping
from rimwise.web.masked_book import course

BY = Who("S-2", "invented")
EYES = ("E-101", "E-102", "E-103", "E-104")


@pytest.fixture(scope="module")
def measured() -> tuple[dict[str, object], bytes, dict[str, Any]]:
    values, data = example_picture("easy")
    entry = json.loads(measure_job(values, data, "eye.jpg").document)["results"][0]
    return values, data, entry


@pytest.fixture
def study(
    inside: Browser, keeping: Keeping, measured: tuple[dict[str, object], bytes, dict[str, Any]]
) -> Browser:
    """A workbench with four eyes, one picture each, and a study of them by two readers."""
    values, data, entry = measured
    book = keeping.book()
    for number, code in enumerate(EYES):
        book.add_eye(code, "left", BY)
        book.put(code, "operation", {"day": 0, "technique": "torn-secretly"}, BY)
        sheet = dict(values) | {"code": code, "visit_day": 4711}
        # A byte behind the picture's end makes it another file with the same pixels.
        sha256 = book.add_picture(code, f"visit-{number}.jpg", data + bytes([number]), BY, sheet)
        book.put(code, "cover", entry | {"sha256": sha256}, BY, slot=sha256)
        book.set_consent(code, ("care", "research"), BY)
    book.add_eye("E-199", "left", BY)
    book.add_picture("E-199", "no.jpg", data + b"no consent", BY, dict(values))
    told = {"title": "edges", "reader-1": "R-1", "reader-2": "R-2", "judge": "R-3",
            "turns": "2", "limit": "0,2", "start": "E-1", "research": "yes"}  # fmt: skip
    answer = post(inside, "/masked", **told)
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == "/masked/study?study=M-1"
    return inside


def post(inside: Browser, path: str, **told: Any) -> Any:
    return inside.post(path, data={"csrf": csrf(inside), **told}, headers=OWN)


def outline(entry: dict[str, Any], larger: float = 1.0) -> dict[str, Any]:
    """Points as a reader would place them: on both edges, the opening's a little off."""
    ring = entry["optic"]["ellipse_px"]
    turn = math.radians(ring["angle_deg"])
    optic = []
    for deg in range(0, 360, 20):
        x, y = ring["a"] * math.cos(math.radians(deg)), ring["b"] * math.sin(math.radians(deg))
        optic.append([ring["cx"] + x * math.cos(turn) - y * math.sin(turn),
                      ring["cy"] + x * math.sin(turn) + y * math.cos(turn)])  # fmt: skip
    edge = [one for one in entry["opening"]["edge_px"] if one][::15]
    middle = [sum(one[k] for one in edge) / len(edge) for k in (0, 1)]
    opening = [[middle[k] + larger * (one[k] - middle[k]) for k in (0, 1)] for one in edge]
    blank: dict[str, Any] = {"hidden_opening_deg": [], "hidden_optic_deg": [], "haptic_px": [],
                             "p1_px": [], "swap": False}  # fmt: skip
    return blank | {"optic_px": optic, "opening_px": opening}


def come(inside: Browser, reader: str) -> str:
    """Begin as a reader; returns the name under which the next picture lies."""
    answer = post(inside, "/masked/come", study="M-1", who=reader)
    page = inside.get(answer.headers["location"])
    found = re.search(r'data-bench="([^"]+)"', page.text)
    assert found, page.text[:2000]
    return found[1]


def read_all(inside: Browser, keeping: Keeping, entry: dict[str, Any], reader: str) -> None:
    """Read everything; R-2 reads the second eye's opening a tenth larger than R-1 does."""
    for step in range(8):
        before = course(keeping.book(), "M-1")
        assert before
        task = before.next_for(reader)
        assert task
        assert task.turn == (1 if step < 4 else 2)
        larger = 1.0 + 0.002 * step + (0.1 if (reader, task.eye) == ("R-2", EYES[1]) else 0.0)
        answer = post(inside, f"/masked/keep/{come(inside, reader)}",
                      told=json.dumps(outline(entry, larger)))  # fmt: skip
        assert answer.status_code == 303, answer.text


def test_a_reader_sees_no_code_visit_arm_name_curve_or_number(
    study: Browser, measured: tuple[dict[str, object], bytes, dict[str, Any]]
) -> None:
    entry = measured[2]
    name = come(study, "R-1")
    page = study.get("/masked/read?study=M-1").text
    for secret in (*EYES, "4711", "torn-secretly", "visit-", entry["sha256"][:12]):
        assert secret not in page
    start = study.get(f"/bench/{name}/start").json()
    assert start["numbers"]["curves"]["opening"] is None
    assert start["numbers"]["curves"]["rim"] is None
    told = json.dumps(outline(entry))
    live = post(study, f"/bench/{name}/numbers", told=told).json()
    assert live["curves"]["opening"]
    assert (live["rows"], live["glance"], live["least"], live["width_mm"]) == ([], [], None, None)
    assert not re.search(r"[0-9]", live["headline"])
    assert study.get(f"/bench/{name}").status_code == 404
    assert post(study, f"/bench/{name}/save", eye="E-1", why="x", told=told).status_code == 404
    assert f"/bench/{name}" not in study.get("/bench").text
    picture = study.get(f"/bench/{name}/picture.jpg").content
    assert b"Exif" not in picture


def test_a_reading_counts_once_and_no_page_shows_it(
    study: Browser, keeping: Keeping,
    measured: tuple[dict[str, object], bytes, dict[str, Any]],
) -> None:  # fmt: skip
    name = come(study, "R-1")
    assert post(study, f"/masked/keep/{name}", told=json.dumps({})).status_code == 400
    told = json.dumps(outline(measured[2]))
    for _ in range(2):
        post(study, f"/masked/keep/{name}", told=told)
    found = course(keeping.book(), "M-1")
    assert found
    assert len(found.readings) == 1
    assert come(study, "R-1") != name
    (eye,) = {code for code in EYES if keeping.book().versions(code, "reading")}
    kept = keeping.book().versions(eye, "reading")[0]
    assert kept.slot not in study.get(f"/eye?code={eye}").text
    where = {"code": eye, "kind": "reading", "slot": kept.slot, "version": "1"}
    assert study.get("/eye/version", params=where).status_code == 404
    assert post(study, "/masked/come", study="M-1", who="S-9").status_code == 400
    assert study.get("/masked/judge?study=M-1").status_code == 400
    for page in ("drawing.png", "study.json"):
        assert study.get(f"/masked/{page}?study=M-1").status_code == 404
    assert post(study, "/masked/close", study="M-1").status_code == 400


def test_readers_differ_a_third_decides_and_the_study_is_told(
    study: Browser, keeping: Keeping,
    measured: tuple[dict[str, object], bytes, dict[str, Any]],
) -> None:  # fmt: skip
    entry = measured[2]
    read_all(study, keeping, entry, "R-1")
    read_all(study, keeping, entry, "R-2")
    found = course(keeping.book(), "M-1")
    assert found
    assert [found.study.picture(one).eye for one in found.to_judge] == [EYES[1]]
    answer = post(study, "/masked/come", study="M-1", who="R-3")
    page = study.get(answer.headers["location"]).text
    assert EYES[1] not in page
    assert "R-1" not in page
    assert "the diameter" in page
    assert study.get("/masked/pair.jpg").headers["content-type"] == "image/jpeg"
    where = re.search(r"/masked/decide/[^\"]+", page)
    assert where
    assert post(study, where[0], choice="A").status_code == 400, "a reason is needed"
    assert post(study, where[0], choice="A", why="seen so").status_code == 303
    assert post(study, "/masked/close", study="M-1").status_code == 303
    assert post(study, "/masked/close", study="M-1").status_code == 303
    told = study.get("/masked/study?study=M-1").text
    for shown in (*EYES, "4711", "torn-secretly", "repeatability", "R-1 minus R-2"):
        assert shown in told
    document = json.loads(study.get("/masked/study.json?study=M-1").text)["results"][0]
    _check_within(keeping, document)
    methods = {one["method"] for one in document["statistics"]}
    assert methods >= {"R-1", "R-2"}
    assert {one["against"] for one in document["statistics"]} >= {"R-2", "agreed", "rimwise"}
    query = {"study": "M-1", "number": "equivalent_diameter_mm", "first": "R-1", "second": "R-2"}
    assert study.get("/masked/drawing.png", params=query).content[1:4] == b"PNG"
    assert keeping.book().verify() == []


def _check_within(keeping: Keeping, document: dict[str, Any]) -> None:
    """Of two readings each the within-subject SD is √(Σd²/2n).

    Bland and Altman 1996, BMJ 312:1654, "Measurement error", from memory; here the sum is only done
    another way.
    """
    found = course(keeping.book(), "M-1")
    assert found
    squares = []
    for one in found.study.pictures:
        values = [reading.values for reading in found.of(one.sha256, "R-1")]
        assert values[0]
        assert values[1]
        name = "equivalent_diameter_mm"
        squares.append((values[0][name] - values[1][name]) ** 2)
    (within,) = (
        one["value"] for one in document["statistics"]
        if (one["number"], one["method"], one["statistic"])
        == ("equivalent_diameter_mm", "R-1", "within-subject-sd")
    )  # fmt: skip
    assert within == pytest.approx(math.sqrt(statistics.fmean(squares) / 2.0), rel=1e-4)


def test_what_is_no_study_is_refused_with_the_form_as_it_was(study: Browser, door: Door) -> None:
    good = {"title": "x", "reader-1": "R-1", "reader-2": "R-2", "judge": "R-3", "turns": "1",
            "limit": "0.2"}  # fmt: skip
    for wrong in ({"judge": "R-1"}, {"reader-2": ""}, {"limit": "9"}, {"turns": "7"},
                  {"start": "nobody"}, {"judge": "a/b"}, {"reader-1": "agreed"}):  # fmt: skip
        answer = post(study, "/masked", **(good | wrong))
        assert answer.status_code == 422, wrong
        assert 'role="alert"' in answer.text
    assert study.get("/masked/study?study=M-9").status_code == 404
    assert door.token is None
