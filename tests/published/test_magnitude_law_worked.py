"""Published means and sd of size and decentration, combined as two normal laws: arithmetic only.

Source: the means and sd of two arms of a published series, quoted at second hand; status of the
arithmetic: *computed* (opening 5.24 ± 0.16 mm with
decentration 0.30 ± 0.14 mm; 5.25 ± 0.10 mm with 0.15 ± 0.08 mm; 6.0 mm optic). The shares 69 % and
99 % are worked by hand here, Φ(0.496) and Φ(2.385), and are not the paper's findings.
"""

import pytest

from rimwise.stats.containment import (
    ContainmentSpec,
    p_contained,
    p_contained_by_magnitude,
)


def test_wider_spread():
    assert p_contained_by_magnitude(6.0, (5.24, 0.16), (0.30, 0.14)) == pytest.approx(
        0.69, abs=5e-3
    )


def test_narrower_spread():
    assert p_contained_by_magnitude(6.0, (5.25, 0.10), (0.15, 0.08)) == pytest.approx(
        0.99, abs=5e-3
    )


def test_an_optic_that_rests_a_third_of_a_millimetre_off_the_visual_axis():
    """The hand's scatter alone: 0.20 mm a component, 0.10 mm of diameter; no scatter of the rest.

    Source: 0.82 and 0.53 *computed* outside the project; this model gives them for the mean
    diameter of the series above, 5.24 mm. At 5.25 mm it gives the 0.8145 and 0.5200 of the
    computed table of containment. The 0.30 mm between visual axis and lens centre are from a
    series of 35 eyes, read at second hand.
    """

    def chance(diameter_mm, off_mm):
        law = ContainmentSpec(6.0, diameter_mm, 0.10, (0.20, 0.20), (off_mm, 0.0))
        return p_contained(law)

    # Half the last printed digit.
    assert chance(5.24, 0.0) == pytest.approx(0.82, abs=5e-3)
    assert chance(5.24, 0.30) == pytest.approx(0.53, abs=5e-3)
    assert chance(5.25, 0.0) == pytest.approx(0.8145043923, abs=5e-11)
    assert chance(5.25, 0.30) == pytest.approx(0.5199622948, abs=5e-11)
