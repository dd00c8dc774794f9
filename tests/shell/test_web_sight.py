"""The pages about sight: what they ask, what they refuse, and what they show step by step."""

import json
import time
from typing import Any

import pytest
from workbench import OWN, Browser, csrf

from rimwise.report.seen_drawing import NOT_FOR_PATIENTS
from rimwise.store.book import Who
from rimwise.terms.cautions import CAUTIONS
from rimwise.web.keeping import Keeping
from rimwise.web.sight_jobs import SightScene

BY = Who("S-2", "invented")
CASE: dict[str, Any] = {
    "side": "left", "corneal_surgery": "none", "cornea": {"radius_mm": 7.7},
    "lengths": {"axial_mm": 23.6}, "implant": {"optic_diameter_mm": 6.0, "power_dpt": 21.0},
}  # fmt: skip
PICTURE = b"\x89PNG invented"


@pytest.fixture(autouse=True)
def quick_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures are judged where they are drawn; here two words stand for each."""

    def scenes(_asked: Any, light: str) -> tuple[SightScene, ...]:
        return tuple(
            SightScene(f"{one}-{light}", f"{one} by {light}", (one, light), PICTURE)
            for one in ("chart", "lamps")
        )

    monkeypatch.setattr("rimwise.web.sight_run.scenes_job", scenes)


def look(inside: Browser, **told: str) -> Any:
    values = {"csrf": csrf(inside), "code": "E-1", "sight.pupil_mm": "3", "sight.second_mm": "3"}
    named = {name.replace("__", "."): value for name, value in told.items()}
    return inside.post("/sight", data=values | named, headers=OWN)


def finished(inside: Browser, answer: Any) -> str:
    assert answer.status_code == 303, answer.text
    where = str(answer.headers["location"])
    for _ in range(600):
        told = inside.get(f"{where}/state").json()
        if not told["open"]:
            break
        time.sleep(0.1)
    assert told == {"done": 4, "steps": 4, "open": False}
    return where


def test_a_typed_place_is_looked_through_step_by_step(inside: Browser, keeping: Keeping) -> None:
    keeping.book().add_eye("E-1", "left", BY)
    keeping.book().put("E-1", "case", CASE, BY)
    place = {"sight__decentration_mm.first": "0,4", "sight__decentration_mm.second": "-0.1"}
    where = finished(inside, look(inside, **place))
    page = inside.get(where).text
    assert "0.41 mm nasal" in page
    assert NOT_FOR_PATIENTS in page
    assert CAUTIONS[0] in page
    assert "taken as exact" in page
    # Behind the drawing stand its numbers, behind the pictures what is in them.
    assert page.count("<table>") == 8
    assert inside.get(f"{where}/picture-3.png").content == PICTURE
    assert inside.get(f"{where}/picture-4.png").status_code == 404
    assert inside.get(f"{where}/drawing-0.svg").text.startswith("<?xml")
    # The maps come last, with the pupil that they are told for.
    assert "induced cylinder, dpt" in inside.get(f"{where}/drawing-1.svg").text
    assert "1° of tilt" in page
    assert inside.get(f"{where}/drawing-2.svg").status_code == 404
    name = where.rpartition("/")[2]
    document = json.loads(inside.get(f"/document/{name}").text)["results"][0]
    assert document["schema"] == "rimwise.sight/1"
    assert [one["pupil_mm"] for one in document["by_pupil"]] == [3.0, 4.0]
    assert [one["pupil_mm"] for one in document["bare_edge_in_pupil"]] == [3.0, 4.0]
    assert document["sensitivity"]["pupil_mm"] == 4.0
    said = [one["sentence"] for one in document["warnings"]]
    assert len(said) == len(set(said)) > 0
    # A left eye: nasal is the examiner's left.
    assert document["placement"]["here"]["decentration"]["x_mm"]["value"] == pytest.approx(-0.4)


def test_a_measured_place_brings_its_sd(inside: Browser, keeping: Keeping) -> None:
    keeping.book().add_eye("E-1", "left", BY)
    keeping.book().put("E-1", "case", CASE, BY)
    shift = {"x_mm": {"value": -0.3, "sd": 0.08}, "y_mm": {"value": 0.1, "sd": 0.08}}
    cover = {"decentration": {"optic-from-limbus": shift}}
    keeping.book().put("E-1", "cover", cover, BY, slot="a" * 64)
    where = finished(inside, look(inside))
    page = inside.get(where).text
    assert "0.32 mm nasal" in page
    assert "taken as exact" not in page


@pytest.mark.parametrize(
    ("case", "told", "says"),
    [
        (None, {"code": "E-9"}, "no eye of this code"),
        (None, {}, "no case sheet"),
        (CASE, {}, "is not known"),
        (CASE, {"sight__decentration_mm.first": "3", "sight__decentration_mm.second": "0"},
         "-2 to 2 is allowed"),
        (CASE, {"sight__pupil_mm": "9", "sight__decentration_mm.first": "0",
                "sight__decentration_mm.second": "0"}, "2 to 6 is allowed"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_refused_in_one_sentence(
    inside: Browser, keeping: Keeping, case: Any, told: dict[str, str], says: str
) -> None:
    keeping.book().add_eye("E-1", "left", BY)
    if case is not None:
        keeping.book().put("E-1", "case", case, BY)
    answer = look(inside, **told)
    assert answer.status_code == 422
    assert says in answer.text


def test_an_operated_cornea_stops_the_work_with_its_reason(
    inside: Browser, keeping: Keeping
) -> None:
    keeping.book().add_eye("E-1", "left", BY)
    keeping.book().put("E-1", "case", CASE | {"corneal_surgery": "myopic"}, BY)
    place = {"sight__decentration_mm.first": "0", "sight__decentration_mm.second": "0"}
    where = str(look(inside, **place).headers["location"])
    for _ in range(100):
        if not inside.get(f"{where}/state").json()["open"]:
            break
        time.sleep(0.1)
    assert "is not predicted" in inside.get(where).text
