"""``predict``: laws that any placement obeys, the claimed ± by draws, and the command."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import rimwise.predict.sight
from rimwise.cli.main import app
from rimwise.eye.implant import ImplantTerms
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.predict.criteria import (
    contrast,
    three_refractions,
    through_focus,
    view_of,
    visual_strehl,
)
from rimwise.predict.gratings import COARSE, USUAL
from rimwise.predict.make import SightQuestion, predict_sight
from rimwise.predict.placed import fovea_of, place_at, placed_model, unknown_tilt
from rimwise.predict.scatter import cloud_of, moved, normal_draws
from rimwise.predict.sight import line_of_sight, placed_waves
from rimwise.records.picture import CorneaSheet
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.estimate import Estimate

ROUND = CorneaSheet(radius_mm=7.7)
ASK = SightQuestion("E-1", (4.0,), COARSE)


def eye(side: str = "right"):
    return eye_record(Known(side, "implant", ROUND, axial_mm=23.6))


def test_an_ideal_placement_loses_nothing() -> None:
    record = eye()
    sight = predict_sight(record, place_at(record), ASK)
    (pupil,) = sight.pupils
    assert pupil.contrast_lost.value == pytest.approx(0.0, abs=1e-9)
    assert pupil.induced.m_dpt.value == pytest.approx(0.0, abs=1e-9)


def test_a_left_eye_is_a_right_eye_in_a_mirror() -> None:
    told = []
    for side, way in (("right", 1.0), ("left", -1.0)):
        record = eye(side)
        place = place_at(record, (0.3 * way, 0.1), (2.0 * way, 1.0))
        told.append(predict_sight(record, place, ASK).pupils[0])
    right, left = told
    assert left.contrast_lost.value == pytest.approx(right.contrast_lost.value, abs=1e-6)
    assert left.induced.m_dpt.value == pytest.approx(right.induced.m_dpt.value, abs=1e-6)
    assert left.induced.j0_dpt.value == pytest.approx(right.induced.j0_dpt.value, abs=1e-6)
    assert left.induced.j45_dpt.value == pytest.approx(-right.induced.j45_dpt.value, abs=1e-6)


def test_a_perfect_wave_has_the_contrast_of_diffraction() -> None:
    """Closed form of an incoherent round pupil (any textbook of Fourier optics), within 1e-3."""
    flat = np.zeros((1, 45, 1))
    sampling = replace(USUAL, colours=1)
    pupil_mm, nm = 3.0, sampling.light.wavelengths_nm[0]
    kept = contrast(flat, pupil_mm, sampling).mean[:, 0]
    for f, value in zip(range(5, 61, 5), kept, strict=True):
        x = math.degrees(f) * nm * 1e-6 / pupil_mm
        closed = 2.0 / math.pi * (math.acos(x) - x * math.sqrt(1.0 - x * x))
        assert value == pytest.approx(closed, abs=1e-3)
    assert visual_strehl(flat, pupil_mm, sampling)[0] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("pupil_mm", [3.0, 6.0])
@pytest.mark.parametrize("place", [((0.4, -0.2), (4.0, 2.0)), ((0.9, 0.3), (-6.0, 4.0))])
def test_twice_the_sampling_changes_nothing_by_a_hundredth(
    pupil_mm: float,
    place: tuple[tuple[float, float], tuple[float, float]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Rays, nodes, directions and colours (24 for 20, all that there are) doubled at once.

    Contrast below 0.1 is held to 0.001, a tenth of the last decimal that is told.
    """
    record = eye()
    model, fovea = placed_model(record, place_at(record, *place)), fovea_of(record)
    told, lenses, added = [], [], np.linspace(-4.0, 2.0, 13)
    for sampling in (USUAL, USUAL.finer()):
        view = view_of(model, fovea, pupil_mm, sampling)
        squares = least_squares_refraction(view.green)
        waves = view.behind(squares)
        kept = contrast(waves, pupil_mm, sampling)
        focus = through_focus(view, squares, added, 10.0)
        strehl = visual_strehl(waves, pupil_mm, sampling)
        rows = (kept.mean[:, 0], kept.tangential[:, 0], kept.sagittal[:, 0], strehl, focus)
        told.append(np.concatenate(rows))
        lenses.append([(one.m_dpt, one.j0_dpt, one.j45_dpt) for one in three_refractions(view)])
        monkeypatch.setattr(rimwise.predict.sight, "RINGS", 18)
        monkeypatch.setattr(rimwise.predict.sight, "SPOKES", 40)
    assert told[1] == pytest.approx(told[0], rel=0.01, abs=1e-3)
    assert np.array(lenses[1]) == pytest.approx(np.array(lenses[0]), rel=0.01, abs=1e-3)


def test_colours_carried_are_colours_traced() -> None:
    """Seven traced wavelengths carried to twenty: 1e-6 µm, a thousandth of what is told."""
    record = eye()
    model = placed_model(record, place_at(record, (0.9, 0.3), (8.0, -5.0)))
    view = view_of(model, fovea_of(record), 5.0)
    for k in (0, 5, 19):
        nm = USUAL.light.wavelengths_nm[k]
        sight = line_of_sight(model, fovea_of(record))
        (wave,) = placed_waves(model, fovea_of(record), 5.0, (nm,), sight)
        assert wave.coefficients_um[3:] == pytest.approx(view.colours_um[k, 3:], abs=1e-6)


def test_a_turned_toric_implant_leaves_two_sines() -> None:
    """Residual over cylinder is 2 sin(turn): tests/data/series_statistics' sister table, computed.

    Within 3 %: the eye is thick, and the cornea has its own cylinder.
    """
    terms = ImplantTerms(21.0, 1.49, 6.0, 0.0, 0.25, cylinder_dpt=2.0, axis_deg=90.0)
    record = eye_record(Known("right", "implant", ROUND, axial_mm=23.6, implant=terms))
    sizes = []
    for turn in (0.0, 90.0, 10.0, 20.0):
        place = place_at(record, marks_deg=90.0 + turn)
        view = view_of(placed_model(record, place), fovea_of(record), 3.0, COARSE)
        lens = least_squares_refraction(view.green)
        sizes.append(complex(lens.j0_dpt, lens.j45_dpt))
    whole = abs(sizes[0] - sizes[1]) / 2.0
    for turn, left in ((10.0, sizes[2]), (20.0, sizes[3])):
        residual = abs(left - sizes[0])
        expected = 2.0 * math.sin(math.radians(turn)) * whole
        assert residual == pytest.approx(expected, rel=0.03)


def test_the_claimed_scatter_is_that_of_draws() -> None:
    record = eye()
    middle = place_at(record, (0.3, 0.0), (2.0, 0.0))
    x, y = middle.shift_mm
    here = replace(middle, shift_mm=(replace(x, sd=0.08), replace(y, sd=0.08)))
    claimed = predict_sight(record, here, ASK).pupils[0].here.least_squares
    rng, fovea, drawn = np.random.default_rng(8), fovea_of(record), []
    for _ in range(150):
        moved = tuple(
            Estimate(one.value + one.sd * rng.standard_normal(), 0.0) for one in here.shift_mm
        )
        model = placed_model(record, replace(here, shift_mm=moved))
        lens = least_squares_refraction(view_of(model, fovea, 4.0, COARSE).green)
        drawn.append((lens.m_dpt, lens.j0_dpt, lens.j45_dpt))
    scatter = np.std(drawn, axis=0)
    told = np.array([claimed.m_dpt.sd, claimed.j0_dpt.sd, claimed.j45_dpt.sd])
    # 150 draws tell a scatter to 6 %; three times that, and a fiftieth of a dioptre either way.
    assert np.all(np.abs(told - scatter) < 0.18 * scatter + 0.002)


def test_the_claimed_range_of_contrast_is_that_of_draws() -> None:
    """Unknown tilt, where slopes vanish: placements drawn anew by chance and traced one by one."""
    record, asked = eye(), SightQuestion("E-1", (3.0,))
    middle = place_at(record, (0.3, -0.1))
    x, y = middle.shift_mm
    shift = (replace(x, sd=0.08), replace(y, sd=0.08))
    here = replace(middle, shift_mm=shift, tilt_deg=unknown_tilt())
    told = predict_sight(record, here, asked)
    (one,) = told.pupils
    worn = [told.glasses.m_dpt.value, told.glasses.j0_dpt.value, told.glasses.j45_dpt.value]
    rng, fovea, waves = np.random.default_rng(8), fovea_of(record), []
    for _ in range(150):
        model = placed_model(record, moved(here, rng.standard_normal(4)))
        view = view_of(model, fovea, 3.0)
        waves.append(view.behind(PowerVector(*worn).moved_towards_light(-view.vertex_mm)))
    drawn = contrast(np.concatenate(waves, axis=2), 3.0).mean
    for k in (0, 2, 5):
        low, high = one.here.with_glasses.mean_95[k]
        # 150 draws tell a share of 95 % to 1.8 %; three times that.
        within = np.mean((drawn[k] >= low) & (drawn[k] <= high))
        assert 0.895 <= within <= 0.995
    # The tail is heavy: scatters of 150 draws scatter by a fifth themselves.
    lost = one.contrast_lost
    assert lost.sd == pytest.approx(float(drawn[2].std()), rel=0.35)
    low, high = one.contrast_lost_95
    # Much worse is likely, much better is not.
    assert high - lost.value > 2.0 * (lost.value - low) > 0.0


def test_drawn_waves_are_traced_waves() -> None:
    """Within 0.002 µm up to two sd of every number, where contrast does not show it."""
    record = eye()
    middle = place_at(record, (0.3, -0.1))
    x, y = middle.shift_mm
    shift = (replace(x, sd=0.08), replace(y, sd=0.08))
    here = replace(middle, shift_mm=shift, tilt_deg=unknown_tilt())
    cloud, draws = cloud_of(record, here, fovea_of(record), 3.0), normal_draws(4)
    assert cloud is not None
    for k in np.flatnonzero(np.abs(draws).max(axis=1) < 2.0)[:6]:
        model = placed_model(record, moved(here, draws[k]))
        green = view_of(model, fovea_of(record), 3.0, COARSE).green.coefficients_um
        assert cloud.green_um[3:, k + 1] == pytest.approx(green[3:], abs=0.002)


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


def test_the_command_tells_here_beside_ideal(tmp_path: Path) -> None:
    case, out = tmp_path / "E-1.toml", tmp_path / "sight.json"
    case.write_text(CASE, encoding="utf-8")
    code, told, _ = run(
        str(case), "--decentration-mm", "0.3", "-0.1", "--pupil-mm", "3", "--json", str(out)
    )
    assert code == 0
    assert "nasal" in told
    assert "Nobody measured the implant's tilt" in " ".join(told.split())
    assert CAUTIONS[0].split(".")[0] in told
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    assert (entry["schema"], entry["status"], len(entry["by_pupil"])) == (
        "rimwise.sight/1", "predicted", 1,
    )  # fmt: skip
    placed = entry["placement"]["here"]["decentration"]
    assert placed["nasal_mm"]["value"] == pytest.approx(0.3)
    assert placed["x_mm"]["value"] == pytest.approx(-0.3)


def test_an_implant_without_power_is_looked_through(tmp_path: Path) -> None:
    """Plane surfaces have no radius; a long eye can still need such an implant."""
    case = tmp_path / "E-1.toml"
    flat = CASE.replace("21.0", "0").replace("23.6", "30.0").replace('"left"', '"right"')
    case.write_text(flat, encoding="utf-8")
    code, told, _ = run(str(case), "--decentration-mm", "0.3", "0", "--pupil-mm", "3")
    assert code == 0
    assert "Pupil 3 mm: -0 " not in told


@pytest.mark.parametrize(
    ("text", "words", "says"),
    [
        (CASE, (), "is told once"),
        (CASE.replace("power_dpt = 21.0\n", ""), ("--decentration-mm", "0", "0"), "no power_dpt"),
        (CASE, ("--decentration-mm", "0", "0", "--pupil-mm", "12"), "1 to 8 mm is allowed"),
        (CASE, ("--placement", "none.json"), "cannot be read"),
        (CASE, ("--decentration-mm", "5", "0"), "less than 3 mm is allowed"),
        (CASE, ("--decentration-mm", "0", "0", "--tilt-deg", "60", "0"), "up to 45° is allowed"),
    ],
)
def test_wrong_input(tmp_path: Path, text: str, words: tuple[str, ...], says: str) -> None:
    case = tmp_path / "E-1.toml"
    case.write_text(text, encoding="utf-8")
    code, _, err = run(str(case), *words)
    assert code == 2
    assert says in err
    assert len(err.strip().splitlines()) == 1
