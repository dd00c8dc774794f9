"""Cover, decentration and the opening's size: numbers 8, 9 and 11 of docs/conventions.md."""

import numpy as np
import pytest

from rimwise.exchange.results import cover_document
from rimwise.geometry.cover import bare_arcs, cover_of_circles, least_cover
from rimwise.geometry.curve import ClosedCurve
from rimwise.records.cover import CoverFinding, VectorEstimate
from rimwise.terms.estimate import Estimate

DIRECTIONS_RAD = np.radians(np.arange(360.0))


def ellipse(a: float, b: float, samples: int = 360) -> ClosedCurve:
    angle = np.linspace(0.0, 2.0 * np.pi, samples, endpoint=False)
    return ClosedCurve.through(np.stack([a * np.cos(angle), b * np.sin(angle)], axis=1))


def test_08_cover_is_optic_radius_minus_opening_radius_from_the_optics_centre():
    # Opening of radius 2.5 moved by 0.2 towards +x under an optic of radius 3: along +x its edge
    # lies at 2.7, along -x at 2.3.
    width_mm = cover_of_circles(3.0, 2.5, np.array([0.2, 0.0]), DIRECTIONS_RAD)
    assert width_mm[0] == pytest.approx(0.3)
    assert width_mm[180] == pytest.approx(0.7)


def test_08_positive_is_covered_and_negative_is_bare():
    width_mm = cover_of_circles(3.0, 2.5, np.array([0.0, 0.7]), DIRECTIONS_RAD)
    least_mm, at_deg = least_cover(width_mm)
    # The edge overhangs where the opening went: at 90°, by 2.5 + 0.7 - 3.
    assert (least_mm, at_deg) == (pytest.approx(-0.2), pytest.approx(90.0))
    ((start, end),) = bare_arcs(width_mm)
    assert start < 90.0 < end


def test_09_a_decentration_is_a_vector_with_its_pair_and_no_magnitude_is_stored():
    mm = Estimate(0.1, 0.01)
    finding = CoverFinding(
        "eye.jpg",
        "0" * 64,
        "left",
        "visit",
        "measured",
        decentration={"opening-from-optic": VectorEstimate(mm, mm, mm.times(-1.0), mm)},
    )
    decentration = cover_document(finding)["decentration"]
    for pair, vector in decentration.items():
        assert "-from-" in pair
        assert set(vector) == {"x_mm", "y_mm", "nasal_mm", "superior_mm"}


def test_11_the_diameter_is_the_area_equivalent_one():
    # An ellipse a, b has the area πab and so the diameter 2√(ab).
    curve = ellipse(2.7, 2.4)
    assert curve.equivalent_diameter == pytest.approx(2.0 * np.sqrt(2.7 * 2.4), rel=1e-6)


@pytest.mark.parametrize(("ratio", "circularity"), [(1.0, 1.0), (0.9, 0.9958), (0.8, 0.9816)])
def test_11_circularity_is_4_pi_a_over_p_squared_of_a_smooth_contour(ratio, circularity):
    # Exact values for ellipses by the complete elliptic integral, to four digits; status computed.
    assert ellipse(2.5, 2.5 * ratio).circularity == pytest.approx(circularity, abs=0.0005)
