"""A reader's file of points: read, checked, used, kept in the document, used again from it."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from rimwise.casebook.measuring import Request, measure_pictures
from rimwise.exchange.points import read_corrections
from rimwise.exchange.results import cover_document
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.measure.correct import correct
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import UnknownKey, WrongInput

SHEET = 'side = "left"\noptic_diameter_mm = 6.0\n'


def ring(radius: float, count: int) -> list[list[float]]:
    turn = np.radians(np.arange(count) * 360.0 / count)
    return np.column_stack([200 + radius * np.cos(turn), 150 - radius * np.sin(turn)]).tolist()


def test_a_picture_that_is_refused_is_measured_by_hand(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    path, out = photograph("eye.png", sheet=SHEET), tmp_path / "out.json"
    assert measure_pictures(Request([path], {})).exit_code == 3  # noise alone
    points = tmp_path / "eye.points.json"
    told = {"optic_px": ring(120.0, 12), "opening_px": ring(100.0, 12), "who": "R-2"}
    points.write_text(json.dumps(told), encoding="utf-8")
    outcome = measure_pictures(Request([path], {}, json_out=out, points=points))
    assert outcome.exit_code == 0
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    # 100 px of 120 px, with the optic of 6 mm: 5 mm.
    assert entry["opening"]["equivalent_diameter_mm"]["value"] == pytest.approx(5.0, abs=0.02)
    assert entry["correction"]["told"]["who"] == "R-2"
    assert entry["correction"]["told"]["when"].endswith("UTC")
    assert entry["correction"]["found"]["rim"] is None
    assert entry["curves"]["rim"] is not None
    assert entry["reasons"][0]["code"] == "corrected-by-hand"


def test_a_document_is_corrected_again_without_the_picture(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    path, points = photograph("eye.png", sheet=SHEET), tmp_path / "p.toml"
    points.write_text(
        f"optic_px = {ring(120.0, 12)}\nopening_px = {ring(100.0, 12)}\nwhen = 2026-03-02\n",
        encoding="utf-8",
    )
    finding = measure_pictures(Request([path], {}, points=points)).pictures[0].finding
    assert finding is not None
    read = cover_finding_from_document(json.loads(json.dumps(cover_document(finding))))
    assert read.correction is not None
    assert read.correction.told.when == "2026-03-02"
    sheet = PictureSheet(side="left", optic_diameter_mm=6.0)
    again = correct(read, sheet, read.correction.told)
    assert again.cover is not None
    assert finding.cover is not None
    # Curves are kept to a ten-thousandth of a pixel.
    assert again.cover.width_mm == pytest.approx(finding.cover.width_mm, abs=1e-4)


def test_a_finding_with_curves_is_read_back_as_it_was_written(finding: CoverFinding) -> None:
    read = cover_finding_from_document(cover_document(finding))
    assert read.curves == finding.curves
    assert read.correction == finding.correction


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("optic = [[1, 2]]", "optic_px"),
        ("opening_px = [[1]]", "opening_px"),
        ("opening_px = [[1, nan]]", "opening_px"),
        ("sd_px = 0.0\nswap = true", "sd_px"),
        ('who = "R-2"', "corrects nothing"),
        ("swap = ", "not TOML"),
    ],
)
def test_a_wrong_file_of_points_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises((WrongInput, UnknownKey), match=words):
        read_corrections(path)


def test_json_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "p.json"
    for text, words in (("{", "cannot be read as JSON"), ("[]", "no table of keys")):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(WrongInput, match=words):
            read_corrections(path)


def test_points_are_for_one_picture(tmp_path: Path, photograph: Callable[..., Path]) -> None:
    paths = [photograph("a.png"), photograph("b.png")]
    with pytest.raises(WrongInput, match="one picture"):
        measure_pictures(Request(paths, {}, points=tmp_path / "p.toml"))


def test_an_empty_set_is_empty() -> None:
    assert Corrections(who="R-2", sd_px=1.0).is_empty


def test_a_theatre_frame_before_the_implant_is_outlined(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    sheet = 'side = "left"\nkind = "frame"\nstate = "natural"\npx_per_mm = 40.0\n'
    path, points = photograph("frame.png", sheet=sheet), tmp_path / "p.json"
    points.write_text(json.dumps({"opening_px": ring(110.0, 12)}), encoding="utf-8")
    assert measure_pictures(Request([path], {})).exit_code == 2
    one = measure_pictures(Request([path], {}, points=points)).pictures[0]
    assert one.finding is not None
    assert one.finding.status == "partial"
    size = one.finding.opening.equivalent_diameter_mm
    # 5.5 mm as seen, and a usual cornea enlarges by 1.08 to 1.12.
    assert 4.8 < size.value < 5.2
    assert cover_finding_from_document(one.document()).opening.equivalent_diameter_mm is not None


@pytest.mark.parametrize(("scale", "named"), [(40.5, False), (44.0, True)])
def test_rulers_of_a_theatre_frame_that_contradict_each_other_are_named(
    tmp_path: Path, photograph: Callable[..., Path], scale: float, named: bool
) -> None:
    """The ruler's 40 px per mm is taken; 0.7 % is one sd of each, so that 1.2 % says nothing."""
    sheet = (
        f'side = "left"\nkind = "frame"\nstate = "natural"\npx_per_mm = {scale}\n'
        'ruler = { px = 400.0, mm = 10.0, plane = "limbus" }\n'
    )
    path, points = photograph("frame.png", sheet=sheet), tmp_path / "p.json"
    points.write_text(json.dumps({"opening_px": ring(110.0, 12)}), encoding="utf-8")
    one = measure_pictures(Request([path], {}, points=points)).pictures[0]
    assert one.finding is not None
    codes = [reason.code for reason in one.finding.reasons]
    assert ("rulers-disagree" in codes) == named


def test_a_point_outside_of_the_picture_is_refused(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    points = tmp_path / "p.json"
    points.write_text(json.dumps({"opening_px": [[-500.0, 99999.0]]}), encoding="utf-8")
    one = measure_pictures(Request([photograph("eye.png")], {}, points=points)).pictures[0]
    assert one.finding is None
    assert "outside of the picture" in str(one.document())
