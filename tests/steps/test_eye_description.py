"""``rimwise eye`` from the sheet to tables, document and drawing."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.casebook.eyes import describe_case
from rimwise.cli.main import app
from rimwise.records.eye_description import EYE_SCHEMA
from rimwise.report.eye_drawing import draw_eye, eye_drawing_description
from rimwise.report.eye_words import assumption_rows, axis_rows, cardinal_rows, reflex_rows
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import WrongInput

SHEET = """
code = "E-017"
side = "{side}"
age_years = 71
corneal_surgery = "none"
[cornea]
radius_flat_mm = 7.80
radius_steep_mm = 7.65
steep_axis_deg = 92
[lengths]
axial_mm = {axial}
chamber_depth_mm = 3.15
lens_thickness_mm = 4.52
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
index = 1.49
"""


@pytest.fixture
def sheet(tmp_path: Path):
    def write(side: str = "right", axial: float = 23.61) -> Path:
        path = tmp_path / f"{side}.toml"
        path.write_text(SHEET.format(side=side, axial=axial), encoding="utf-8")
        return path

    return write


def test_the_document_holds_what_was_asked_for(sheet, tmp_path):
    out = tmp_path / "eye.json"
    describe_case(sheet(), json_out=out)
    entry = json.loads(out.read_text())["results"][0]
    assert entry["schema"] == EYE_SCHEMA
    assert 55.0 < entry["cardinal"]["power_dpt"] < 65.0
    assert entry["axes"]["visual_deg"]["nasal"] == pytest.approx(5.0, abs=0.03)
    assert [one["name"] for one in entry["reflexes"]] == ["P1", "P2", "P3", "P4"]
    assert [one["upright"] for one in entry["reflexes"]] == [True, True, True, False]
    assert entry["assumptions"]
    assert all({"what", "value", "sd", "source", "status"} <= set(a) for a in entry["assumptions"])


def test_a_left_eye_is_the_mirror_image_in_names(sheet, tmp_path):
    told = [describe_case(sheet(side)).told for side in ("right", "left")]
    right, left = ({row[0]: row[1] for row in axis_rows(one)} for one in told)
    # The corneal cylinder at 92 degrees is not mirrored, so only the axes without it are compared.
    assert right["Visual axis"] == left["Visual axis"]
    assert told[0].axes.visual_deg[0] == pytest.approx(-told[1].axes.visual_deg[0], abs=2e-3)


def test_tables_for_every_lens(sheet):
    for lens, rows in (("natural", 4), ("implant", 4), ("none", 2)):
        told = describe_case(sheet(), lens).told
        assert len(cardinal_rows(told)) == 10
        assert len(reflex_rows(told)) == rows
        assert any("status" in row[2] or "memory" in row[2] for row in assumption_rows(told))


@pytest.mark.parametrize("lens", ["natural", "implant", "none"])
def test_drawings_are_the_same_bytes_every_time(sheet, tmp_path, lens):
    drawing = tmp_path / "eye.svg"
    told = describe_case(sheet(), lens, drawing=drawing).told
    assert drawing.read_bytes() == draw_eye(told)
    text = drawing.read_text()
    assert "<title>" in text
    assert eye_drawing_description(told)[:30] in text
    assert CAUTIONS[0] in text
    assert "visual axis" in text


def test_the_command_prints_tables_assumptions_and_cautions(sheet):
    shown = CliRunner().invoke(app, ["eye", str(sheet())])
    assert shown.exit_code == 0
    for words in ("Nodal points", "Angle kappa", "P4", "Assumed, not measured", CAUTIONS[0][:40]):
        assert words in shown.stdout


def test_json_alone_goes_to_standard_output(sheet):
    shown = CliRunner().invoke(app, ["eye", str(sheet()), "--lens", "implant", "--json", "-"])
    assert json.loads(shown.stdout)["results"][0]["lens"] == "implant"


def test_what_cannot_be_is_refused_in_one_sentence(sheet, tmp_path):
    with pytest.raises(WrongInput, match="natural, implant, none"):
        describe_case(sheet(), "crystalline")
    with pytest.raises(WrongInput, match=r"neither .svg nor .png"):
        describe_case(sheet(), drawing=tmp_path / "eye.pdf")
    shown = CliRunner().invoke(app, ["eye", str(sheet(axial=13.0))])
    assert shown.exit_code == 2
    assert "axial_mm" in shown.stderr


def test_unusual_values_are_warned_of(sheet):
    told = describe_case(sheet(axial=32.0)).told
    assert [one.code for one in told.record.warnings] == ["unusual-axial"]
