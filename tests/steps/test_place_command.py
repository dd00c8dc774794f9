"""``rimwise place`` from the outside: results in, places, drawings and exit codes out."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.exchange.results import cover_document, document_of
from rimwise.journey import placement_of
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpticFinding,
    VectorEstimate,
)
from rimwise.report.place_drawing import draw_placement, placement_description
from rimwise.report.place_words import place_table
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.estimate import Estimate

CASE = (
    'code = "E-1"\nside = "left"\ncorneal_surgery = "none"\nage_years = 70\n'
    "[implant]\noptic_diameter_mm = 6.0\n"
    "[centres]\nlens_mm = [0.1, 0.0]\nvisual_axis_mm = [-0.2, 0.0]\nsd_mm = 0.05\n"
)


def found(x: float = 0.3, radius: float = 2.5, unseen: int = 0) -> CoverFinding:
    """A left eye at surgery, its round opening (x, 0) from the optic's centre."""
    theta = np.radians(np.arange(360.0))
    cover = 3.0 - x * np.cos(theta) - np.sqrt(radius**2 - (x * np.sin(theta)) ** 2)
    width = tuple(None if k < unseen else float(w) for k, w in enumerate(cover))
    sd = tuple(None if w is None else 0.03 for w in width)
    least = min(w for w in width if w is not None)
    part = Estimate(0.0, 0.05)
    return CoverFinding(
        "eye.jpg",
        "0" * 64,
        "left",
        "implant",
        "measured",
        optic=OpticFinding(EllipsePx(200.0, 150.0, 180.0, 180.0, 0.0), 6.0, 360),
        decentration={"optic-from-limbus": VectorEstimate(part, part, part, part)},
        cover=CoverProfile(
            width, sd, sd, LeastCover(least, 0.03, 0.0, 3.0), None, None, None, None,
            360 - unseen, None, None, {"min_mm": Estimate(least, 0.02)},
        ),
    )  # fmt: skip


def written(path, *findings):
    path.write_text(json.dumps(document_of([cover_document(one) for one in findings])))
    return path


def rimwise(*words) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, [str(word) for word in words])
    return result.exit_code, result.stdout, result.stderr


def test_results_in_places_and_a_drawing_out(tmp_path):
    cover = written(tmp_path / "cover.json", found())
    case = tmp_path / "case.toml"
    case.write_text(CASE)
    out = tmp_path / "place.json"
    code, text, _ = rimwise(
        "place", cover, "--case", case, "--json", out, "--drawing", tmp_path / "pages"
    )
    assert code == 0
    (entry,) = json.loads(out.read_text())["results"]
    assert entry["schema"] == "rimwise.place/1"
    best = entry["today"]["best"]["centre"]
    # A left eye: +x is temporal.
    assert (best["x_mm"], best["nasal_mm"]) == pytest.approx((0.3, -0.3), abs=1e-5)
    assert entry["trade_off"]["curve"][0]["from_visual_axis_mm"] == 0.0
    assert entry["rest"]["mean"]["x_mm"] == pytest.approx(0.1)
    assert "temporal" in text
    assert CAUTIONS[0] in " ".join(text.split())
    assert (tmp_path / "pages" / "eye-place.svg").read_bytes().startswith(b"<?xml")


def test_json_alone_goes_to_standard_output(tmp_path):
    code, text, _ = rimwise("place", written(tmp_path / "c.json", found()), "--json", "-")
    assert code == 0
    assert json.loads(text)["results"][0]["rest"] is None


def test_a_picture_that_cannot_answer_gives_3_and_a_sentence(tmp_path):
    blind = CoverFinding("dark.jpg", "0" * 64, "left", "visit", "refused")
    code, _, said = rimwise("place", written(tmp_path / "c.json", blind, found()))
    assert code == 3
    assert said.startswith("rimwise: dark.jpg is refused: ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "cannot be read"),
        ("{", "no JSON"),
        ('{"results": []}', "no results"),
        ("[]", "no results"),
        ('{"results": [{"schema": "rimwise.plan/1"}]}', "no rimwise.cover/1"),
    ],
)
def test_what_is_no_cover_gives_2_and_a_sentence(tmp_path, text, words):
    path = tmp_path / "c.json"
    if text is not None:
        path.write_text(text)
    code, _, said = rimwise("place", path)
    assert code == 2
    assert words in said
    assert said.count("\n") == 1


def test_a_case_sheet_with_several_pictures_asks_whether_they_are_one_eye(tmp_path):
    cover = written(tmp_path / "c.json", found(), found(0.1))
    case = tmp_path / "case.toml"
    case.write_text(CASE)
    code, _, said = rimwise("place", cover, "--case", case)
    assert code == 2
    assert "--same-eye" in said


def test_two_pictures_of_one_eye_are_evidence_about_turning(tmp_path):
    before = replace(found(0.0), haptic_axis_deg=Estimate(30.0, 2.0))
    now = replace(found(0.3), haptic_axis_deg=Estimate(90.0, 2.0))
    out = tmp_path / "p.json"
    code, _, _ = rimwise(
        "place", written(tmp_path / "c.json", before, now), "--same-eye", "--json", out
    )
    (entry,) = json.loads(out.read_text())["results"]
    assert code == 0
    assert entry["turning"]["code"] == "gain"
    assert entry["turning"]["best_turn_deg"] == pytest.approx(-60.0)
    gain = entry["turning"]["by_angle"][0]["gain_mm"]
    assert (gain["value"], gain["sd"]) == pytest.approx((0.3, math.hypot(0.02, 0.02)), abs=1e-5)


def test_the_results_are_not_written_over(tmp_path):
    cover = written(tmp_path / "c.json", found())
    code, _, _ = rimwise("place", cover, "--json", cover)
    assert code == 2


@pytest.mark.parametrize("unseen", [0, 40])
@pytest.mark.parametrize("radius", [2.5, 2.95])
def test_the_drawing_is_the_same_bytes_every_time_and_says_what_it_shows(unseen, radius):
    placement = placement_of(found(0.1, radius, unseen))
    first = draw_placement(placement)
    assert first == draw_placement(placement)
    text = first.decode()
    assert placement_description(placement) in text
    assert CAUTIONS[0] in text
    assert ("not seen" in text) == (unseen > 0)
    assert draw_placement(placement, "png").startswith(b"\x89PNG")


def test_a_refused_placement_is_not_drawn_but_told():
    blind = placement_of(CoverFinding("dark.jpg", "0" * 64, "left", "visit", "refused"))
    with pytest.raises(ValueError, match="nothing to draw"):
        draw_placement(blind)
    assert place_table(blind)[0][1] == "refused"


def test_what_was_seen_in_part_is_told_as_at_most():
    rows = place_table(placement_of(found(unseen=40)))
    assert rows[0][1].startswith("at most ")
    whole = place_table(placement_of(found()))
    assert not any("at most" in value for _, value, _ in whole)


def test_today_and_rest_are_rows_of_their_own():
    labels = [label for label, _, _ in place_table(placement_of(found()))]
    assert any(label.startswith("Today it can be put") for label in labels)
    assert any(label.startswith("It will rest") for label in labels)
