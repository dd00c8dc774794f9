"""The plan sheet: one page, true to scale, turned for the seat, read without a legend."""

import base64
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from rimwise.casebook.planning import PlanFiles, plan_case
from rimwise.exchange.sheets import read_case_sheet
from rimwise.eye.known import known_from_case
from rimwise.eye.this_eye import eye_record
from rimwise.plan.make import make_plan
from rimwise.purkinje.describe import describe_eye
from rimwise.report.plan_sheet import plan_sheet, sheet_html
from rimwise.report.plan_sheet_drawing import draw_front
from rimwise.report.plan_view import plan_view, seat_frame
from rimwise.report.plan_words import plan_table
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import WrongInput

CASE = """
code = "E-017"
side = "{side}"
age_years = 71
corneal_surgery = "{surgery}"
[cornea]
radius_flat_mm = 7.80
radius_steep_mm = 7.65
steep_axis_deg = 92
thickness_um = 545
[lengths]
axial_mm = 23.61
chamber_depth_mm = 3.15
lens_thickness_mm = 4.52
white_to_white_mm = 11.8
pupil_dilated_mm = 7.4
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
index = 1.49
a_constant = 118.4
{toric}
[goal]
refraction_dpt = -0.25
[opening]
{centre}
[centres]
lens_mm = [0.02, 0.02]
visual_axis_mm = [0.10, 0.05]
[spread]
opening_from_target_bias_mm = [0.0, 0.0]
opening_from_target_sd_mm = [0.08, 0.08]
diameter_bias_mm = 0.0
diameter_sd_mm = 0.1
optic_from_rest_sd_mm = [0.08, 0.08]
"""


def write_case(folder: Path, **said: str) -> Path:
    words = {
        "side": "right",
        "surgery": "none",
        "toric": "",
        "centre": 'centre = "visual_axis"\ndiameter_mm = 5.1',
    } | said
    path = folder / "E-017.toml"
    path.write_text(CASE.format(**words), encoding="utf-8")
    return path


@pytest.fixture
def seen(tmp_path):
    case = read_case_sheet(write_case(tmp_path)).sheet
    told = describe_eye(case.code, eye_record(known_from_case(case)))
    plan = make_plan(case)
    return plan, plan_view(plan, told, 4.9, 7.4), case


def equal_area_mm(curve):
    x, y = curve[:-1].T
    return 2.0 * np.sqrt(abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2.0 / np.pi)


def test_the_opening_looks_as_large_as_the_plan_says(seen):
    """Second way: an exact trace of the ring against the plan's paraxial size and its ±."""
    plan, view, _ = seen
    expected = plan.apparent_diameter_mm
    looks = equal_area_mm(view.openings[0].edge_mm)
    assert abs(looks - expected.value) < 2.0 * expected.sd
    assert looks > 1.05 * plan.diameter_mm


def test_fixating_eyes_show_the_corneal_reflex_at_the_visual_axis(seen):
    """The subject-fixated coaxially sighted corneal reflex stands for the visual axis (docs)."""
    _, view, _ = seen
    reflex, target = dict(view.reflexes)["P1"], dict(view.targets)["visual_axis"]
    # A tenth of a millimetre: the approximation itself, not the arithmetic.
    assert np.hypot(*np.subtract(reflex, target)) < 0.1


def test_the_limbus_is_seen_in_air_at_its_own_size(seen):
    _, view, _ = seen
    assert np.ptp(view.limbus_mm, axis=0) == pytest.approx([11.8, 11.8], abs=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
def test_superior_points_down_at_the_head_and_temporal_at_the_side(side):
    """Common practice, no source: superior, or the temple, is nearest to the surgeon."""
    temporal = (-1.0, 0.0) if side == "right" else (1.0, 0.0)
    down = [0.0, 1.0]  # picture vectors are (right, down)
    head = seat_frame("head", side).picture_from_examiner(np.array([0.0, 1.0]))
    beside = seat_frame("side", side).picture_from_examiner(np.array(temporal))
    assert head.tolist() == pytest.approx(down, abs=1e-12)
    assert beside.tolist() == pytest.approx(down, abs=1e-12)


def test_the_front_is_drawn_to_scale(seen):
    plan, view, _ = seen
    svg = draw_front(plan, view, "head").decode()
    sizes = [
        np.ptp(np.array(re.findall(r"[ML] (\S+) (\S+)", path), dtype=float), axis=0)
        for path in re.findall(r'<path d="([^"]+)"', svg)
    ]
    limbus = max(sizes, key=lambda size: size[0] if abs(size[0] - size[1]) < 1.0 else 0.0)
    bars = [size for size in sizes if size[1] == 0.0 and size[0] > 0.0]
    # SVG numbers have six decimals; the bar says 1 mm and the limbus is 11.8 mm wide.
    assert limbus[0] == pytest.approx(limbus[1], rel=1e-5)
    assert any(abs(11.8 * bar[0] / limbus[0] - 1.0) < 1e-4 for bar in bars)


KINDS = {
    "chosen": {},
    "left": {"side": "left"},
    "no-centre": {"centre": ""},
    "toric": {"toric": "cylinder_dpt = 2.25", "centre": ""},
    "keratoconus": {"surgery": "keratoconus"},
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_pdf_is_one_page_with_every_answer_and_caution(tmp_path, kind):
    case = write_case(tmp_path, **KINDS[kind])
    plan_case(case, files=PlanFiles(sheet=tmp_path / "plan.pdf", seat="side"))
    reader = PdfReader(io.BytesIO((tmp_path / "plan.pdf").read_bytes()))
    assert len(reader.pages) == 1
    words = " ".join(reader.pages[0].extract_text().split())
    for label in ("Opening", "Centre", "Lens (implant)", "Expected refraction", "Weakest point"):
        assert label in words
    for caution in CAUTIONS:
        assert caution in words
    assert "rimwise 0." in words
    assert "SHA-256 of E-017.toml" in words


def test_size_centre_lens_refraction_and_weakest_point_stand_at_the_top(seen):
    plan, _, case = seen
    values = [value for _, value, _ in plan_sheet(plan, case, (), (), "").answers]
    assert values[:3] == ["5.10 mm ± 0.10", "visual axis", "+21.0 dpt"]
    expected = next(one for one in plan.refraction if one.power_dpt == 21.0)
    said = f"{expected.refraction_dpt.value:+.2f}".replace("-", "−")
    assert values[3] == f"{said} ± {expected.refraction_dpt.sd:.2f} dpt"
    assert values[4].startswith("the ")


def test_all_four_centres_stand_with_their_cost_where_none_is_chosen(tmp_path):
    case = read_case_sheet(write_case(tmp_path, centre="")).sheet
    page = sheet_html(plan_sheet(make_plan(case), case, (), (), ""))
    for name in ("visual axis", "lens centre", "pupil centre", "limbus centre"):
        assert re.search(rf'<th scope="row">On the {name}</th><td>\d', page)


def test_html_is_one_file_and_the_same_every_time(tmp_path):
    case, out = write_case(tmp_path), tmp_path / "plan.html"
    plan_case(case, files=PlanFiles(sheet=out))
    first = out.read_bytes()
    plan_case(case, files=PlanFiles(sheet=out))
    assert out.read_bytes() == first
    text = first.decode()
    assert "<script" not in text
    assert not re.search(r'(src|href)="(?!data:)', text)
    assert text.count('alt="The right eye') == 2


def test_the_drawing_names_what_it_shows(seen):
    plan, view, _ = seen
    words = " ".join(ET.fromstring(draw_front(plan, view, "head")).itertext())
    for name in ("limbus", "pupil", "optic 6.00 mm", "opening 5.10 mm", "centre: visual axis"):
        assert name in words
    for name in ("reflex", "nasal", "superior", "surgeon at the patient's head", "1 mm"):
        assert name in words


def answers(case_path):
    case = read_case_sheet(case_path).sheet
    return case, {label: (value, note) for label, value, note in plan_sheet(
        make_plan(case), case, (), (), "").answers}  # fmt: skip


def test_a_toric_implant_stands_with_its_marks_and_what_it_leaves(tmp_path):
    toric = "cylinder_dpt = 2.25\naxis_deg = 100"
    path, out = write_case(tmp_path, toric=toric), tmp_path / "plan.html"
    case, told = answers(path)
    assert told["Lens (implant)"][0] == "+21.0 dpt cyl 2.25"
    assert "marks along 100°" in told["Lens (implant)"][1]
    assert re.search(r"leaves [+−]\d\.\d\d −\d\.\d\d × \d+°", told["Expected refraction"][1])
    assert "to narrow it, measure the" in told["Expected refraction"][1]
    plan = make_plan(case)
    assert plan.toric.axis_deg == 100.0
    assert "marks-off-steep" in [one.code for one in plan.warnings]
    plan_case(path, files=PlanFiles(sheet=out))
    text = out.read_text(encoding="utf-8")
    front = base64.b64decode(re.findall(r'svg\+xml;base64,([^"]+)"', text)[0]).decode()
    assert "toric marks along 100°" in front
    assert "21.0 (named)" in text


def test_marks_on_the_steep_meridian_leave_least_and_ten_degrees_off_more(tmp_path):
    case = read_case_sheet(write_case(tmp_path, toric="cylinder_dpt = 1.5")).sheet
    steep = make_plan(case).toric
    off = make_plan(replace(case, implant=replace(case.implant, axis_deg=steep.axis_deg + 10.0)))
    least, more = (one.steps[1].residual_dpt for one in (steep, off.toric))
    size = [2.0 * np.hypot(j0, j45) for _, j0, j45 in (least, more)]
    cost = steep.steps[1].cost_dpt_per_deg
    # 2 C sin of the turn, crossed with what was left; the cost per degree is its slope.
    turned = np.hypot(more[1] - least[1], more[2] - least[2]) * 2.0
    assert turned == pytest.approx(10.0 * cost, rel=0.02)
    assert size[1] > size[0]


def test_the_weakest_point_is_named_by_centre_where_none_is_chosen(tmp_path):
    _, told = answers(write_case(tmp_path, centre=""))
    value, note = told["Weakest point"]
    assert value == "by centre" or "the same about every centre" in note
    assert "of the refraction: " in note


def test_a_pupil_without_room_stands_at_the_top(tmp_path):
    path = write_case(tmp_path)
    text = path.read_text(encoding="utf-8").replace("diameter_mm = 5.1\n", "")
    path.write_text(text.replace("pupil_dilated_mm = 7.4", "pupil_dilated_mm = 4.2"))
    _, told = answers(path)
    value, note = told["Opening (capsulotomy), real diameter"]
    assert value == "no room for any size"
    assert "the dilated pupil leaves room for" in note
    path.write_text(path.read_text(encoding="utf-8").replace('centre = "visual_axis"', ""))
    _, told = answers(path)
    value, note = told["Opening (capsulotomy), real diameter"]
    assert value == "no room for any size"
    assert note.count("the dilated pupil leaves room for") == 4


def test_every_centre_stands_with_its_distances(tmp_path):
    case = read_case_sheet(write_case(tmp_path, centre="")).sheet
    rows = {label: note for label, _, note in plan_table(make_plan(case))}
    # The axis lies at (0.10, 0.05), 27° up; from the lens at (0.02, 0.02) it is 21°: nasal is +x.
    assert "0.11 mm superior-nasal from the limbus centre" in rows["On the visual axis"]
    assert "0.09 mm nasal from the lens centre" in rows["On the visual axis"]
    assert "from the lens centre" not in rows["On the lens centre"]


def test_what_was_not_measured_is_not_drawn_as_if_it_were(tmp_path):
    path, out = tmp_path / "E-2.toml", tmp_path / "plan.html"
    path.write_text(
        'code = "E-2"\nside = "left"\ncorneal_surgery = "none"\n'
        "[implant]\noptic_diameter_mm = 6.0\n"
    )
    plan_case(path, files=PlanFiles(sheet=out))
    text = out.read_text(encoding="utf-8")
    front = base64.b64decode(re.findall(r'svg\+xml;base64,([^"]+)"', text)[0]).decode()
    assert "pupil undilated," in front
    assert "a generic eye wherever nothing was measured" in text


def test_an_implant_of_no_power_in_a_long_eye_has_its_sheet(tmp_path):
    case = write_case(tmp_path)
    text = case.read_text(encoding="utf-8").replace("23.61", "31.0")
    case.write_text(text.replace("power_dpt = 21.0", "power_dpt = 0.0"), encoding="utf-8")
    plan_case(case, files=PlanFiles(sheet=tmp_path / "plan.pdf"))
    words = PdfReader(tmp_path / "plan.pdf").pages[0].extract_text()
    assert "+0.0 dpt" in words


@pytest.mark.parametrize("centre", ["", 'centre = "lens"'])
def test_an_irregular_cornea_is_not_looked_through(tmp_path, centre):
    out = tmp_path / "plan.html"
    case = write_case(tmp_path, surgery="keratoconus", centre=centre)
    plan_case(case, files=PlanFiles(sheet=out))
    text = out.read_text(encoding="utf-8")
    assert "how large things look through this cornea" in text
    front = base64.b64decode(re.findall(r'svg\+xml;base64,([^"]+)"', text)[0]).decode()
    assert "optic 6.00 mm" in front
    assert "looks" not in front
    assert "reflex" not in front


def test_a_refused_plan_has_no_sheet(tmp_path):
    case, out = write_case(tmp_path), tmp_path / "plan.pdf"
    planned = plan_case(case, {"age_years": 12}, PlanFiles(sheet=out))
    assert planned.exit_code == 3
    assert not out.exists()


def test_a_sheet_of_another_kind_or_an_unknown_seat_is_refused(tmp_path):
    case = write_case(tmp_path)
    with pytest.raises(WrongInput, match=r"neither \.pdf nor \.html"):
        plan_case(case, files=PlanFiles(sheet=tmp_path / "plan.docx"))
    with pytest.raises(WrongInput, match="head or side"):
        plan_case(case, files=PlanFiles(seat="foot"))
