"""Implants in general terms, from the case sheet to the eye."""

from pathlib import Path

import pytest

from rimwise.exchange.sheets import case_sheet_for
from rimwise.eye.implant import aberration_um
from rimwise.eye.known import known_from_case
from rimwise.eye.this_eye import eye_record
from rimwise.terms.errors import UnknownKey, WrongInput

EYE = 'code = "E-1"\nside = "right"\ncorneal_surgery = "none"\n[lengths]\naxial_mm = 23.6\n'
IMPLANT = "[implant]\noptic_diameter_mm = 6.0\npower_dpt = 21.0\n"
BIFOCAL = 'kind = "diffractive"\nadd_dpt = 3.0\nperiod_waves = [[0.0, 0.5], [1.0, 0.0]]\n'
SMOOTH = 'kind = "smooth"\npath_um = [[0.0, 0.8], [0.4, 0.5], [0.8, 0.1], [1.2, 0.0]]\n'


def sheet(tmp_path: Path, *more: str) -> Path:
    path = tmp_path / "E-1.toml"
    path.write_text(EYE + IMPLANT + "".join(more), encoding="utf-8")
    return path


@pytest.mark.parametrize("stated_um", [-0.27, -0.1, 0.0])
@pytest.mark.parametrize("aperture_mm", [5.0, 6.0])
def test_stated_spherical_aberration_is_what_the_asphere_gives(
    tmp_path: Path, stated_um: float, aperture_mm: float
) -> None:
    """The stated number itself is the check: traced through the surfaces that were found."""
    told = f"spherical_aberration_um = {stated_um}\naberration_aperture_mm = {aperture_mm}\n"
    case = case_sheet_for(sheet(tmp_path, told))
    eye = eye_record(known_from_case(case, "implant"))
    assert eye.implant is not None
    # The search halves a bracket sixty times; 1e-6 µm is round-off of traced paths.
    assert aberration_um(eye.implant, aperture_mm) == pytest.approx(stated_um, abs=1e-6)
    assert all(one.what != "conic constants of the implant" for one in eye.assumptions)


def test_a_toric_implant_needs_its_axis_to_be_in_the_eye(tmp_path: Path) -> None:
    with_axis = case_sheet_for(sheet(tmp_path, "cylinder_dpt = 3.0\naxis_deg = 92.0\n"))
    shape = eye_record(known_from_case(with_axis, "implant")).implant
    assert shape is not None
    assert (shape.cylinder_dpt, shape.axis_deg) == (3.0, 92.0)
    without = case_sheet_for(sheet(tmp_path, "cylinder_dpt = 3.0\n"))
    shape = eye_record(known_from_case(without, "implant")).implant
    assert shape is not None
    assert shape.cylinder_dpt == 0.0


@pytest.mark.parametrize("profile", [BIFOCAL, SMOOTH])
def test_a_profile_is_read_as_it_is_written(tmp_path: Path, profile: str) -> None:
    case = case_sheet_for(sheet(tmp_path, "[implant.profile]\n", profile))
    assert case.implant is not None
    assert case.implant.profile is not None
    assert case.implant.profile.design_nm == 555.0
    assert case.implant.constants == {}
    samples = case.implant.profile.period_waves or case.implant.profile.path_um
    assert samples[0] in {(0.0, 0.5), (0.0, 0.8)}


@pytest.mark.parametrize(
    ("profile", "said"),
    [
        ('kind = "diffractive"\nadd_dpt = 3.0\n', "period_waves"),
        (BIFOCAL.replace("1.0, 0.0", "0.9, 0.0"), "from 0 to 1"),
        (BIFOCAL.replace("3.0", "0.0"), "second focus"),
        (BIFOCAL + "apodised_mm = [2.0, 1.0]\n", "larger first"),
        (SMOOTH + "add_dpt = 2.0\n", "other kind"),
        (SMOOTH.replace("[0.4,", "[0.9,"), "ascend"),
    ],
)
def test_a_profile_that_makes_no_sense_is_refused(tmp_path: Path, profile: str, said: str) -> None:
    with pytest.raises(WrongInput, match=said):
        case_sheet_for(sheet(tmp_path, "[implant.profile]\n", profile))


def test_an_unknown_key_of_a_profile_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnknownKey, match="steps"):
        case_sheet_for(sheet(tmp_path, "[implant.profile]\n", BIFOCAL, "steps = 3\n"))
