"""Pictures as seen: their optics, their scale, their direction, and what they leave out."""

import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.contrast import transfer_of_pupil
from rimwise.optics.point_spread import defocus_um, disc
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.predict.as_seen import ACROSS, ARCMIN_RAD, SeenEye, Window, pupils_of, seen_point
from rimwise.predict.bare_edge import edges_in_pupils
from rimwise.predict.chart import chart, lamps, optotype, seen_through
from rimwise.predict.criteria import contrast, view_of
from rimwise.predict.gratings import Sampling
from rimwise.predict.judge import judge_of
from rimwise.predict.looks import Looking, bare_edges, distance_glasses, seen_pictures
from rimwise.predict.on_optic import on_optic
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.profile import orders
from rimwise.predict.sight import line_of_sight, placed_waves
from rimwise.records.as_seen import EdgeInPupil, SeenPicture
from rimwise.records.implant_profile import ImplantProfile
from rimwise.report.seen_drawing import (
    NOT_FOR_PATIENTS,
    NOT_IN_IT,
    draw_seen,
    edge_sentence,
)
from rimwise.terms.errors import WrongInput

RECORD = eye_record(Known("right", "implant", axial_mm=23.6))
FOVEA: Vec3 = fovea_of(RECORD)
NONE = PowerVector(0.0, 0.0, 0.0)


def looking(
    shift_mm: tuple[float, float] = (0.0, 0.0),
    pupil_mm: float = 3.0,
    profile: ImplantProfile | None = None,
) -> SeenEye:
    return SeenEye(placed_model(RECORD, place_at(RECORD, shift_mm)), FOVEA, pupil_mm, profile)


def through_focus(eye: SeenEye, lens: PowerVector, added_dpt: np.ndarray) -> np.ndarray:
    judge = judge_of(eye.model, eye.fovea_mm, eye.pupil_mm, profile=eye.profile)
    return judge.focus(lens, added_dpt)


def edge_of(eye: SeenEye, pupil_mm: float, cover_mm: Sequence[float] | None = None) -> EdgeInPupil:
    (found,) = edges_in_pupils(eye.model, FOVEA, (pupil_mm,), 6.0, cover_mm)
    return found


def test_a_point_as_seen_has_the_contrast_of_the_same_eye_by_another_way() -> None:
    """The spread's own Fourier sums against the overlap of the pupil with itself."""
    eye, glasses = looking((0.5, -0.2), 3.0), distance_glasses(RECORD)
    point = seen_point(eye, glasses, Window(401, 0.2))
    view = view_of(eye.model, FOVEA, 3.0, Sampling(colours=12))
    frequencies = (5.0, 15.0, 30.0)
    other = contrast(view.behind(glasses), 3.0, Sampling(colours=12), 0.0, frequencies)
    place_deg = (np.arange(401) - 200) * 0.2 / 60.0
    # The light of an image counts cells of the pupil's rim by their share squared.
    rim = float(np.sum(disc(ACROSS) ** 2) / np.sum(disc(ACROSS)))
    for k, cpd in enumerate(frequencies):
        wave = np.exp(2j * np.pi * cpd * place_deg)
        along = rim * abs(np.sum(point.light * wave[None, :]))
        across = rim * abs(np.sum(point.light * wave[:, None]))
        # Steps of 0.2' resolve all detail of this pupil; a thousandth falls outside the window.
        assert along == pytest.approx(other.tangential[k, 0], abs=1e-3)
        assert across == pytest.approx(other.sagittal[k, 0], abs=1e-3)


@pytest.mark.parametrize("pupil_mm", [2.0, 5.0])
def test_hardly_any_light_is_lost_or_made(pupil_mm: float) -> None:
    share = seen_point(looking(pupil_mm=pupil_mm), distance_glasses(RECORD), Window(241, 0.5)).share
    # A sharp pupil throws λ / (5 D · reach) of its light beyond a window: 1e-3 at 2 mm.
    assert 0.997 < share <= 1.0 + 1e-6


def test_a_picture_points_where_traced_rays_say() -> None:
    """Coma and tilt of a decentred optic move the middle of the light as its rays do."""
    eye = looking((0.6, 0.4), 3.0)
    point = seen_point(eye, NONE, Window(481, 0.25))
    place = (np.arange(481) - 240) * 0.25
    right = float(np.sum(point.light * place[None, :]) / point.share)
    up = float(np.sum(point.light * -place[:, None]) / point.share)
    (whole,) = placed_waves(eye.model, FOVEA, 3.0)
    # The eye fixates: the mean tilt of 555 nm is taken off, what coma adds to it stays.
    wave = replace(whole, coefficients_um=whole.coefficients_um * (np.arange(45) > 2))
    r = 1.5 * np.sqrt((np.arange(40) + 0.5) / 40)
    turn = 2 * np.pi * np.arange(80) / 80
    x, y = np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn))
    h = 1e-4
    ways = [
        -np.mean(wave.at_um(x + h, y) - wave.at_um(x - h, y)) / (2e3 * h) / ARCMIN_RAD,
        -np.mean(wave.at_um(x, y + h) - wave.at_um(x, y - h)) / (2e3 * h) / ARCMIN_RAD,
    ]
    assert abs(ways[0]) > 0.2  # there is something to see
    # Right as the light goes, up the other way; colours and the window shift it a little.
    assert right == pytest.approx(ways[0], abs=0.15)
    assert up == pytest.approx(-ways[1], abs=0.15)


def test_rings_are_those_of_the_standard() -> None:
    """ISO 8596: five units across, stroke and gap of one unit."""
    ring = optotype(0.0, 40.0, 202)
    y = np.linspace(-0.5, 0.5, 20001)
    gap = np.mean(np.sqrt(6.25 - y**2) - np.sqrt(2.25 - y**2))
    area = np.pi * (2.5**2 - 1.5**2) - gap
    assert ring.sum() / 40.0**2 == pytest.approx(area, rel=2e-3)  # steps of a quarter place
    middle = ring[101]
    assert np.flatnonzero(middle)[[0, -1]] == pytest.approx([1, 40], abs=1)  # open on the right
    assert np.count_nonzero(ring[:, 101] > 0.5) == pytest.approx(80, abs=2)  # two strokes


@pytest.mark.parametrize("logmar", [0.0, 0.3, 0.5])
def test_a_chart_is_true_to_its_angles(logmar: float) -> None:
    page = chart(0.25, (logmar,))
    rows = np.flatnonzero((page < 0.5).any(axis=1))
    assert (rows[-1] - rows[0] + 1) * 0.25 == pytest.approx(5.0 * 10.0**logmar, abs=0.5)


def test_wrong_scenes_are_refused() -> None:
    with pytest.raises(WrongInput, match="logMAR"):
        chart(0.25, (2.0,))
    with pytest.raises(WrongInput, match="letter"):
        optotype("Q", 4.0, 30)
    with pytest.raises(WrongInput, match="odd"):
        Window(300, 0.25)
    with pytest.raises(WrongInput, match="360"):
        edges_in_pupils(looking().model, FOVEA, (3.0,), 6.0, (0.1,) * 100)
    with pytest.raises(WrongInput, match="without an implant"):
        bare_edges(eye_record(Known("right")), place_at(RECORD), (3.0,))


def test_a_scene_is_spread_as_each_of_its_points() -> None:
    point = seen_point(looking((0.4, 0.0), 3.0), NONE, Window(121, 0.5))
    seen = seen_through(lamps((151, 201), 0.5, ((10.0, 5.0, 2.0),)), point, 0.0)
    row, column = 75 - 10, 100 + 20
    part = seen[row - 60 : row + 61, column - 60 : column + 61]
    assert part == pytest.approx(2.0 * point.light, abs=1e-9)
    paper = seen_through(np.ones((40, 50)), point, 1.0)
    assert paper == pytest.approx(np.full((40, 50), point.share), abs=1e-9)


def test_a_shifted_optic_bares_its_edge_on_the_other_side() -> None:
    still = edge_of(looking(), 5.0)
    moved = edge_of(looking((0.5, 0.0)), 5.0)
    # The beam hardly changes where the optic moves across it.
    assert moved.beam_mm - still.beam_mm == pytest.approx(0.5, abs=0.25)
    wide = edge_of(looking((0.5, 0.0)), 6.5)
    (arc,) = wide.arcs_deg
    assert arc[0] < 180.0 < arc[1]
    assert wide.bare_arcs_deg is None
    assert wide.from_pupil_mm is not None
    assert still.from_pupil_mm is not None
    assert wide.from_pupil_mm < still.from_pupil_mm
    just = [edge_of(looking((0.5, 0.0)), wide.from_pupil_mm + d).arcs_deg for d in (-0.05, 0.05)]
    assert not just[0]
    assert just[1]


def test_the_entrance_pupil_is_larger_than_the_beam_at_the_optic() -> None:
    """The cornea magnifies the pupil by about 1.13 and bends its light on towards the fovea."""
    eye = looking()
    there = on_optic(eye.model, FOVEA, 4.0, line_of_sight(eye.model, FOVEA))
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    at = there.at(np.cos(turn), np.sin(turn))
    beam = np.hypot(*(at - at.mean(axis=0)).T)
    assert 4.0 / (2.0 * beam.mean()) == pytest.approx(1.2, abs=0.06)


def test_cover_decides_which_edge_is_bare() -> None:
    cover = [-0.1 if 170 <= i <= 190 else 0.3 for i in range(360)]
    found = edge_of(looking((0.5, 0.0)), 6.5, cover)
    assert found.bare_arcs_deg == ((170.0, 190.0),)
    covered = edge_of(looking((0.5, 0.0)), 6.5, [0.3] * 360)
    assert covered.bare_arcs_deg == ()
    assert covered.document()["light_beside_optic"] is True


def test_two_foci_lie_an_add_apart_behind_the_eye() -> None:
    """The add of 3.0 dpt in aqueous, carried to the entrance pupil by the eye's own beam.

    A thin power F at the implant acts on a beam of radius h there and H at the pupil as F (h/H)².
    """
    profile = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    eye = looking(pupil_mm=3.0, profile=profile)
    glasses = distance_glasses(RECORD, profile)
    there = on_optic(eye.model, FOVEA, 3.0, line_of_sight(eye.model, FOVEA))
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    at = there.at(np.cos(turn), np.sin(turn))
    ratio = float(np.hypot(*(at - at.mean(axis=0)).T).mean()) / 1.5
    added = np.arange(-3.2, 0.61, 0.1)
    kept = through_focus(eye, glasses, added)
    # The same by transforms of the whole pupil behind each lens; sideways colours left out there.
    pupils, view = pupils_of(eye, glasses, 256, 6)
    for k in (6, 32):
        behind = [one.with_added(-float(added[k]) * defocus_um(one, 1.0)) for one in pupils]
        modulation = [float(transfer_of_pupil(one).mean_at(10.0)) for one in behind]
        assert kept[k] == pytest.approx(np.dot(view.sampling.light.weights, modulation), abs=0.01)
    near, far = added[:25][np.argmax(kept[:25])], added[25:][np.argmax(kept[25:])]
    # Chromatic focus differs between the orders; a tenth is the step.
    assert far - near == pytest.approx(3.0 * ratio**2, abs=0.25)
    first = next(one for one in orders(profile) if one.number == 1)
    assert first.efficiency == pytest.approx(np.sinc(0.5) ** 2, abs=1e-3)


def test_a_smooth_profile_that_is_a_lens_acts_as_that_lens() -> None:
    """A path of -F r² / 2 is a thin lens of F dioptres: 1 dpt moves the best sphere by 1 (h/H)²."""
    r = np.linspace(0.0, 3.0, 61)
    bump = tuple(zip(r.tolist(), (-0.5 * 1.0 * r**2).tolist(), strict=True))
    profile = ImplantProfile("smooth", bump)
    eye, plain = looking(pupil_mm=3.0, profile=profile), looking(pupil_mm=3.0)
    glasses = distance_glasses(RECORD)
    there = on_optic(eye.model, FOVEA, 3.0, line_of_sight(eye.model, FOVEA))
    rim = there.at(np.array([1.0, -1.0]), np.zeros(2))
    ratio = float(np.hypot(*(rim[0] - rim[1]))) / 3.0
    added = np.arange(-1.6, 0.81, 0.1)
    tops = [added[np.argmax(through_focus(one, glasses, added))] for one in (eye, plain)]
    assert tops[1] - tops[0] == pytest.approx(ratio**2, abs=0.15)  # the step, and the spline's end


@pytest.fixture(scope="module")
def pictures() -> tuple[SeenPicture, ...]:
    here = place_at(RECORD, (0.5, 0.0))
    return seen_pictures(RECORD, here, Looking(None, (("mesopic", 6.0),), (0.3,) * 360))


def test_pictures_carry_scale_assumptions_and_warnings(pictures: tuple[SeenPicture, ...]) -> None:
    assert [one.scene for one in pictures] == ["chart", "lamps"]
    for one in pictures:
        png = draw_seen(one)
        picture = Image.open(io.BytesIO(png))
        times = 1 if one.scene == "chart" else 2
        assert picture.width > 2 * times * one.here.shape[1]
        assert png == draw_seen(one)  # the same bytes every time
        assert edge_sentence(one).startswith("NOT MODELLED")
    assert "adaptation" in NOT_IN_IT
    assert "before surgery" in NOT_FOR_PATIENTS


def test_an_edge_out_of_the_way_is_told_with_its_pupil() -> None:
    page = np.ones((4, 4))
    edge = EdgeInPupil(3.0, 6.0, 2.0, (), None, 5.4)
    seen = SeenPicture("chart", "photopic", 3.0, page, page, page, 0.25, 1.0, 1.0, edge)
    assert (
        edge_sentence(seen)
        == "All light of this pupil passes the optic; the edge is met from 5.4 mm on."
    )


SHEET = """code = "E-1"
side = "right"
corneal_surgery = "none"
[lengths]
axial_mm = 23.6
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
"""


def run_predict(tmp_path: Path, *flags: str) -> tuple[str, dict[str, Any]]:
    case, out = tmp_path / "E-1.toml", tmp_path / "s.json"
    case.write_text(SHEET, encoding="utf-8")
    asked = ["predict", str(case), "--decentration-mm", "-0.5", "0", "--tilt-deg", "0", "0"]
    done = CliRunner().invoke(app, [*asked, *flags, "--json", str(out)])
    assert done.exit_code == 0, done.output
    (entry,) = json.loads(out.read_text(encoding="utf-8"))["results"]
    return done.output, entry


def test_the_command_tells_for_which_pupil_the_edge_is_met(tmp_path: Path) -> None:
    # Nasal is +x in a right eye: the optic stands towards -x and its other side is met.
    output, entry = run_predict(tmp_path, "--pupil-mm", "3", "--pupil-mm", "6")
    small, large = entry["bare_edge_in_pupil"]
    assert (small["light_beside_optic"], large["light_beside_optic"]) == (False, True)
    ((start, end),) = large["edge_arcs_deg"]
    assert start > 270.0
    assert end < 90.0
    assert large["bare_arcs_deg"] is None
    assert [one["code"] for one in entry["warnings"]] == [
        "corneal-radius-assumed",
        "placement-without-sd",
        "beside-optic",
    ]
    assert "not modelled" in " ".join(output.split())


@pytest.mark.slow
def test_the_command_draws_chart_and_lamps(tmp_path: Path) -> None:
    run_predict(tmp_path, "--pupil-mm", "3", "--pictures", str(tmp_path / "out"))
    assert sorted(one.name for one in (tmp_path / "out").iterdir()) == [
        "E-1-chart-mesopic.png",
        "E-1-chart-photopic.png",
        "E-1-lamps-mesopic.png",
        "E-1-lamps-photopic.png",
    ]


PROFILE = """[implant.profile]
kind = "diffractive"
add_dpt = 3.0
period_waves = [[0.0, 0.5], [1.0, 0.0]]
"""


def test_the_pictures_are_drawn_with_the_profile(tmp_path: Path, monkeypatch: Any) -> None:
    case = tmp_path / "E-1.toml"
    case.write_text(SHEET + PROFILE, encoding="utf-8")
    asked = []

    def seen(_record: Any, _place: Any, looking: Any) -> tuple[SeenPicture, ...]:
        asked.append(looking.profile)
        return ()

    monkeypatch.setattr("rimwise.predict.looks.seen_pictures", seen)
    words = ["predict", str(case), "--decentration-mm", "0", "0", "--pictures", str(tmp_path / "p")]
    done = CliRunner().invoke(app, [*words, "--pupil-mm", "2", "--tilt-deg", "0", "0"])
    assert done.exit_code == 0
    assert [one.add_dpt for one in asked] == [3.0]


def test_a_pupil_with_light_beside_the_optic_says_so(tmp_path: Path) -> None:
    """An optic of 6 mm, 0.5 mm off: pupils of 2 mm pass it, those of 6 mm do not."""
    case, out = tmp_path / "E-1.toml", tmp_path / "s.json"
    case.write_text(SHEET, encoding="utf-8")
    words = ["predict", str(case), "--decentration-mm", "0.5", "0", "--tilt-deg", "0", "0"]
    words += ["--pupil-mm", "2", "--pupil-mm", "6", "--json", str(out)]
    assert CliRunner().invoke(app, words).exit_code == 0
    small, large = json.loads(out.read_text(encoding="utf-8"))["results"][0]["by_pupil"]
    assert small["reasons"] == []
    assert [one["code"] for one in large["reasons"]] == ["beside-optic"]
    assert "not modelled" in large["reasons"][0]["sentence"]
