"""Published means and sd of size and decentration, combined as two normal laws: arithmetic only.

Source: the means and sd of two arms of a published series, quoted at second hand; status of the
arithmetic: *computed* (opening 5.24 ± 0.16 mm with
decentration 0.30 ± 0.14 mm; 5.25 ± 0.10 mm with 0.15 ± 0.08 mm; 6.0 mm optic). The shares 69 % and
99 % are worked by hand here, Φ(0.496) and Φ(2.385), and are not the paper's findings.
"""

import pytest

from rimwise.stats.containment import p_contained_by_magnitude


def test_wider_spread():
    assert p_contained_by_magnitude(6.0, (5.24, 0.16), (0.30, 0.14)) == pytest.approx(
        0.69, abs=5e-3
    )


def test_narrower_spread():
    assert p_contained_by_magnitude(6.0, (5.25, 0.10), (0.15, 0.08)) == pytest.approx(
        0.99, abs=5e-3
    )
