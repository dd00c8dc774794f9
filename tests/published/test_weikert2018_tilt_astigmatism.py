"""Cylinder of a tilted implant against a computed table and the published one.

Sources: Weikert, Golla & Wang 2018 J. Cataract Refract. Surg. 44(6):745-749, abstract, *published
and read* (16, 22, 28 dpt at 5 and 10 degrees); tests/data/tilt_astigmatism_computed.csv, status
*computed* by a program outside this project.
"""

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest

from rimwise.eye.model import EyeModel, Part
from rimwise.eye.refraction import Refraction, narrow_refraction
from rimwise.eye.schematic import eye_optics, schematic_model
from rimwise.optics.pose import Pose
from rimwise.optics.surface import sphere
from rimwise.published.eyes import schematic_eye

DATA = Path(__file__).parents[1] / "data" / "tilt_astigmatism_computed.csv"
LINES = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
ROWS = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(LINES)]
PUBLISHED = {(16, 5): 0.08, (22, 5): 0.11, (28, 5): 0.14,
             (16, 10): 0.33, (22, 10): 0.44, (28, 10): 0.56}  # fmt: skip
AQUEOUS = 1.336


def eye(power: float, index: float, thickness: float, depth: float = 4.5) -> EyeModel:
    """Gullstrand's cornea and an equiconvex implant, sharp on its retina while untilted."""
    step, curvature = 1000.0 * (index - AQUEOUS), 0.0
    for _ in range(60):
        curvature = power / (2.0 * step - step * step * curvature * thickness / (1000.0 * index))
    front, back = schematic_model(schematic_eye("gullstrand1909")).parts[:2]
    radius = 1.0 / curvature
    parts = (
        front,
        back,
        Part("lens front", sphere(-radius, Pose.at(0, 0, -depth)), index),
        Part("lens back", sphere(radius, Pose.at(0, 0, -depth - thickness)), AQUEOUS),
    )
    model = EyeModel("a tilted implant", parts, 3.6)
    return replace(model, retina_depth_mm=-eye_optics(model).points.back_focus_z_mm)


def tilted(power: float, index: float, thickness: float, degrees: float) -> Refraction:
    model = eye(power, index, thickness).with_lens((math.radians(degrees), 0.0), (0.0, 0.0))
    return narrow_refraction(model, (0.0, 0.0))


@pytest.mark.parametrize("row", ROWS)
def test_refraction_in_both_meridians(row):
    found = tilted(row["iol_power_D"], row["iol_index"], row["thickness_mm"], row["tilt_deg"])
    # The table's cornea is not named: four published corneas scatter by 0.7 % here.
    close = {"rel": 0.007, "abs": 2e-4}
    assert found.cylinder_dpt == pytest.approx(row["astig_corneal_plane_D"], **close)
    assert found.sphere_dpt == pytest.approx(row["refr_perp_meridian_D"], **close)
    meridian = found.sphere_dpt + found.cylinder_dpt
    assert meridian == pytest.approx(row["refr_tilt_meridian_D"], **close)
    # The tilt in the horizontal meridian makes that meridian the more short-sighted one.
    assert found.axis_deg == pytest.approx(90.0, abs=1e-6)


@pytest.mark.parametrize(("case", "printed"), PUBLISHED.items())
def test_the_published_table_within_five_hundredths(case, printed):
    """Weikert, Golla & Wang 2018, abstract; dioptres at the corneal plane.

    Within 0.05 dpt is what is asked for. It is not closer (0.03 dpt more at 10 degrees) because
    the abstract names neither cornea, index, shape nor the point that the implant is tilted
    about: about its front instead of its middle these eyes give 0.04 dpt less.
    """
    power, degrees = case
    found = tilted(power, 1.49, 0.8, degrees)
    assert -found.cylinder_dpt == pytest.approx(printed, abs=0.05)


def test_no_tilt_no_cylinder():
    found = tilted(22.0, 1.49, 0.8, 0.0)
    assert abs(found.cylinder_dpt) < 1e-5
    assert abs(found.mean_dpt) < 1e-4


def test_narrow_rays_and_paraxial_matrices_agree():
    """Where nothing is tilted the far point of the matrices is that of a narrow bundle."""
    for key in ("gullstrand1909", "navarro1985", "legrand"):
        model = schematic_model(schematic_eye(key))
        found = narrow_refraction(model, (0.0, 0.0))
        assert found.mean_dpt == pytest.approx(eye_optics(model).refraction_dpt, abs=1e-5)
