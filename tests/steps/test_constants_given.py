"""Does what is said of a constant's source count for what it is?"""

import pytest

from rimwise.plan.constants_given import calibration_of


@pytest.mark.parametrize(
    ("source", "counts"),
    [
        ("own series, 41", "own series"),
        ("own series, n = 41, 2 surgeons", "own series"),
        ("Own series 2019, 41 eyes", "own series"),
        ("a printed table, 2019", "named source"),
        ("own series (2019), 12 eyes", "uncalibrated"),
        ("series of my own, 12", "uncalibrated"),
        ("own eyes, 12", "uncalibrated"),
        ("own series, 2019", "uncalibrated"),
        ("own series", "uncalibrated"),
        ("?", "uncalibrated"),
        ("Unknown.", "uncalibrated"),
        (" ", "uncalibrated"),
        (None, "uncalibrated"),
    ],
)
def test_a_year_is_no_number_of_eyes_and_no_name_no_source(source: str | None, counts: str) -> None:
    """Source: this project's own rule, 30 own eyes or a named source."""
    assert calibration_of(source)[1] == counts
