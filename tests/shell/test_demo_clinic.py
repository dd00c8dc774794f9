"""The invented clinic: everything is written, said to be invented, repeatable, and made once."""

import json
import math

import numpy as np
import pytest

from rimwise import journey
from rimwise.demo import clinic, shelf
from rimwise.demo.clinic import run_demo
from rimwise.demo.eyes import EYES, INTENDED_MM, Hand, draw_series, next_case
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.exchange.sheets import case_sheet_for, picture_sheet_for
from rimwise.journey import OpeningMade, finding_of, opening_made, plan_of, spread_of
from rimwise.picture.raster import Raster
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.terms.estimate import Estimate

DAY = ("easy", "medium", "hard")


def stand_in(raster, sheet, *, picture, sha256):
    """A measurement of a round opening 5.2 mm wide, 0.1 mm to +x; it refuses one picture."""
    if "E-003" in picture:
        raise MeasurementRefused("rim-hidden", "The rim was seen over 20°; dilate the pupil.")
    angle = np.radians(np.arange(360.0))
    radius = 0.1 * np.cos(angle) + np.sqrt(2.6**2 - (0.1 * np.sin(angle)) ** 2)
    width = tuple((3.0 - radius).tolist())
    sd = (0.02,) * 360
    offset, none = Estimate(0.1, 0.02), Estimate(0.0, 0.02)
    nasal = Estimate(0.1 if sheet.side == "right" else -0.1, 0.02)
    return CoverFinding(
        picture, sha256, sheet.side, sheet.state, "measured",
        scale=ScaleFinding(Estimate(108.0, 0.2), "optic", "optic"),
        optic=OpticFinding(EllipsePx(700.0, 525.0, 324.0, 324.0, 0.0), 6.0, 360),
        opening=OpeningFinding(
            tuple((700.0 + 108.0 * float(r * math.cos(a)), 525.0 - 108.0 * float(r * math.sin(a)))
                  for r, a in zip(radius, angle, strict=True)),
            None, 360, True, Estimate(5.2, 0.02),
        ),
        decentration={"opening-from-optic": VectorEstimate(offset, none, nasal, none)},
        cover=CoverProfile(width, sd, sd, LeastCover(0.3, 0.02, 0.0, 3.0), Estimate(0.4, 0.02),
                           Estimate(99.0, 0.1), (), Estimate(0.0, 0.0), 360, True, 1.0),
    )  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    out = tmp_path_factory.mktemp("demo")
    told = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clinic, "DAY", DAY)
        patch.setattr(clinic, "HEAD_END", 1)
        lines = run_demo(out, lambda *news: told.append(news), stand_in)
    return out, lines, told


def test_everything_is_written(demo):
    out, lines, _ = demo
    for name in ("report.html", "report.pdf", "results.json", "invented_eyes.csv"):
        assert (out / name).stat().st_size > 1000
    assert len(list((out / "pictures").glob("*.jpg"))) == len(DAY) + 3
    assert len(list((out / "drawings").glob("*.cover.png"))) == len(DAY) + 3
    assert len(list((out / "drawings").glob("*.plan.svg"))) == 1
    text = "\n".join(lines)
    for name in ("report.html", "report.pdf", "results.json", "pictures"):
        assert str(out / name) in text


def test_the_three_numbers_close_the_talk(demo):
    _, lines, _ = demo
    least, diameter, plan = lines[-3:]
    assert "0.30 ± 0.02 mm" in least
    assert "3 o'clock" in least
    assert "5.20 ± 0.02 mm" in diameter
    assert plan.startswith("Complete cover of the next eye")
    assert "%" in plan


def test_every_output_says_that_it_is_invented(demo):
    out, lines, _ = demo
    assert "invented" in lines[0]
    assert "invented" in (out / "report.html").read_text(encoding="utf-8")
    assert "no eye or person" in (out / "invented_eyes.csv").read_text(encoding="utf-8")
    for path in [*(out / "pictures").iterdir(), *(out / "drawings").iterdir()]:
        assert path.name.startswith("invented_") or path.name == "recipes.json"
    for path in (out / "pictures").glob("*E-*.jpg"):
        assert b"invented" in path.read_bytes()[:300]
    for path in (*(out / "pictures").glob("*.toml"), *(out / "cases").glob("*.toml")):
        assert path.read_text(encoding="utf-8").startswith("# invented eye")


def test_the_results_are_the_records_again(demo):
    out, _, _ = demo
    document = json.loads((out / "results.json").read_text(encoding="utf-8"))
    covers = [r for r in document["results"] if r["schema"] == "rimwise.cover/1"]
    assert len(covers) == len(DAY) + 3
    assert [r["schema"] for r in document["results"][len(covers) :]] == ["rimwise.plan/1"]
    statuses = [cover_finding_from_document(entry).status for entry in covers]
    assert statuses == ["measured", "measured", "refused", "measured", "measured", "measured"]


def test_the_sheets_that_were_written_can_be_read(demo):
    out, _, _ = demo
    sheet = picture_sheet_for(out / "pictures" / "invented_E-002.jpg")
    assert sheet.superior_deg == 270.0
    assert sheet.optic_diameter_sd_mm == 0.05
    assert picture_sheet_for(out / "pictures" / "invented_traced_easy_001.jpg").side == "left"
    written = case_sheet_for(out / "cases" / "invented_E-041.toml")
    assert written.lengths == next_case().lengths
    document = json.loads((out / "results.json").read_text(encoding="utf-8"))
    again = plan_of(written, None)
    # The sheet holds the spread to 0.1 µm.
    assert again.diameter_mm == pytest.approx(
        document["results"][-1]["opening"]["diameter_mm"], abs=1e-3
    )


def test_progress_counts_to_the_end(demo):
    _, _, told = demo
    assert told[-1][0] == told[-1][1] == 2 * (len(DAY) + 3)
    assert [news[0] for news in told] == sorted(news[0] for news in told)


def test_a_second_run_renders_and_draws_nothing(demo, monkeypatch):
    out, lines, _ = demo

    def never(*_):
        raise AssertionError("made again")

    monkeypatch.setattr(clinic, "DAY", DAY)
    monkeypatch.setattr(clinic, "HEAD_END", 1)
    monkeypatch.setattr(shelf, "render_photo", never)
    monkeypatch.setattr(clinic, "draw_cover", never)
    assert run_demo(out, None, stand_in) == lines


def test_a_damaged_picture_is_rendered_again(demo, monkeypatch):
    out, lines, _ = demo
    damaged = out / "pictures" / "invented_E-001.jpg"
    before = damaged.read_bytes()
    damaged.write_bytes(b"half a pict")
    (out / "pictures" / "invented_E-003.truth.json").unlink()
    monkeypatch.setattr(clinic, "DAY", DAY)
    monkeypatch.setattr(clinic, "HEAD_END", 1)
    assert run_demo(out, None, stand_in) == lines
    assert damaged.read_bytes() == before


def test_a_day_on_which_nothing_could_be_measured(tmp_path, monkeypatch):
    def blind(raster, sheet, *, picture, sha256):
        raise MeasurementRefused("dark", "The picture is black; light the pupil.")

    monkeypatch.setattr(clinic, "DAY", DAY[:1])
    lines = run_demo(tmp_path, None, blind)
    assert lines[-3].startswith("Least cover today: not measured")
    assert (tmp_path / "report.pdf").is_file()


def test_the_clinic_is_large_and_plausible():
    series = draw_series(np.random.default_rng(3))
    assert len(series) >= 40 == EYES
    assert len({eye.code for eye in series}) == len(series)
    assert len({eye.person for eye in series}) < len(series)
    for eye in series:
        assert 21.0 <= eye.axial_mm <= 27.5
        assert 5.0 <= eye.power_dpt <= 32.0
        assert 4.4 <= 2.0 * eye.body.opening.radius_mm <= 5.9


def test_the_spread_of_the_series_is_the_hand_that_drew_it():
    # 2000 openings: standard errors of mean 0.003 mm and sd 0.002 mm; five of them allowed.
    hand = Hand()
    made = []
    for seed in range(50):
        made += [eye.made for eye in draw_series(np.random.default_rng([7, seed]), hand)]
    spread = spread_of(made)
    for axis in (0, 1):
        bias = spread.opening_from_target_bias_mm[axis]
        assert bias == pytest.approx(hand.bias_mm[axis], abs=0.016)
        both = math.hypot(hand.sd_mm[axis], hand.optic_from_rest_sd_mm)
        assert spread.opening_from_target_sd_mm[axis] == pytest.approx(both, abs=0.011)
    assert spread.diameter_bias_mm == pytest.approx(hand.diameter_bias_mm, abs=0.013)
    assert spread.diameter_sd_mm == pytest.approx(hand.diameter_sd_mm, abs=0.01)


def test_too_few_openings_make_no_spread():
    with pytest.raises(WrongInput, match="at least 5"):
        spread_of([OpeningMade(0.0, 0.0, 0.0)] * 4)


def test_a_refused_picture_tells_nothing_of_the_hand():
    raster = Raster(np.zeros((4, 4), dtype=np.uint8))
    refused = finding_of(raster, PictureSheet("left"), "invented_E-003.jpg", "0" * 64, stand_in)
    assert refused.status == "refused"
    assert refused.reasons[0].code == "rim-hidden"
    assert opening_made(refused, INTENDED_MM) is None
    told = finding_of(raster, PictureSheet("left"), "invented_E-001.jpg", "0" * 64, stand_in)
    made = opening_made(told, INTENDED_MM)
    assert (made.nasal_mm, made.superior_mm) == (-0.1, 0.0)
    assert made.diameter_error_mm == pytest.approx(0.1)


def test_findings_are_kept_while_program_picture_and_sheet_are_the_same(tmp_path, monkeypatch):
    calls = []

    def counting(raster, sheet, *, picture, sha256):
        calls.append(picture)
        return stand_in(raster, sheet, picture=picture, sha256=sha256)

    monkeypatch.setattr(clinic, "DAY", DAY[:1])
    monkeypatch.setattr(journey, "_measure_step", lambda: counting)
    lines = run_demo(tmp_path)
    assert len(calls) == 4
    assert run_demo(tmp_path) == lines
    assert len(calls) == 4
    sheet = tmp_path / "pictures" / "invented_traced_easy_001.toml"
    sheet.write_bytes(sheet.read_bytes() + b"\n")
    (tmp_path / "findings" / "invented_E-001.json").write_text("{}")
    assert run_demo(tmp_path) == lines
    assert calls[4:] == ["invented_E-001.jpg"]
