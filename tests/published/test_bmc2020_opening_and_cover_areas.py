"""Published areas of opening and cover add up to the optic: arithmetic only.

Source: a series of toric implants in long eyes, BMC Ophthalmology 2020 (quoted at second hand;
status of the arithmetic: *computed*): mean opening area
21.04 mm², mean covered area 7.40 mm², 6.0 mm optic. The numbers are taken as given; what is
tested is that our two areas partition the optic in the same way. Tolerance: 1 % of π·3² for the
paper's means (each printed to 0.01, of different eyes), rounding for our own.
"""

import math

import numpy as np
import pytest

from rimwise.geometry.cover import cover_areas, cover_of_circles


def test_the_published_means_fill_the_optic():
    assert pytest.approx(math.pi * 3.0**2, rel=0.01) == 21.04 + 7.40


def test_an_opening_of_that_area_leaves_that_cover():
    radius_mm = math.sqrt(21.04 / math.pi)
    widths = cover_of_circles(
        3.0, radius_mm, np.array([0.15, 0.1]), np.radians(np.arange(0.0, 360.0))
    )
    areas = cover_areas(3.0, widths)
    assert areas.outside_mm2 == 0.0
    assert areas.covered_mm2 + 21.04 == pytest.approx(math.pi * 3.0**2, abs=1e-9)
    # The paper's own two means disagree with each other by 0.6 % of the optic, 0.17 mm².
    assert areas.covered_mm2 == pytest.approx(7.40, abs=0.01 * math.pi * 3.0**2)
