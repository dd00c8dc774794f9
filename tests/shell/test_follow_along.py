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
