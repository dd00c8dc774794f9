"""``predict``: what standing elsewhere would cost, and the drawing of it."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.refraction import PowerVector
from rimwise.predict.gratings import COARSE, USUAL
from rimwise.predict.make import SightQuestion, predict_sight
from rimwise.predict.placed import fovea_of, place_at
from rimwise.predict.sensitivity import PLACES, UNITS, Elsewhere, sight_map, tolerance
from rimwise.records.picture import CorneaSheet
from rimwise.records.sight import SightMap
from rimwise.report.sight_drawing import draw_sight, sight_description
from rimwise.terms.estimate import Estimate

EYE = eye_record(Known("right", "implant", CorneaSheet(radius_mm=7.7), axial_mm=23.6))
ASK = Elsewhere(EYE, PowerVector(-0.6, 0.0, 0.0), 3.0, 15.0, USUAL)
HILL_STEPS = tuple(np.linspace(-1.0, 1.0, PLACES).tolist())


@pytest.fixture(scope="module", params=UNITS)
def found(request: pytest.FixtureRequest) -> SightMap:
    return sight_map(ASK, place_at(EYE, (0.3, -0.1), (2.0, 1.0)), request.param)


def test_every_place_of_a_map_is_what_its_own_trace_gives(found: SightMap) -> None:
    """Corners, rim and middle traced each by itself: contrast within 1e-5, coma within 1e-5 µm."""
    fovea = fovea_of(EYE)
    for i, j in ((0, 0), (0, 20), (20, 3), (7, 13), (20, 20)):
        to = (found.steps[j], found.steps[i])
        place = place_at(EYE, to) if found.unit == "mm" else place_at(EYE, tilt_deg=to)
        view = ASK.view(place, fovea)
        kept = ASK.contrast(view.colours_um[:, :, None])[0]
        coma = math.hypot(view.green.coefficient_um(3, 1), view.green.coefficient_um(3, -1))
        assert found.contrast[i][j] == pytest.approx(kept, abs=1e-5)
        assert found.coma_um[i][j] == pytest.approx(coma, abs=1e-5)


def test_the_map_tells_the_induced_cylinder_of_the_sight(found: SightMap) -> None:
    """The same number by the other way, through predict_sight, at one place of the map."""
    i, j = 14, 4
    to = (found.steps[j], found.steps[i])
    place = place_at(EYE, to) if found.unit == "mm" else place_at(EYE, tilt_deg=to)
    sight = predict_sight(EYE, place, SightQuestion("E-1", (3.0,), COARSE))
    # The map's waves are carried by a polynomial: 1e-4 dpt is far below what is told.
    assert found.cylinder_dpt[i][j] == pytest.approx(
        -sight.pupils[0].induced.cylinder_dpt, abs=1e-4
    )


def test_costs_start_where_the_implant_really_stands(found: SightMap) -> None:
    """0.1 mm (1 degree) to the right from here, both placements traced by themselves."""
    here = place_at(EYE, (0.3, -0.1), (2.0, 1.0))
    there = place_at(EYE, (0.4, -0.1), (2.0, 1.0))
    if found.unit == "deg":
        there = place_at(EYE, (0.3, -0.1), (3.0, 1.0))
    views = [ASK.view(one, fovea_of(EYE)) for one in (here, there)]
    kept = ASK.contrast(np.stack([view.colours_um for view in views], axis=-1))
    assert found.cost[0][0] == 0.0
    assert found.cost[0][1] == pytest.approx(float(kept[0] - kept[1]), abs=1e-6)


def _map(kept: np.ndarray) -> SightMap:
    rows = tuple(tuple(row) for row in kept.tolist())
    return SightMap("mm", HILL_STEPS, rows, rows, rows, (0.0, 0.0), ())


def test_the_tolerance_circle_is_the_one_inside_every_edge() -> None:
    """A hill of known shape, steeper along y: 1 - x² - 4 y² has lost 0.25 at 0.5 and at 0.25."""
    x, y = np.meshgrid(HILL_STEPS, HILL_STEPS)
    steep = _map(1.0 - x * x - 4.0 * y * y)
    assert tolerance(steep, Estimate(0.1, 0.02), 0.25).radius == pytest.approx(0.25, abs=1e-4)
    flat = _map(1.0 - 0.01 * (x * x + y * y))
    assert tolerance(flat, Estimate(0.1, 0.02), 0.25).radius is None


@pytest.mark.parametrize(
    ("here", "within"),
    [((0.2, 0.01), True), ((0.3, 0.01), False), ((0.24, 0.02), None), ((0.26, 0.02), None)],
)
def test_within_is_told_only_where_the_scatter_allows(
    here: tuple[float, float], within: bool | None
) -> None:
    x, y = np.meshgrid(HILL_STEPS, HILL_STEPS)
    steep = _map(1.0 - x * x - 4.0 * y * y)
    assert tolerance(steep, Estimate(*here), 0.25).within is within


def test_a_flat_map_lets_an_implant_beyond_it_untold() -> None:
    flat = _map(np.ones((PLACES, PLACES)))
    assert tolerance(flat, Estimate(1.4, 0.02), 0.25).within is None
    assert tolerance(flat, Estimate(0.4, 0.02), 0.25).within is True


def test_a_circle_is_only_as_wide_as_its_loss() -> None:
    """More loss allowed, a wider circle."""
    found = sight_map(ASK, place_at(EYE), "deg")
    radii = [tolerance(found, Estimate(0.0, 0.0), loss).radius for loss in (0.05, 0.1, 0.2)]
    assert None not in radii
    assert radii == sorted(radii)


def test_the_drawing_says_in_words_what_it_shows() -> None:
    here = place_at(EYE, (1.4, 0.0))
    x, y = here.shift_mm
    here = replace(here, shift_mm=(replace(x, sd=0.1), replace(y, sd=0.1)))
    sight = predict_sight(EYE, here, SightQuestion("E-1", (4.0,), COARSE, map_pupil_mm=4.0))
    drawn = draw_sight(sight)
    assert drawn == draw_sight(sight)
    text = drawn.decode()
    told = ("beyond the map", "ideal placement", "Not a medical device", "temporal to nasal",
            "induced cylinder, dpt", "coma, µm", "Tilt of the optic")  # fmt: skip
    for words in told:
        assert words in text
    assert "costs at most" in sight_description(sight)
    assert draw_sight(sight, "png")[:4] == b"\x89PNG"


CASE = """code = "E-1"
side = "left"
corneal_surgery = "none"
[lengths]
axial_mm = 23.6
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
"""


def run(*words: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["predict", *words])
    return done.exit_code, done.stdout, done.stderr


def test_the_command_maps_and_draws(tmp_path: Path) -> None:
    case, out = tmp_path / "E-1.toml", tmp_path / "sight.json"
    case.write_text(CASE, encoding="utf-8")
    code, told, _ = run(
        str(case), "--decentration-mm", "0.3", "-0.1", "--pupil-mm", "3", "--json", str(out),
        "--map-pupil-mm", "3", "--loss", "0.2", "--drawing", str(tmp_path),
    )  # fmt: skip
    assert code == 0
    assert "20 % of the contrast is lost" in " ".join(told.split())
    assert (tmp_path / "E-1-sight.svg").exists()
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]["sensitivity"]
    assert (entry["pupil_mm"], entry["frequency_cpd"]) == (3.0, 15.0)
    assert [one["unit"] for one in entry["maps"]] == ["mm", "deg"]
    assert np.array(entry["maps"][0]["contrast"]).shape == (PLACES, PLACES)
    assert len(entry["maps"][0]["cost_by_direction"]) == 12
    # The left eye's nose is to the examiner's left.
    assert entry["maps"][0]["here"] == pytest.approx([-0.3, -0.1])
    assert {one["loss"] for one in entry["tolerance"]} == {0.2}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--loss", "1.5"), "between 0 and 1"),
        (("--map-pupil-mm", "12"), "1 to 8 mm is allowed"),
    ],
)
def test_wrong_input(tmp_path: Path, words: tuple[str, ...], says: str) -> None:
    case = tmp_path / "E-1.toml"
    case.write_text(CASE, encoding="utf-8")
    code, _, err = run(str(case), "--decentration-mm", "0", "0", *words)
    assert code == 2
    assert says in err
    assert len(err.strip().splitlines()) == 1
