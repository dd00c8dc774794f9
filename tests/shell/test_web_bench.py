"""Hands on a photograph: what the page answers is what the Python function says, and is kept."""

import json
import re
from typing import Any

import pytest
from workbench import OWN, Browser, csrf

from rimwise.exchange.points import corrections_of
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.journey import corrected_finding
from rimwise.records.picture import PictureSheet
from rimwise.web.bench import numbers_job, picture_job, told_of
from rimwise.web.examples import example_picture
from rimwise.web.jobs import measure_job
from rimwise.web.keeping import Keeping

AT = 120  # a direction in which both edges of the easy picture are in sight


@pytest.fixture(scope="module")
def measured() -> dict[str, Any]:
    values, data = example_picture("easy")
    document: dict[str, Any] = json.loads(measure_job(values, data, "easy.jpg").document)
    return dict(document["results"][0])


def told(entry: dict[str, Any], out_px: float = 16.0) -> dict[str, Any]:
    u, v = entry["opening"]["edge_px"][AT]
    centre = entry["optic"]["ellipse_px"]
    away = ((u - centre["cx"]) ** 2 + (v - centre["cy"]) ** 2) ** 0.5
    share = 1.0 + out_px / away
    point = [centre["cx"] + share * (u - centre["cx"]), centre["cy"] + share * (v - centre["cy"])]
    return {**told_of(entry), "opening_px": [point]}


def test_numbers_are_those_of_the_function(measured: dict[str, Any]) -> None:
    values, _ = example_picture("easy")
    sheet = PictureSheet(
        "left" if values["side"] == "left" else "right",
        optic_diameter_mm=float(str(values["optic_diameter_mm"])),
        superior_deg=float(str(values.get("superior_deg", 90.0))),
    )
    finding = cover_finding_from_document(measured)
    by_hand = corrected_finding(finding, sheet, corrections_of(told(measured), "a test"))
    answer = numbers_job(measured, values, told(measured))
    assert by_hand.cover is not None
    assert answer["width_mm"] == by_hand.cover.width_mm
    assert answer["status"] == by_hand.status
    assert [row[0][:12] for row in answer["glance"]] == [
        "Least cover ", "Complete cov", "Opening (cap", "Opening cent",
    ]  # fmt: skip
    before = measured["cover"]["width_mm"][AT]
    assert answer["width_mm"][AT] < before - 0.05, "the edge was moved out by sixteen pixels"


def test_a_picture_is_shown_as_stored_without_its_tag() -> None:
    _, data = example_picture("easy")
    shown = picture_job(data, "easy.jpg")
    assert shown.jpeg[:2] == b"\xff\xd8"
    assert b"Exif" not in shown.jpeg[:400]
    assert shown.width_px > shown.height_px > 500


def _open(inside: Browser) -> str:
    answer = inside.post("/example", data={"csrf": csrf(inside), "example": "easy"}, headers=OWN)
    return str(answer.headers["location"]).rpartition("/")[2]


def _save(inside: Browser, name: str, points: Any, **more: str) -> Any:
    body = {"csrf": csrf(inside), "told": json.dumps(points), "who": "R-2"} | more
    headers = OWN | {"Accept": "application/json"}
    return inside.post(f"/bench/{name}/save", data=body, headers=headers)


def _name(page: str) -> str:
    found = re.search(r'data-bench="([^"]+)"', page)
    assert found
    return found[1]


def test_a_correction_is_kept_and_comes_back(inside: Browser, keeping: Keeping) -> None:
    name = _open(inside)
    start = inside.get(f"/bench/{name}/start").json()
    entry = {"opening": None} | {"correction": None}
    assert start["told"] == told_of(entry)
    curves = start["numbers"]["curves"]
    u, v = curves["centre"]
    points = start["told"] | {"opening_px": [[u, round(v - 250.0, 4)]]}
    assert _save(inside, name, points, eye="E-1").status_code == 400, "a change needs its reason"
    assert _save(inside, name, points, why="edge").status_code == 400, "and an eye"
    answer = _save(inside, name, points, eye="E-1", why="a tag was taken for the edge")
    where = answer.json()["go"]
    page = inside.get(where)
    assert page.status_code == 200
    assert "a tag was taken for the edge" in page.text
    again = inside.get(f"/bench/{_name(page.text)}/start").json()
    assert again["told"] == points
    sha = where.rpartition("=")[2]
    kept = keeping.book().newest("E-1", "cover", sha)
    assert kept is not None
    assert again["numbers"]["width_mm"] == kept.document["cover"]["width_mm"]
    lanes = {edge: "".join(map(str, grades)) for edge, grades in again["numbers"]["seen"].items()}
    assert lanes == kept.document["visibility"]
    assert kept.document["correction"]["told"]["who"] == "R-2"
    assert keeping.book().pictures.get(sha)[:2] == b"\xff\xd8"
    older = inside.get(f"/bench/{_name(page.text)}/version/1")
    assert older.json()["headline"] == again["numbers"]["headline"]
    assert inside.get(f"/bench/{_name(page.text)}/version/9").status_code == 404


def test_of_two_who_save_the_second_is_asked_and_loses_nothing(
    inside: Browser, keeping: Keeping
) -> None:
    first = _open(inside)
    points = inside.get(f"/bench/{first}/start").json()["told"]
    where = _save(inside, first, points, eye="E-2", why="as found").json()["go"]
    one, two = (_name(inside.get(where).text) for _ in range(2))
    hidden = points | {"hidden_opening_deg": [[10.0, 40.0]]}
    other = points | {"hidden_opening_deg": [[100.0, 140.0]]}
    assert "go" in _save(inside, one, hidden, why="a reflex").json()
    refused = _save(inside, two, other, why="the lid")
    assert (refused.status_code, refused.json()["newer"]) == (409, where)
    assert len(keeping.book().versions("E-2", "cover")) == 2
    assert "go" in _save(inside, two, other, why="the lid", anyway="yes").json()
    assert len(keeping.book().versions("E-2", "cover")) == 3
    assert not keeping.book().verify()


@pytest.mark.parametrize(
    "bad",
    ["", "[]", "{", "[" * 5000, json.dumps({"opening_px": [["a", 1]]}), json.dumps({"what": 1}),
     json.dumps({"opening_px": [[1e300, 0]]}), json.dumps({"hidden_opening_deg": [[0]]})],
)  # fmt: skip
def test_what_are_no_points_is_refused_in_a_sentence(inside: Browser, bad: str) -> None:
    name = _open(inside)
    body = {"csrf": csrf(inside), "told": bad}
    headers = OWN | {"Accept": "application/json"}
    answer = inside.post(f"/bench/{name}/numbers", data=body, headers=headers)
    if answer.status_code != 200:  # an unknown key alone corrects nothing
        assert answer.status_code == 400
        assert answer.json()["sentence"]


def test_an_unknown_bench_or_picture_is_no_page(inside: Browser) -> None:
    assert inside.get("/bench/none").status_code == 404
    assert inside.get("/bench/none/start").status_code == 404
    assert inside.get("/picture", params={"eye": "E", "sha": "../../etc"}).status_code == 404


def test_the_list_of_pictures_shows_an_example_that_belongs_to_no_eye(inside: Browser) -> None:
    """An invented example has no code; the list of what is in work failed over it."""
    name = _open(inside)
    answer = inside.get("/bench")
    assert answer.status_code == 200
    assert f"/bench/{name}" in answer.text
