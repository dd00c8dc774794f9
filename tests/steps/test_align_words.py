"""The turn in words and the reference's document."""

import pytest

from rimwise.align.frame import check_reference
from rimwise.align.words import turn_words
from rimwise.exchange.frames import _EXAMPLE, reference_document, reference_of
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput


@pytest.mark.parametrize(
    ("x_deg", "side", "word"),
    [(2.0, "right", "nasal"), (2.0, "left", "temporal"), (-2.0, "right", "temporal")],
)
def test_a_turn_is_told_towards_and_by_side(x_deg, side, word):
    """Convention 20: the rotation still to be made; convention 4: nasal is +x in a right eye."""
    assert word in turn_words(x_deg, 0.0, side)


def test_a_reference_comes_back_as_it_was_written():
    assert reference_of(reference_document(_EXAMPLE), "r.json") == _EXAMPLE


@pytest.mark.parametrize(
    "change",
    [
        {"schema": "rimwise.frame/1"},
        {"side": "both"},
        {"eye": {"parameters": ["a"], "mean": [0.0, 1.0], "covariance": [[1.0]]}},
        {"eye": {"parameters": ["a"], "mean": [float("nan")], "covariance": [[1.0]]}},
        {"lamps": None},
    ],
)
def test_what_is_no_reference_is_refused_in_a_sentence(change):
    with pytest.raises(WrongInput, match=r"r\.json"):
        reference_of(reference_document(_EXAMPLE) | change, "r.json")


def test_a_reference_of_another_eye_is_refused_by_name():
    with pytest.raises(WrongInput, match="right eye"):
        check_reference(PictureSheet("right"), _EXAMPLE)
    with pytest.raises(WrongInput, match="E-1"):
        check_reference(PictureSheet("left", code="E-2"), _EXAMPLE)
    check_reference(PictureSheet("left"), _EXAMPLE)
