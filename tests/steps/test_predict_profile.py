"""Numbers of implants with a profile: against optics without one, closed forms, finer sampling.

Sources: efficiencies and zones as in ``test_implant_profile``; the contrast of a perfect round
pupil is the closed form of ``optics.contrast``.
"""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.contrast import perfect_modulation
from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.optics.zernike import Wavefront
from rimwise.predict.criteria import View
from rimwise.predict.gratings import FREQUENCIES_CPD, Sampling, directions_from
from rimwise.predict.judge import ProfiledJudge, judge_of
from rimwise.predict.make import SightQuestion, predict_sight
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.profiled import Cells, ProfiledView
from rimwise.predict.relief import relief_of
from rimwise.predict.sensitivity import Elsewhere, sight_map
from rimwise.records.implant_profile import ImplantProfile
from rimwise.terms.estimate import Estimate

EYE = eye_record(Known("right", "implant", axial_mm=23.6))
FOVEA = fovea_of(EYE)
FLAT = ImplantProfile("smooth", ((0.0, 0.0), (3.0, 0.0)))
TWO = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.5)
BUMP = ImplantProfile("smooth", ((0.0, 0.6), (0.6, 0.1), (1.2, 0.0), (3.0, 0.0)))
NONE = PowerVector(0.0, 0.0, 0.0)


def judge(
    profile: ImplantProfile | None,
    pupil_mm: float,
    shift_mm: tuple[float, float] = (0.4, -0.2),
    cells: Cells | None = None,
):
    model = placed_model(EYE, place_at(EYE, shift_mm, (3.0, 1.0)))
    return judge_of(model, FOVEA, pupil_mm, Sampling(colours=12), profile, cells or Cells())


def perfect_eye(profile: ImplantProfile, pupil_mm: float) -> ProfiledView:
    """An eye without any error in one colour; the optic lies in the pupil itself."""
    nm = Sampling(colours=1).light.wavelengths_nm[0]
    green = Wavefront(np.zeros(45), 0.5 * pupil_mm, "entrance pupil", nm)
    view = View(green, np.zeros((1, 45)), 3.0, Sampling(colours=1, directions=8))
    places = np.zeros((45, 2))
    places[2, 0] = places[1, 1] = 0.25 * pupil_mm  # modes 2ρ cos φ and 2ρ sin φ
    return ProfiledView(view, places, replace(profile, design_nm=nm), (1.0,), Cells(colours=1))


@pytest.mark.parametrize("pupil_mm", [2.0, 5.0])
def test_a_profile_of_nothing_changes_nothing(pupil_mm: float) -> None:
    """The whole sampled pupil, transformed, against the shared area by Gauss's nodes."""
    plain, flat = judge(None, pupil_mm), judge(FLAT, pupil_mm)
    lens = least_squares_refraction(plain.view.green)
    (kept, ratio), (other, another) = (one.curves([lens], 0.3) for one in (plain, flat))
    for name in ("tangential", "sagittal"):
        # 12 colours leave 0.001 at 5 mm, in different directions.
        assert getattr(other, name) == pytest.approx(getattr(kept, name), abs=2e-3)
    assert other.mean == pytest.approx(kept.mean, abs=1e-3)
    assert another == pytest.approx(ratio, abs=2e-3)
    added = np.linspace(-2.0, 2.0, 17)
    assert flat.focus(lens, added) == pytest.approx(plain.focus(lens, added), abs=1e-3)
    assert flat.sphere(lens) == pytest.approx(plain.sphere(lens), abs=0.01)


@pytest.mark.parametrize("waves", [0.25, 0.5, 0.7, 1.0])
def test_light_of_the_cells_is_shared_as_sinc_squared(waves: float) -> None:
    """What the pupil's cells hold, summed over whole periods: sinc²(α - m) within 1e-3."""
    profile = ImplantProfile("diffractive", (), ((0.0, waves), (1.0, 0.0)), 3.0)
    period, each = 2.0 * 0.555 / 3.0, 4000
    square = (np.arange(20 * each) + 0.5) / each * period
    for cell_mm, orders in ((1e-3, (0, 1)), (1.6e-2, (0,) if waves <= 0.7 else (1,))):
        # Wider cells dim the near focus at the rim, never the far one.
        light = relief_of(profile, 555.0, 1.0, cell_mm).at(np.sqrt(square))
        for m in orders:
            held = abs(np.mean(light * np.exp(2j * np.pi * m * square / period))) ** 2
            assert held == pytest.approx(np.sinc(waves - m) ** 2, abs=1e-3)


def test_all_light_in_one_order_is_a_perfect_lens() -> None:
    """One whole wave a period: all light has the add, contrast is that of diffraction (1e-3)."""
    seen = perfect_eye(ImplantProfile("diffractive", (), ((0.0, 1.0), (1.0, 0.0)), 2.0), 3.0)
    nm, turns = seen.view.green.wavelength_nm, directions_from(0.0, 8)
    kept = np.abs(seen.transfer(PowerVector(-2.0, 0.0, 0.0), FREQUENCIES_CPD, turns))
    perfect = perfect_modulation(FREQUENCIES_CPD, 3.0, nm)
    assert kept.mean(axis=1) == pytest.approx(perfect, abs=1e-3)
    lines = seen.lines(NONE, 10.0, turns).behind(np.array([-2.0])).mean()
    assert lines == pytest.approx(perfect_modulation(10.0, 3.0, nm), abs=1e-3)


def test_foci_keep_their_share_of_contrast_an_add_apart() -> None:
    """Two foci of sinc²(1/2) each: fine gratings keep that share of diffraction's contrast.

    The other order's light lies 3.5 dpt out of focus and keeps 0.5 % of its own there; where both
    interfere more is left, so that the mean over gratings is told, to 2 %.
    """
    seen = perfect_eye(TWO, 4.0)
    turns, f = directions_from(0.0, 8), np.arange(25.0, 56.0, 2.5)
    perfect = perfect_modulation(f, 4.0, seen.view.green.wavelength_nm)
    kept = np.abs(seen.transfer(NONE, f.tolist(), turns)).mean(axis=1)
    assert np.mean(kept / perfect) == pytest.approx(np.sinc(0.5) ** 2, rel=0.02)
    added = np.linspace(-3.8, -3.2, 61)
    near = seen.lines(NONE, 10.0, turns).behind(added).mean(axis=0)
    # The zone formula: first period ends at √(2 λ / A); the optic lies in the pupil here.
    assert added[np.argmax(near)] == pytest.approx(-3.5, abs=0.035)


@pytest.mark.parametrize("profile", [TWO, BUMP])
@pytest.mark.parametrize("pupil_mm", [3.0, 6.0])
def test_twice_the_sampling_changes_nothing_by_a_hundredth(
    profile: ImplantProfile, pupil_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cells, places along lines, colours (24, all there are) and directions doubled at once.

    Contrast below 0.2 is held to 0.002, a fifth of the last decimal that is told.
    """
    told, added = [], np.linspace(-4.0, 2.0, 13)
    for cells in (Cells(), Cells(0.008 if pupil_mm < 5.0 else 0.0094, 24, 16, 384)):
        one = judge(profile, pupil_mm, (0.6, 0.3), cells)
        lens = least_squares_refraction(one.view.green)
        kept, ratio = one.curves([lens], 0.0)
        told.append((kept.mean[:, 0], ratio, one.focus(lens, added), [one.sphere(lens)]))
        monkeypatch.setattr("rimwise.predict.profiled._LINES", 320)
    for first, second in zip(*told, strict=True):
        assert np.array(second) == pytest.approx(np.array(first), rel=0.01, abs=2e-3)


def test_the_told_wave_is_that_of_the_far_focus() -> None:
    """All light in the first order: refraction by least squares is where contrast is best."""
    lens_like = ImplantProfile("diffractive", (), ((0.0, 1.0), (1.0, 0.0)), 2.0)
    one, plain = judge(lens_like, 3.0), judge(None, 3.0)
    moved = (
        least_squares_refraction(one.view.green).m_dpt
        - least_squares_refraction(plain.view.green).m_dpt
    )
    assert isinstance(one, ProfiledJudge)
    assert moved == pytest.approx(-2.0 * one.seen.scale**2, abs=0.02)
    lens = least_squares_refraction(one.view.green)
    # Chromatic focus of the order and of the eye move the best sphere against that of 555 nm.
    assert one.sphere(lens) == pytest.approx(lens.m_dpt, abs=0.25)


def test_the_claimed_range_is_that_of_an_optic_without_a_profile() -> None:
    """A flat profile goes the other way through all draws: 64 against 256 of them."""
    x, y = place_at(EYE, (0.3, 0.1)).shift_mm
    here = replace(
        place_at(EYE, (0.3, 0.1), (4.0, 0.0)),
        shift_mm=(replace(x, sd=0.1), replace(y, sd=0.1)),
        tilt_deg=(Estimate(4.0, 2.0), Estimate(0.0, 2.0)),
    )
    sds = []
    for profile in (None, FLAT):
        (one,) = predict_sight(EYE, here, SightQuestion("E", (3.0,), profile=profile)).pupils
        kept = one.here.with_glasses
        sds.append([*(kept.mean[k].sd for k in (1, 2, 5)), kept.visual_strehl.sd])
    # 64 evenly spread draws of a skewed law: a quarter.
    assert sds[1] == pytest.approx(sds[0], rel=0.25)


def test_a_map_of_a_profile_is_what_each_of_its_places_gives() -> None:
    asked = Elsewhere(EYE, PowerVector(-0.7, 0.0, 0.0), 3.0, 15.0, Sampling(), TWO)
    found = sight_map(asked, place_at(EYE), "mm")
    at = [(3, 17), (10, 10), (15, 6)]
    places = [place_at(EYE, (found.steps[i], found.steps[j])) for j, i in at]
    direct = asked.contrasts(places, FOVEA)
    # Carried from 9 x 9 places: half a hundredth, less than the map's lines are apart.
    assert [found.contrast[j][i] for j, i in at] == pytest.approx(direct, abs=5e-3)


CASE = """code = "E-2"
side = "left"
corneal_surgery = "none"
[cornea]
radius_mm = 7.7
[lengths]
axial_mm = 23.6
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
[implant.profile]
kind = "diffractive"
period_waves = [[0.0, 0.5], [1.0, 0.0]]
add_dpt = 3.5
"""


def test_the_command_tells_both_foci(tmp_path: Path) -> None:
    case, out = tmp_path / "E-2.toml", tmp_path / "sight.json"
    case.write_text(CASE, encoding="utf-8")
    words = ["predict", str(case), "--decentration-mm", "0.3", "0", "--tilt-deg", "2", "0"]
    done = CliRunner().invoke(app, [*words, "--pupil-mm", "3", "--json", str(out)])
    assert done.exit_code == 0, done.stderr
    assert "far focus of the profile" in " ".join(done.stdout.split())
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    assert {"profile-in-numbers"} <= {one["code"] for one in entry["warnings"]}
    foci = {one["order"]: one for one in entry["foci"]}
    assert foci[0]["efficiency"] == pytest.approx(np.sinc(0.5) ** 2, abs=1e-3)
    assert foci[1]["efficiency"] == pytest.approx(np.sinc(0.5) ** 2, abs=1e-3)
    focus = entry["by_pupil"][0]["ideal"]["through_focus"]
    lens, kept = np.array(focus["lens_dpt"]), np.array(focus["contrast"])
    near = lens < -1.0
    assert abs(lens[~near][np.argmax(kept[~near])]) <= 0.25
    assert lens[near][np.argmax(kept[near])] == pytest.approx(foci[1]["lens_dpt"], abs=0.3)
    assert math.isclose(foci[0]["lens_dpt"], 0.0, abs_tol=1e-9)
