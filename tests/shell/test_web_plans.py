"""Plans on pages: live numbers, kept with their eye, a theatre list, the bias of the last eyes."""

import io
import json
import statistics
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from workbench import OWN, Browser, csrf

from rimwise.store.book import Who
from rimwise.web.fields import values_of
from rimwise.web.forms import PLAN_FORM
from rimwise.web.jobs import plan_job
from rimwise.web.keeping import Keeping

CASE = {"side": "right", "corneal_surgery": "none", "implant.optic_diameter_mm": "6,0",
        "opening.centre": "lens", "opening.diameter_mm": "5,0", "code": "E-1"}  # fmt: skip


def post(inside: Browser, path: str, **told: Any) -> Any:
    return inside.post(path, data={"csrf": csrf(inside), **told}, headers=OWN)


def plan(inside: Browser, **told: str) -> str:
    answer = post(inside, "/plan", **(CASE | told))
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_the_live_numbers_are_those_of_the_plan(inside: Browser) -> None:
    answer = post(inside, "/plan/live", **CASE).json()
    wanted = plan_job(values_of(PLAN_FORM, {key: [value] for key, value in CASE.items()}))
    assert answer["headline"] == wanted.headline
    assert [tuple(row) for row in answer["rows"]] == list(wanted.rows)
    assert answer["warnings"] == list(wanted.warnings)
    assert inside.get(answer["drawing"]).content.lstrip().startswith(b"<?xml")


def test_a_wrong_entry_is_told_live_with_its_field(inside: Browser) -> None:
    answer = post(inside, "/plan/live", **(CASE | {"opening.diameter_mm": "50"})).json()
    assert answer["field"] == "opening-diameter-mm"
    assert "allowed" in answer["sentence"]


def test_a_plan_is_kept_with_its_case_sheet(inside: Browser, keeping: Keeping) -> None:
    name = plan(inside).rpartition("/")[2]
    answer = post(inside, "/plan/save", name=name, code="E-1", who="S-2")
    assert answer.headers["location"] == "/eye?code=E-1"
    case, kept = keeping.book().newest("E-1", "case"), keeping.book().newest("E-1", "plan")
    assert case
    assert kept
    assert case.document["implant"] == {"optic_diameter_mm": 6.0}
    assert kept.document["schema"] == "rimwise.plan/1"
    form = inside.get("/plan", params={"code": "E-1"}).text
    assert 'name="seen" value="1"' in form
    again = plan(inside, eye="E-1", seen="1").rpartition("/")[2]
    post(inside, "/plan/save", name=again, code="E-1")
    assert len(keeping.book().versions("E-1", "case")) == 1, "nothing was changed"
    assert len(keeping.book().versions("E-1", "plan")) == 2
    other = plan(inside, eye="E-1", seen="1", age_years="70").rpartition("/")[2]
    assert post(inside, "/plan/save", name=other, code="E-1").status_code == 422
    assert post(inside, "/plan/save", name=other, code="E-1", why="age").status_code == 303
    late = plan(inside, eye="E-1", seen="1", age_years="60").rpartition("/")[2]
    assert post(inside, "/plan/save", name=late, code="E-1", why="x").status_code == 409
    assert len(keeping.book().versions("E-1", "case")) == 2
    assert keeping.book().verify() == []


def test_a_plan_shows_its_eye_to_scale(inside: Browser) -> None:
    page = plan(inside)
    assert f'src="{page}/eye.svg"' in inside.get(page).text
    assert b"<svg" in inside.get(f"{page}/eye.svg").content


@pytest.mark.parametrize("seat", ["head", "side"])
def test_a_plan_sheet_comes_as_one_page(inside: Browser, seat: str) -> None:
    answer = inside.get(f"{plan(inside)}/sheet.pdf", params={"seat": seat})
    assert answer.headers["content-type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    assert len(reader.pages) == 1
    assert "E-1" in reader.pages[0].extract_text()


def test_the_theatre_list_plans_each_eye(inside: Browser, keeping: Keeping) -> None:
    name = plan(inside).rpartition("/")[2]
    post(inside, "/plan/save", name=name, code="E-1")
    keeping.book().add_eye("E-2", "left", Who("S-2"))
    text = inside.get("/theatre?code=E-1&code=E-2&code=E-3&code=E-1").text
    assert text.count("Opening of 5.00 mm") == 1
    assert "This eye has no case sheet yet" in text
    assert "/eye?code=E-3" not in text
    assert "/planned/" in text


def _cover(nasal: float, diameter: float) -> dict[str, Any]:
    return {
        "schema": "rimwise.cover/1",
        "decentration": {"opening-from-optic": {"nasal_mm": {"value": nasal, "sd": 0.03},
                                                "superior_mm": {"value": -0.1, "sd": 0.03}}},
        "opening": {"equivalent_diameter_mm": {"value": diameter, "sd": 0.05}},
        "cover": {"min_mm": None},
    }  # fmt: skip


def test_bias_and_scatter_are_those_of_the_standard_library(
    inside: Browser, keeping: Keeping
) -> None:
    nasal = [0.1, 0.3, 0.2, 0.25]
    for number, value in enumerate(nasal):
        code = f"E-{number}"
        keeping.book().add_eye(code, "right", Who("S-2"))
        keeping.book().put(code, "cover", _cover(value, 5.2), Who("S-2"), slot="a" * 64)
        keeping.book().put(code, "plan", {"opening": {"diameter_mm": 5.0}}, Who("S-2"))
    text = inside.get("/glance").text
    mean, sd = statistics.fmean(nasal), statistics.stdev(nasal)
    assert f"<strong>+{mean:.2f} mm</strong> ± {sd:.2f} (4 eyes)" in text
    assert "<strong>+0.20 mm</strong> ± 0.00 (4 eyes)" in text
    assert text.count('circle class="dot"') == 4


@pytest.mark.parametrize("eyes", [1, 2])
def test_one_or_two_eyes_have_no_mean_and_are_drawn(
    inside: Browser, keeping: Keeping, eyes: int
) -> None:
    for number in range(eyes):
        keeping.book().add_eye(f"E-{number}", "left", Who("S-2"))
        keeping.book().put(f"E-{number}", "cover", _cover(0.1, 5.2), Who("S-2"), slot="a" * 64)
    page = inside.get("/glance")
    assert page.status_code == 200
    assert page.text.count('rect class="dot"') == eyes
    assert 'class="mean"' not in page.text


@pytest.mark.parametrize("seen", ["-1", "x", "9" * 30, "²"])
def test_a_forged_version_meets_no_fault(inside: Browser, seen: str) -> None:
    name = plan(inside, eye="E-1", seen=seen).rpartition("/")[2]
    assert post(inside, "/plan/save", name=name, code="E-1").status_code in {303, 422}
    assert json.loads(inside.get(f"/document/{name}").text)["results"]


def test_a_plan_of_the_form_takes_the_spread_that_the_casebook_holds(tmp_path: Path) -> None:
    told = values_of(PLAN_FORM, {key: [value] for key, value in CASE.items()})
    hand = {"opening_from_target_bias_mm": [0.0, 0.0], "opening_from_target_sd_mm": [0.02, 0.02],
            "diameter_bias_mm": 0.0, "diameter_sd_mm": 0.02,
            "optic_from_rest_sd_mm": [0.02, 0.02]}  # fmt: skip
    entry = {"schema": "rimwise.spread/1", "eyes": 200, "technique": "manual", "spread": hand}
    without = plan_job(told, str(tmp_path))
    (tmp_path / "spread.json").write_text(json.dumps({"results": [entry]}), encoding="utf-8")
    steady = plan_job(told, str(tmp_path))
    chances = [
        json.loads(one.document)["results"][0]["opening"]["p_complete"] for one in (without, steady)
    ]
    assert chances[0] < chances[1] > 0.99
    assert any("own series of 200 eyes" in one for one in steady.warnings)
    assert not any("own series" in one for one in without.warnings)
