"""Grade 2 over 0.4 of the area and grade 1 over 0.3 score 1.1.

Source: the published definition of a graded area score of the rear capsule, Σ grade × share with
grades 0 to 4 (quoted at second hand; status of the arithmetic: *computed*).
"""

import pytest

from rimwise.measure.opacification import graded_score
from rimwise.terms.errors import WrongInput


def test_worked_example() -> None:
    assert graded_score((0.3, 0.3, 0.4)) == pytest.approx(1.1, abs=1e-12)


def test_ends() -> None:
    assert graded_score((1.0,)) == 0.0
    assert graded_score((0.0, 0.0, 0.0, 0.0, 1.0)) == 4.0


@pytest.mark.parametrize("shares", [(0.6, 0.6), (-0.1, 0.4), (0.1,) * 6])
def test_shares_of_no_single_area_are_refused(shares: tuple[float, ...]) -> None:
    with pytest.raises(WrongInput):
        graded_score(shares)
