"""Equivalent diameters of published opening areas: arithmetic only.

Source: Lee, Lee & Joo, BMC Ophthalmology 2018 (quoted at second hand; status of the arithmetic:
*computed*): opening areas 21.55 and 20.34 mm². The paper's
areas are taken as given and its measurements are not tested; the diameters 5.238 and 5.089 mm are
2√(A/π) of them, worked by hand. Tolerance: half the last digit.
"""

import math

import numpy as np
import pytest

from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.fourier import FourierRadius


@pytest.mark.parametrize(("area_mm2", "diameter_mm"), [(21.55, 5.238), (20.34, 5.089)])
def test_area_to_diameter(area_mm2, diameter_mm):
    """A curve of that area, round or lobed, has that equivalent diameter."""
    for wave in (0.0, 0.2):
        mean = math.sqrt(area_mm2 / math.pi - 0.5 * wave**2)
        coefficients = np.array([mean, 0.0, 0.0, 0.0, 0.0, wave, 0.0])
        series = FourierRadius(coefficients, np.zeros((7, 7)), 0.0, np.ones(0, dtype=bool))
        curve = ClosedCurve.from_radius(series, (0.3, -0.2))
        assert curve.area == pytest.approx(area_mm2, abs=1e-9)
        assert curve.equivalent_diameter == pytest.approx(diameter_mm, abs=5.1e-4)
