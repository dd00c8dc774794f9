"""``rimwise follow`` from the outside: pictures of visits in, a course out, or one sentence."""

import json
import shutil
from importlib import resources
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.terms.cautions import CAUTIONS

PICTURES = Path(str(resources.files("rimwise.demo") / "pictures"))


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["follow", *(str(one) for one in words)])
    return done.exit_code, done.stdout, done.stderr


def visits(folder: Path, *days: str, side: str = "") -> list[Path]:
    """Copies of one packaged picture as visits, each sheet with its own lines."""
    made = []
    sheet = (PICTURES / "photo_easy_001.toml").read_text(encoding="utf-8")
    kept = [line for line in sheet.splitlines() if not line.startswith(("taken", "visit_day"))]
    for number, day in enumerate(days):
        path = folder / f"v{number}.jpg"
        shutil.copy(PICTURES / "photo_easy_001.jpg", path)
        lines = [day, *kept] if day else kept
        if not any(line.startswith("code") for line in kept):
            lines = ['code = "E-1"', *lines]
        if side and number:
            lines = [f'side = "{side}"' if line.startswith("side") else line for line in lines]
        path.with_suffix(".toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
        made.append(path)
    return made


def test_one_picture_twice_has_not_changed(tmp_path: Path) -> None:
    pictures = visits(tmp_path, "visit_day = 7", "visit_day = 90")
    out = tmp_path / "course.json"
    code, told, _ = run(*pictures, "--json", out, "--drawing", tmp_path)
    assert code == 0
    assert "No flag is raised." in told
    assert CAUTIONS[0].split(".")[0] in told
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    assert set(entry) >= {
        "schema", "code", "side", "first_day", "visits", "bare_arcs", "forecast", "flags",
    }  # fmt: skip
    assert (entry["schema"], entry["first_day"]) == ("rimwise.healing/1", 7)
    first, second = entry["visits"]
    assert first["change"] is None
    change = second["change"]
    assert change["area_percent"]["value"] == 0.0
    assert abs(change["implant_shift_mm"]["nasal"]["value"]) < 0.01
    assert abs(change["implant_turn_deg"]["value"]) < 0.2
    assert max(abs(m) for m in change["edge_move_mm"] if m is not None) < 0.02
    assert [one["day"] for one in entry["forecast"]] == [91, 365]
    assert (tmp_path / f"{entry['code']}-healing.svg").exists()


def test_a_limit_raises_a_flag(tmp_path: Path) -> None:
    pictures = visits(tmp_path, "taken = 2026-01-01", "taken = 2026-03-01")
    code, told, _ = run(*pictures, "--limit-mm", "2.0")
    assert code == 0
    assert "below 2.00 mm" in " ".join(told.split())


@pytest.mark.parametrize(
    ("days", "side", "says"),
    [
        (("visit_day = 1",), "", "has one picture only"),
        (("visit_day = 1", "visit_day = 1"), "", "are of one day"),
        (("visit_day = 1", "taken = 2026-01-01"), "", "do not all say when they were taken"),
        (("", ""), "", "do not all say when they were taken"),
        (("visit_day = 1", "visit_day = 9"), "other", "are of both sides"),
    ],
)
def test_what_cannot_be_followed(
    tmp_path: Path, days: tuple[str, ...], side: str, says: str
) -> None:
    text = (PICTURES / "photo_easy_001.toml").read_text(encoding="utf-8")
    other = "" if not side else ("left" if 'side = "right"' in text else "right")
    code, out, err = run(*visits(tmp_path, *days, side=other))
    assert code == 2
    assert says in err
    assert not out
    assert len(err.strip().splitlines()) == 1
