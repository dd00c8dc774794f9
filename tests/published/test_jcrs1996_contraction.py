"""An opening that shrinks by 13.87 % in diameter shrinks by 25.8 % in area: arithmetic only.

Source: a series on contraction of the opening, J Cataract Refract Surg 1996 (quoted at second
hand; status of the arithmetic: *computed*). The paper's -13.87 % is taken as given.
Tolerance: half the last digit.
"""

import numpy as np
import pytest

from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.fourier import FourierRadius


def curve(scale: float) -> ClosedCurve:
    coefficients = scale * np.array([2.6, 0.0, 0.0, 0.08, 0.02, 0.0, 0.05])
    series = FourierRadius(coefficients, np.zeros((7, 7)), 0.0, np.ones(0, dtype=bool))
    return ClosedCurve.from_radius(series, (0.1, 0.2))


def test_diameter_to_area() -> None:
    before, after = curve(1.0), curve(1.0 - 0.1387)
    diameter = 100.0 * (after.equivalent_diameter / before.equivalent_diameter - 1.0)
    assert diameter == pytest.approx(-13.87, abs=1e-9)
    assert 100.0 * (after.area / before.area - 1.0) == pytest.approx(-25.8, abs=0.05)
