"""What a person may write into a sheet, which source outranks which, and how slips are refused."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from rimwise.exchange.sheets import (
    case_sheet_for,
    picture_sheet_for,
    read_case_sheet,
    read_picture_sheet,
)
from rimwise.records.case import IncisionSheet, PlannedImplant, Spread
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.picture import CorneaSheet, Lamps, Ruler
from rimwise.terms.errors import UnknownKey, WrongInput

DOCS = Path(__file__).parents[2] / "docs" / "sheets.md"
CASE = 'side = "right"\ncorneal_surgery = "none"\n'


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Path]:
    """Write a sheet beside a picture that is not there; return the picture's path."""

    def write(text: str) -> Path:
        (tmp_path / "eye.toml").write_text(text, encoding="utf-8")
        return tmp_path / "eye.jpg"

    return write


@pytest.fixture
def case(tmp_path: Path) -> Callable[[str], Path]:
    """Write a case sheet."""

    def write(text: str) -> Path:
        (tmp_path / "case.toml").write_text(text, encoding="utf-8")
        return tmp_path / "case.toml"

    return write


def _blocks() -> list[str]:
    return re.findall(r"```toml\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.S)


def test_the_picture_sheet_of_the_docs_is_read_in_full(written: Callable[[str], Path]) -> None:
    sheet = picture_sheet_for(written(_blocks()[0]))
    assert (sheet.side, sheet.kind, sheet.state, sheet.code) == (
        "left",
        "photograph",
        "visit",
        "E-017",
    )
    assert (sheet.superior_deg, sheet.superior_sd_deg, sheet.mirrored) == (90, 3, False)
    assert (sheet.taken, sheet.visit_day) == ("2026-03-02", None)
    assert (sheet.optic_diameter_mm, sheet.optic_diameter_sd_mm) == (6.0, 0.05)
    assert sheet.ruler == Ruler(318.0, 5.0, "limbus")
    assert sheet.lamps == Lamps(((-8.3, 0.0), (8.3, 0.0)), 0.0, 0)
    assert sheet.cornea == CorneaSheet(radius_mm=7.61, thickness_um=550.0)
    assert (sheet.lengths.white_to_white_mm, sheet.lengths.lens_front_depth_mm) == (11.6, 4.77)
    assert sheet.consent == ("care",)


def test_the_case_sheet_of_the_docs_is_read_in_full(case: Callable[[str], Path]) -> None:
    sheet = case_sheet_for(case(_blocks()[1]))
    assert sheet.implant == PlannedImplant(
        6.0, 21.0, 0.0, 1.49, {"a_constant": 118.4, "position_share": 0.39}, "own series, 120",
        92.0, -0.20, 5.0,
        ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0),
    )  # fmt: skip
    assert sheet.incision == IncisionSheet(0.3, 95.0, 0.2, 42)
    assert sheet.goal.diameter_limits_mm == (4.8, 5.5)
    assert (sheet.opening.diameter_mm, sheet.opening.centre) == (5.25, "visual_axis")
    assert sheet.centres is not None
    assert sheet.centres.visual_axis_mm == (-0.18, 0.05)
    assert sheet.spread == Spread(
        (0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.1, 0.1), "lens", origin="case.toml"
    )
    assert sheet.lengths.axial_mm == 23.61
    assert sheet.reference == "E-017-fixating.json"


def test_operation_and_visit_tables_are_known_keys(
    written: Callable[[str], Path], case: Callable[[str], Path]
) -> None:
    tables = _blocks()[2]
    assert picture_sheet_for(written('side = "left"\n' + tables)).side == "left"
    assert case_sheet_for(case(CASE + tables)).side == "right"
    with pytest.raises(UnknownKey, match="technique"):
        case_sheet_for(case(CASE + '[operation]\ntechniqe = "manual"'))


def test_side_and_optic_are_enough_and_all_else_stays_unknown(tmp_path: Path) -> None:
    sheet = picture_sheet_for(tmp_path / "eye.jpg", {"side": "right", "optic_diameter_mm": 6})
    assert sheet.optic_diameter_mm == 6.0
    assert sheet.working_distance_mm is None
    assert sheet.cornea == CorneaSheet()


def test_the_side_is_never_guessed(written: Callable[[str], Path]) -> None:
    with pytest.raises(WrongInput, match=r"--side .* eye\.toml"):
        picture_sheet_for(written("optic_diameter_mm = 6.0"))


WRONG = {
    "a slip of the pen": ("optic_diametre_mm = 6", '"optic_diametre_mm" .* "optic_diameter_mm"'),
    "a key of a table": ("radius_mm = 7.7", r'"radius_mm" in \[cornea\]'),
    "a key of no sheet": ("zzz = 1", "docs/sheets.md"),
    "dioptres": ("[cornea]\nk_flat_dpt = 43.0", "radii in mm"),
    "an optic too large": ("optic_diameter_mm = 7.51", "7.51, and a number from 4.5 to 7.5 mm"),
    "an optic too small": ("optic_diameter_mm = 4.49", "4.49, and a number from 4.5 to 7.5 mm"),
    "no number": ("optic_diameter_mm = nan", "nan, and a number from 4.5 to 7.5 mm"),
    "infinity": ("px_per_mm = inf", "inf, and a number from 2 to 2000"),
    "text for a number": ('optic_diameter_mm = "6.0"', '"6.0", and a number'),
    "a yes for a number": ("optic_diameter_mm = true", "true, and a number"),
    "a number for a yes": ("mirrored = 1", "1, and true or false"),
    "no whole number": ("toric_marks_per_end = 2.0", "a whole number from 0 to 10"),
    "an eye that does not exist": ('side = "both"', '"both", and one of "right", "left"'),
    "a radius in dioptres": ("[cornea]\nradius_mm = 43", r"radius_mm is 43, .* 5 to 12 mm"),
    "radii exchanged": ("[cornea]\nradius_flat_mm = 7.5\nradius_steep_mm = 7.8", "exchange"),
    "half a pair of radii": ("[cornea]\nradius_flat_mm = 7.5", "give both"),
    "a radius told twice": (
        "[cornea]\nradius_mm=7.6\nradius_flat_mm=7.7\nradius_steep_mm=7.5", "one way"),
    "a lens that is gone": ("[lengths]\nlens_thickness_mm = 4.4", "gone"),
    "a lamp that is not there": ("[lamps]\nplaces_mm = [[1, 2]]\nfixated = 1", "counted from 0"),
    "lamps without places": ("[lamps]\nplane_mm = 0", "places_mm"),
    "half a ruler": ("ruler = { px = 3.0, mm = 1.0 }", "plane is missing"),
    "a table for a number": ("px_per_mm = { a = 1 }", "a table, and a number"),
    "a number for a table": ("cornea = 7.7", "7.7, and a table"),
    "a consent of its own": ('consent = ["sale"]', '"sale", and a list .* "care"'),
    "a date as text": ('taken = "2026-03-02"', "a date such as"),
    "a number of 400 digits": ("px_per_mm = 1" + "0" * 400, "a very large number"),
    "a name with a path": ('code = "../x"', "plain text"),
    "no TOML": ("side = ", "not TOML"),
    "a key told twice": ("visit_day = 1\nvisit_day = 2", "not TOML"),
    "brackets without end": ("code = " + "[" * 10_000, "not TOML"),
}  # fmt: skip


@pytest.mark.parametrize("slip", WRONG)
def test_a_wrong_sheet_is_refused_in_one_sentence(
    written: Callable[[str], Path], slip: str
) -> None:
    text, words = WRONG[slip]
    if "side" not in text:
        text = 'side = "left"\n' + text
    with pytest.raises(WrongInput, match=words) as refused:
        picture_sheet_for(written(text))
    assert refused.value.sentence.startswith(("eye.toml", "eye.jpg"))
    assert "\n" not in refused.value.sentence
    assert len(refused.value.sentence) < 330


def test_a_wrong_flag_is_called_as_it_was_typed(tmp_path: Path) -> None:
    with pytest.raises(
        WrongInput, match=r"^--optic-diameter-mm is 8.0, and a number from 4.5 to 7.5"
    ):
        picture_sheet_for(tmp_path / "eye.jpg", {"side": "left", "optic_diameter_mm": 8.0})


def test_a_sheet_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    for write, words in (
        (None, "no sheet"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"#" * 1_000_001, "1 MB"),
    ):
        path = tmp_path / "given.toml"
        if write is not None:
            path.write_bytes(write)
        with pytest.raises(WrongInput, match=words):
            picture_sheet_for(tmp_path / "eye.jpg", {"side": "left"}, sheet=path)
    with pytest.raises(WrongInput, match="folder"):
        picture_sheet_for(tmp_path / "eye.jpg", {"side": "left"}, sheet=tmp_path)


def test_a_mark_that_some_editors_put_first_is_no_fault(written: Callable[[str], Path]) -> None:
    assert picture_sheet_for(written('\ufeffside = "left"\r\n')).side == "left"


def test_flag_outranks_sheet_outranks_clinic_outranks_case(tmp_path: Path) -> None:
    below = tmp_path / "visit" / "day28"
    below.mkdir(parents=True)
    picture = below / "eye.jpg"
    case = tmp_path / "case-sheet.toml"
    case.write_text(
        CASE + "[implant]\noptic_diameter_mm = 5.5\n[lengths]\nwhite_to_white_mm = 11\n"
    )

    def optic_mm(**flags: object) -> float | None:
        return picture_sheet_for(picture, {"side": "right"} | flags, case=case).optic_diameter_mm

    assert optic_mm() == 5.5
    (tmp_path / "clinic.toml").write_text("optic_diameter_mm = 6.0\nworking_distance_mm = 90")
    assert optic_mm() == 6.0
    (below / "eye.toml").write_text("optic_diameter_mm = 6.5")
    assert optic_mm() == 6.5
    assert optic_mm(optic_diameter_mm=7.0) == 7.0
    sheet = picture_sheet_for(picture, {"side": "right"}, case=case)
    assert (sheet.working_distance_mm, sheet.lengths.white_to_white_mm) == (90.0, 11.0)
    # The nearest clinic.toml counts, not the one above it.
    (below / "clinic.toml").write_text("px_per_mm = 60")
    sheet = picture_sheet_for(picture, {"side": "right"}, case=case)
    assert (sheet.working_distance_mm, sheet.px_per_mm) == (None, 60.0)


def test_one_fact_told_in_two_ways_is_not_mixed_from_two_sheets(tmp_path: Path) -> None:
    (tmp_path / "clinic.toml").write_text(
        "visit_day = 3\n[cornea]\nradius_mm = 7.7\nthickness_um = 540"
    )
    (tmp_path / "eye.toml").write_text(
        'side = "left"\ntaken = 2026-03-02\n[cornea]\nradius_flat_mm = 7.9\nradius_steep_mm = 7.6'
    )
    sheet = picture_sheet_for(tmp_path / "eye.jpg")
    assert sheet.cornea == CorneaSheet(radius_flat_mm=7.9, radius_steep_mm=7.6, thickness_um=540.0)
    assert (sheet.taken, sheet.visit_day) == ("2026-03-02", None)


def test_a_given_sheet_stands_in_for_the_one_beside_the_picture(tmp_path: Path) -> None:
    (tmp_path / "eye.toml").write_text('side = "left"')
    (tmp_path / "other.toml").write_text('side = "right"')
    picture = tmp_path / "eye.jpg"
    assert picture_sheet_for(picture).side == "left"
    assert picture_sheet_for(picture, sheet=tmp_path / "other.toml").side == "right"


def test_a_side_that_stands_only_in_the_clinics_sheet_is_said(tmp_path: Path) -> None:
    (tmp_path / "clinic.toml").write_text('side = "left"')
    sheet, notes = read_picture_sheet(tmp_path / "eye.jpg")
    assert sheet.side == "left"
    assert [note.code for note in notes] == ["side-from-clinic"]
    assert read_picture_sheet(tmp_path / "eye.jpg", {"side": "left"}).notes == ()


def test_the_natural_lens_of_a_case_is_not_in_a_later_picture(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text(CASE + "[lengths]\nlens_thickness_mm = 4.5\naxial_mm = 23.5")
    later = picture_sheet_for(tmp_path / "eye.jpg", case=case)
    assert later.lengths.lens_thickness_mm is None
    before = picture_sheet_for(tmp_path / "eye.jpg", {"state": "natural"}, case=case)
    assert before.lengths.lens_thickness_mm == 4.5


CASE_WRONG = {
    "no side": ('corneal_surgery = "none"', "side is not stated"),
    "no word on surgery": ('side = "right"', "corneal_surgery is not stated"),
    "NaN": (CASE + "[lengths]\naxial_mm = nan", r"\[lengths\] axial_mm is nan, .* 14 to 40 mm"),
    "a risk of its own": (CASE + 'risks = ["fear"]', '"fear", and a list .* "uveitis"'),
    "limits exchanged": (CASE + "[goal]\ndiameter_limits_mm = [5.5, 4.8]", "larger first"),
    "certainty": (CASE + "[goal]\np_complete = 1.0", "above 0 and below 1"),
    "an implant without optic": (CASE + "[implant]\npower_dpt = 21.0", "no optic_diameter_mm"),
    "a picture's key": (CASE + "px_per_mm = 60.0", '"px_per_mm" is not a key'),
    "a prior for a weak zonule": (
        CASE + 'risks = ["weak-zonule"]\n[spread]\ndiameter_sd_mm = 0.1',
        "optic_from_rest_sd_mm",
    ),
}


@pytest.mark.parametrize("slip", CASE_WRONG)
def test_a_wrong_case_is_refused_in_one_sentence(case: Callable[[str], Path], slip: str) -> None:
    text, words = CASE_WRONG[slip]
    with pytest.raises(WrongInput, match=words) as refused:
        case_sheet_for(case(text))
    assert refused.value.sentence.startswith("case.toml")
    assert "\n" not in refused.value.sentence


def test_a_clinic_may_not_contradict_a_case_about_the_eye(case: Callable[[str], Path]) -> None:
    path = case(CASE + "[lengths]\naxial_mm = 23.5\n[goal]\nrefraction_dpt = 0.0")
    clinic = path.with_name("clinic.toml")
    clinic.write_text('side = "left"')
    with pytest.raises(WrongInput, match="disagree about side"):
        case_sheet_for(path)
    clinic.write_text("[lengths]\naxial_mm = 24.0")
    with pytest.raises(WrongInput, match=r"disagree about \[lengths\] axial_mm"):
        case_sheet_for(path)
    clinic.write_text("[goal]\nrefraction_dpt = -0.25\np_complete = 0.9")
    sheet, notes = read_case_sheet(path)
    assert (sheet.goal.refraction_dpt, sheet.goal.p_complete) == (-0.25, 0.9)
    assert [note.code for note in notes] == ["clinic-outranks-case", "code-from-file"]
    assert "[goal] refraction_dpt" in notes[0].sentence


def test_the_clinics_optic_is_planned_where_the_case_names_none(
    case: Callable[[str], Path],
) -> None:
    path = case(CASE)
    path.with_name("clinic.toml").write_text("optic_diameter_mm = 6.0\nworking_distance_mm = 90")
    assert case_sheet_for(path).implant == PlannedImplant(6.0)
    case(CASE + "[implant]\noptic_diameter_mm = 5.5")
    assert case_sheet_for(path).implant == PlannedImplant(5.5)


def test_what_a_spread_leaves_out_is_a_prior_and_said(case: Callable[[str], Path]) -> None:
    sheet, notes = read_case_sheet(case('code = "E-1"\n' + CASE + "[spread]\ndiameter_sd_mm = 0.1"))
    assert sheet.spread is not None
    assert sheet.spread.diameter_sd_mm == 0.1
    assert sheet.spread.opening_from_target_sd_mm[0] > 0.0
    assert "priors for" in sheet.spread.origin
    assert [note.code for note in notes] == ["spread-from-prior"]


def test_a_flag_outranks_the_case(case: Callable[[str], Path]) -> None:
    path = case(CASE + '[opening]\ncentre = "lens"\ndiameter_mm = 5.0')
    sheet = case_sheet_for(path, {"opening.centre": "pupil", "goal.p_complete": 0.9})
    assert (sheet.opening.centre, sheet.opening.diameter_mm) == ("pupil", 5.0)
    assert sheet.goal.p_complete == 0.9


def test_a_sheet_of_another_kind_is_called_by_its_name(case: Callable[[str], Path]) -> None:
    picture = 'side = "right"\nkind = "photograph"\npx_per_mm = 60.0\n'
    with pytest.raises(UnknownKey, match="belongs to a picture sheet"):
        case_sheet_for(case(picture))


def test_an_incision_is_given_whole_or_not_at_all(case: Callable[[str], Path]) -> None:
    half = 'side = "right"\ncorneal_surgery = "none"\n[incision]\ncentroid_dpt = 0.3\n'
    with pytest.raises(WrongInput, match="is missing"):
        case_sheet_for(case(half))
