"""What goes along with a course: refraction, acuity and contact that a reader marked."""

import json
import shutil
from importlib import resources
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.follow.along import with_contact
from rimwise.records.healing import BareArc, Healing

PICTURES = Path(str(resources.files("rimwise.demo") / "pictures"))
VISIT = """code = "E-1"
side = "{side}"
[visit]
day = {day}
acuity_logmar = {acuity}
refraction = {{ sphere_dpt = -0.25, cylinder_dpt = -0.50, axis_deg = 85 }}
"""
TILT = "optic_tilt = {{ nasal_deg = {0}, superior_deg = {1}, sd_deg = {2} }}\n"


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["follow", *(str(one) for one in words)])
    return done.exit_code, done.stdout, " ".join(done.stderr.split())


@pytest.fixture
def pictures(tmp_path: Path) -> list[Path]:
    sheet = (PICTURES / "photo_easy_001.toml").read_text(encoding="utf-8").splitlines()
    kept = [one for one in sheet if not one.startswith(("taken", "visit_day", "code"))]
    made = []
    for day in (7, 90):
        path = tmp_path / f"day{day}.jpg"
        shutil.copy(PICTURES / "photo_easy_001.jpg", path)
        lines = ['code = "E-1"', f"visit_day = {day}", *kept]
        path.with_suffix(".toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
        made.append(path)
    return made


def visit(folder: Path, day: int, acuity: str = "0.02") -> Path:
    path = folder / f"visit-{day}-{acuity.strip(chr(34))}.toml"
    sheet = (PICTURES / "photo_easy_001.toml").read_text(encoding="utf-8")
    side = "left" if 'side = "left"' in sheet else "right"
    path.write_text(VISIT.format(side=side, day=day, acuity=acuity), encoding="utf-8")
    return path


def test_refraction_and_acuity_go_along(tmp_path: Path, pictures: list[Path]) -> None:
    code, out, _ = run(
        *pictures, "--visit-sheet", visit(tmp_path, 90), "--contact", "200-260", "--json",
        tmp_path / "a.json",
    )  # fmt: skip
    assert code == 0
    assert "Day 90: refraction -0.25 dpt -0.50 dpt at 85°, acuity 0.02 logMAR" in out
    entry = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["results"][0]
    assert entry["visits"][0]["at_visit"] is None
    assert entry["visits"][1]["at_visit"]["refraction"]["axis_deg"] == 85


def test_a_tilt_that_sheets_tell_is_followed(tmp_path: Path, pictures: list[Path]) -> None:
    sheets = [visit(tmp_path, day) for day in (7, 90)]
    for sheet, tilt in zip(sheets, ((1.0, 0.5, 0.3), (3.0, -0.5, 0.4)), strict=True):
        sheet.write_text(sheet.read_text("utf-8") + TILT.format(*tilt), encoding="utf-8")
    code, out, _ = run(
        *pictures, "--visit-sheet", sheets[0], "--visit-sheet", sheets[1], "--json",
        tmp_path / "a.json",
    )  # fmt: skip
    told = " ".join(out.split())
    assert code == 0
    assert "tilted +3.0° nasal and -0.5° superior (± 0.4°)" in told
    assert "+2.0° nasal and -1.0° superior (± 0.5°) from the first tilt told" in told
    visits = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["results"][0]["visits"]
    assert visits[0]["at_visit"]["optic_tilt_deg"]["nasal"]["value"] == 1.0
    # 0.3 and 0.4 apart make 0.5.
    assert visits[1]["change"]["implant_tilt_deg"]["nasal"] == {
        "value": 2.0, "sd": 0.5, "unit": "deg",
    }  # fmt: skip


def test_a_tilt_without_its_error_is_refused(tmp_path: Path, pictures: list[Path]) -> None:
    sheet = visit(tmp_path, 90)
    told = sheet.read_text("utf-8") + "optic_tilt = { nasal_deg = 1.0, superior_deg = 0.0 }\n"
    sheet.write_text(told, encoding="utf-8")
    code, _, err = run(*pictures, "--visit-sheet", sheet)
    assert (code, "sd_deg" in err) == (2, True)


def test_low_vision_stays_a_word(tmp_path: Path, pictures: list[Path]) -> None:
    code, out, _ = run(*pictures, "--visit-sheet", visit(tmp_path, 7, '"hand-motion"'))
    assert code == 0
    assert "acuity hand-motion" in out


def test_what_does_not_go_along(tmp_path: Path, pictures: list[Path]) -> None:
    code, _, err = run(*pictures, "--visit-sheet", visit(tmp_path, 30))
    assert (code, "pictures are of days 7, 90" in err) == (2, True)
    code, _, err = run(*pictures, "--contact", "below")
    assert (code, "two directions such as 200-260" in err) == (2, True)
    other = visit(tmp_path, 7)
    other.write_text(other.read_text("utf-8").replace("E-1", "E-2"), encoding="utf-8")
    code, _, err = run(*pictures, "--visit-sheet", other)
    assert (code, "has no picture here" in err) == (2, True)


@pytest.mark.parametrize(
    ("marked", "touches"),
    [((10.0, 40.0), True), ((355.0, 5.0), False), ((340.0, 20.0), True), ((100.0, 90.0), True)],
)
def test_contact_is_told_of_the_arcs_that_it_meets(
    marked: tuple[float, float], touches: bool
) -> None:
    arc = BareArc(15.0, 30.0, 15.0, 0.1, 0.1, None, None, None, None)
    course = Healing("E-1", "left", 0, (), (arc,))
    assert with_contact(course, (marked,)).bare_arcs[0].capsules_touch is touches
    assert with_contact(course, ()).bare_arcs[0].capsules_touch is None
