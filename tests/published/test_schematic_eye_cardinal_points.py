"""Cardinal points of the eight schematic eyes.

Source: tests/data/cardinal_points.csv. Its column ``computed`` (paraxial matrices by two programs
outside this project; status *computed*) is the gate, to its last printed digit. Its column
``published`` is a gate only where the row says that print was seen: Liou & Brennan 1997, abstract
(60.35 dpt, 23.95 mm), and Atchison 2006, eq. 9 and Table 1, as quoted by a public repository.
Rows "from memory" are no pass criterion; they stand in docs/accuracy.md.
"""

import csv
from pathlib import Path

import pytest

from rimwise.eye.schematic import EyeOptics, eye_optics, schematic_model
from rimwise.published.eyes import EYES, schematic_eye
from rimwise.terms.errors import WrongInput

DATA = Path(__file__).parents[1] / "data" / "cardinal_points.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = list(csv.DictReader(LINES))
KEYS = {
    "gullstrand1": "gullstrand1909",
    "legrand": "legrand",
    "gullstrand_emsley": "gullstrand_emsley",
    "bennett_rabbetts": "bennett_rabbetts",
    "navarro1985_589": "navarro1985",
    "navarro1999_543": "navarro1999",
    "liou_brennan_555": "liou_brennan1997",
}
LAST_DIGIT = 0.5e-5 * (1 + 1e-6)  # every column is printed with five decimals
VERTEX_MM = 12.0


def optics(name: str) -> EyeOptics:
    if name.startswith("atchison2006_SR"):
        refraction_dpt = float(name.removeprefix("atchison2006_SR"))
        return eye_optics(schematic_model(schematic_eye("atchison2006"), refraction_dpt))
    return eye_optics(schematic_model(schematic_eye(KEYS[name])))


def ours(name: str) -> dict[str, float]:
    """Every quantity of the table in its own signs: z towards the retina, lengths in mm."""
    found = optics(name)
    p = found.points
    index = 1000.0 / p.power_dpt
    image = p.back_principal_z_mm - p.back_focus_z_mm
    return {
        "power_D": p.power_dpt,
        "f_obj": -index,
        "f_img": image,
        "F": -p.front_focus_z_mm,
        "Fp": -p.back_focus_z_mm,
        "P": -p.front_principal_z_mm,
        "Pp": -p.back_principal_z_mm,
        "N": -p.front_nodal_z_mm,
        "Np": -p.back_nodal_z_mm,
        "cornea_D": found.corneal_power_dpt,
        "lens_D": found.lens_power_dpt,
        "ent_pupil_z": -found.entrance.z_mm,
        "ent_pupil_mag": found.entrance.magnification,
        "exit_pupil_z": -found.exit.z_mm,
        "exit_pupil_mag": found.exit.magnification,
        "far_point_refr_D_vertex": found.refraction_dpt,
    }


NAMES = sorted({row["eye"] for row in ROWS})


@pytest.mark.parametrize("name", NAMES)
def test_every_computed_value_to_its_last_digit(name):
    found = ours(name)
    rows = [row for row in ROWS if row["eye"] == name and row["quantity"] != "retina_z"]
    assert len(rows) == 16
    for row in rows:
        assert abs(found[row["quantity"]] - float(row["computed"])) <= LAST_DIGIT, row


def test_all_eight_published_eyes_are_in_the_table():
    assert {*KEYS.values(), "atchison2006"} == set(EYES)


def test_liou_brennan_equivalent_power_through_its_gradient():
    """60.35 dpt; Liou & Brennan 1997 JOSA A 14(8):1684-1695, abstract, published and read."""
    # ±0.01 dpt: the abstract prints two decimals; our 60.343 comes from a prescription recalled.
    assert optics("liou_brennan_555").points.power_dpt == pytest.approx(60.35, abs=0.01)
    retina = schematic_eye("liou_brennan1997").retina_depth.published
    assert retina.value == 23.95
    assert retina.source.status == "published and read"
    # The paraxial image falls on the printed axial length to its last digit.
    assert optics("liou_brennan_555").points.back_focus_z_mm == pytest.approx(-23.95, abs=0.005)


@pytest.mark.parametrize("refraction_dpt", [0.0, -2.0, -4.0, -6.0, -8.0, -10.0])
def test_atchison_eyes_have_the_refraction_they_are_named_for(refraction_dpt):
    """Axial length 23.58 - 0.299 SR (eq. 9), front radius 7.77 + 0.022 SR (Table 1).

    Atchison 2006 Vision Research 46:2236-2250, seen in a public repository that quotes it.
    """
    found = eye_optics(schematic_model(schematic_eye("atchison2006"), refraction_dpt))
    at_cornea_dpt = refraction_dpt / (1.0 - VERTEX_MM / 1000.0 * refraction_dpt)
    # 0.03 dpt: what a length printed to 0.01 mm and a lens recalled from print leave open.
    assert found.refraction_dpt == pytest.approx(at_cornea_dpt, abs=0.03)


def test_a_refraction_outside_the_prescription_is_refused():
    with pytest.raises(WrongInput, match=r"-10.0 to 0.0 dpt"):
        schematic_model(schematic_eye("atchison2006"), 2.0)
    with pytest.raises(WrongInput, match="no schematic eye"):
        schematic_eye("emsley")


@pytest.mark.parametrize("key", EYES)
def test_every_number_of_a_schematic_eye_has_its_passport(key):
    numbers = schematic_eye(key).numbers()
    assert len(numbers) >= 11
    for what, one in numbers:
        assert what
        assert len(one.published.source.cite) > 10
        assert len(one.published.valid) > 10
        assert one.published.unit in {"mm", "1"}


def test_what_was_read_in_print_is_told_from_what_is_remembered():
    read = {
        (key, what)
        for key in EYES
        for what, one in schematic_eye(key).numbers()
        if one.published.source.status == "published and read"
    }
    assert read == {
        ("liou_brennan1997", "retina depth, mm"),
        ("atchison2006", "retina depth, mm"),
        ("atchison2006", "cornea front radius, mm"),
    }
