"""Eyes of four surfaces: the plan's closed form and the exact trace against computed values.

Source: two eyes worked by two routes, a chain of vergences and a matrix of 2 × 2, outside the
project; status: *computed*. Depths run from the corneal front.
"""

import pytest

from rimwise.eye.implant import implant_parts
from rimwise.eye.model import EyeModel, Part
from rimwise.eye.refraction import narrow_refraction
from rimwise.optics.pose import Pose
from rimwise.optics.surface import conic
from rimwise.plan.thick_eye import ThickEye
from rimwise.plan.vergence import at_spectacles_dpt
from rimwise.records.eye import ImplantShape

# front, back, thickness of the cornea; depth of the implant's front, its radii, thickness, index;
# retina; power of the implant, refraction at the cornea and 12 mm before it.
EYES = [
    ((7.7, 6.8, 0.5), (4.7, 18.0, 18.0, 0.8, 1.47), 23.5, (14.858728479, 4.335962626, 4.121513865)),
    (
        (7.8, 6.5, 0.55),
        (4.9, 14.0, 22.0, 0.75, 1.55),
        24.0,
        (24.941041056, -2.934300073, -3.041392367),
    ),
]


def shape(front, back, thickness, index, power):
    return ImplantShape(6.0, 0.2, thickness, index, front, back, back, 0.0, 0.0, power)


@pytest.mark.parametrize(("cornea", "lens", "retina", "values"), EYES)
def test_refraction_by_closed_form(cornea, lens, retina, values):
    depth, front, back, thickness, index = lens
    implant = shape(front, back, thickness, index, values[0])
    eye = ThickEye(*cornea, implant, depth + thickness / 2.0, retina)
    # Half the last printed digit.
    assert float(eye.at_cornea_dpt()) == pytest.approx(values[1], abs=5e-10)
    assert float(eye.refraction_dpt()) == pytest.approx(values[2], abs=5e-10)


@pytest.mark.parametrize(("cornea", "lens", "retina", "values"), EYES)
def test_refraction_by_exact_rays(cornea, lens, retina, values):
    (front, back, thick), (depth, lens_front, lens_back, lens_thick, index) = cornea, lens
    parts = (
        Part("cornea front", conic(-front, 0.0, Pose(), 8.0), 1.376),
        Part("cornea back", conic(-back, 0.0, Pose.at(0.0, 0.0, -thick), 8.0), 1.336),
        *implant_parts(shape(lens_front, lens_back, lens_thick, index, values[0]), depth, 1.336),
    )
    model = EyeModel("four surfaces", parts, 3.5, retina)
    found = narrow_refraction(model, (0.0, 0.0)).mean_dpt
    # The bundle is 0.0024 mm high: some 0.3 dpt/mm² of aberration leave 2e-6 dpt.
    assert found == pytest.approx(values[1], abs=3e-6)
    assert float(at_spectacles_dpt(found)) == pytest.approx(values[2], abs=3e-6)


@pytest.mark.parametrize(("cornea", "lens", "retina", "values"), EYES)
def test_power_of_the_implant(cornea, lens, retina, values):
    _, front, back, thickness, index = lens
    first, second = (1000.0 * (index - 1.336) / r for r in (front, back))
    power = first + second - thickness / 1000.0 / index * first * second
    assert power == pytest.approx(values[0], abs=5e-10)
