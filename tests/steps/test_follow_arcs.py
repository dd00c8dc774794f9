"""Bare arcs of a course: what is not in sight is not told as if it ended there.

Own derivation: a rim of known arc, hidden in part; what must be told follows from it.
"""

from typing import Any

from rimwise.follow.arcs import bare_arcs
from rimwise.records.cover import CoverFinding, CoverProfile
from rimwise.records.healing import Healing, Visit
from rimwise.report.healing_words import _drift_words, course_foot
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side

LEFT: Side = "left"


def visit(day: int, bare: tuple[int, int], seen: tuple[int, int], arc: tuple[float, float]) -> Any:
    """A visit whose rim is bare from the first to the second direction, and seen in part."""
    width: list[float | None] = [
        (-0.2 if bare[0] <= d <= bare[1] else 0.3) if seen[0] <= d <= seen[1] else None
        for d in range(360)
    ]
    sds = tuple(None if w is None else 0.02 for w in width)
    cover = CoverProfile(
        width_mm=tuple(width),
        sd_mm=sds,
        sd_given_optic_mm=sds,
        min_mm=None,
        mean_mm=None,
        area_percent=None,
        bare_arcs_deg=(arc,),
        bare_total_deg=None,
        assessable_deg=sum(w is not None for w in width),
        complete=False,
        p_complete=0.0,
    )
    finding = CoverFinding("e.jpg", "0" * 64, LEFT, "visit", "measured", cover=cover)
    return Visit(day, finding)


def words(*visits: Any) -> str:
    return course_foot(Healing("E-1", LEFT, 0, visits, bare_arcs(visits, LEFT)))[0]


def test_an_arc_that_is_seen_whole_is_told_with_its_growth() -> None:
    first = visit(30, (60, 80), (0, 359), (59.5, 80.5))
    later = visit(30 + 61, (58, 84), (0, 359), (57.5, 84.5))
    arc = bare_arcs((first, later), LEFT)[0]
    assert (arc.from_seen, arc.to_seen, arc.width_deg) == (True, True, 27.0)
    # 2° and 4° in 61 days.
    assert arc.growth_from_deg_per_month == 1.0
    assert arc.growth_to_deg_per_month == 2.0
    assert words(first, later).startswith("Bare arc superior, 27° wide, 0.20 mm deep")


def test_an_arc_of_which_a_part_is_in_sight_may_go_on() -> None:
    first = visit(30, (60, 90), (0, 359), (59.5, 90.5))
    later = visit(340, (60, 90), (68, 73), (67.5, 73.5))
    arc = bare_arcs((first, later), LEFT)[0]
    assert (arc.from_seen, arc.to_seen) == (False, False)
    assert arc.growth_from_deg_per_month is None
    assert arc.growth_to_deg_per_month is None, "nobody has seen it shrink"
    assert arc.document()["ends_seen"] == {"from": False, "to": False}
    assert "at least 6° wide" in words(first, later)
    assert "neither end is in sight" in words(first, later)


def test_an_end_that_was_not_seen_then_has_not_grown() -> None:
    first = visit(30, (60, 90), (68, 359), (67.5, 90.5))
    later = visit(91, (60, 90), (0, 359), (59.5, 90.5))
    arc = bare_arcs((first, later), LEFT)[0]
    assert (arc.growth_from_deg_per_month, arc.growth_to_deg_per_month) == (None, 0.0)
    assert "its second end, counter-clockwise, grows by +0.0° a month" in words(first, later)


def test_a_week_tells_no_growth_of_a_month() -> None:
    first = visit(30, (60, 80), (0, 359), (59.5, 80.5))
    later = visit(37, (59, 81), (0, 359), (58.5, 81.5))
    assert bare_arcs((first, later), LEFT)[0].growth_from_deg_per_month is None


def test_the_way_of_a_drift_is_told_without_a_sign() -> None:
    """An optic that leaves its bare arc has moved away from it, not minus so much towards it."""
    told = [_drift_words(Estimate(value, 0.03)) for value in (0.34, -0.34, 0.02)]
    assert told[0].startswith("the optic has moved 0.34 mm towards it")
    assert told[1].startswith("the optic has moved 0.34 mm away from it")
    assert "the other way" in told[2]
    assert "-" not in "".join(told)
