"""What goes along with a course: refraction, acuity and tilt of the visits, contact by hand."""

import math
from dataclasses import replace

from rimwise.geometry.arcs import arc_span_deg
from rimwise.records.healing import AtVisit, Healing, Visit
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

Arc = tuple[float, float]


def with_contact(course: Healing, marked: tuple[Arc, ...]) -> Healing:
    """Behind which bare arcs do front and back capsule touch, as a reader marked it?

    Parameters
    ----------
    course : Healing
    marked : tuple of (from_deg, to_deg)
        Counter-clockwise, examiner's directions in the last picture. An arc touches where any
        part of it is marked; with no mark at all nothing is told.

    Examples
    --------
    >>> with_contact(Healing("E-1", "left", 0, ()), ((10.0, 40.0),)).bare_arcs
    ()
    """
    if not marked:
        return course
    arcs = tuple(
        replace(arc, capsules_touch=any(_meet((arc.from_deg, arc.to_deg), one) for one in marked))
        for arc in course.bare_arcs
    )
    return replace(course, bare_arcs=arcs)


def _meet(one: Arc, other: Arc) -> bool:
    return _begins_in(one, other) or _begins_in(other, one)


def _begins_in(one: Arc, other: Arc) -> bool:
    return (one[0] - other[0]) % 360.0 <= arc_span_deg(other)


def with_visits(course: Healing, told: dict[int, AtVisit]) -> Healing:
    """Which course is it with what the visit sheets tell of its days?

    Parameters
    ----------
    course : Healing
    told : mapping of day to AtVisit

    Raises
    ------
    WrongInput
        A sheet is of a day without a picture.

    Examples
    --------
    >>> with_visits(Healing("E-1", "left", 0, ()), {}).visits
    ()
    """
    days = {visit.day for visit in course.visits}
    for day in told:
        if day not in days:
            raise WrongInput(
                f"a visit sheet of {course.code} is of day {day}, and its pictures are of days "
                f"{', '.join(str(one) for one in sorted(days))}; give the day of a picture"
            )
    visits = tuple(replace(one, at_visit=told.get(one.day)) for one in course.visits)
    first = next((one for one in visits if _tilt(one) is not None), None)
    return replace(course, visits=tuple(_with_tilt(one, first) for one in visits))


def _tilt(visit: Visit) -> tuple[Estimate, Estimate] | None:
    at = visit.at_visit
    if at is None or at.tilt_nasal_deg is None or at.tilt_superior_deg is None:
        return None
    return at.tilt_nasal_deg, at.tilt_superior_deg


def _with_tilt(visit: Visit, first: Visit | None) -> Visit:
    """Add how far the optic has tilted since the first visit whose sheet tells."""
    now, was = _tilt(visit), None if first is None else _tilt(first)
    if visit is first or visit.change is None or now is None or was is None:
        return visit
    nasal, superior = (
        Estimate(after.value - before.value, math.hypot(after.sd, before.sd), "visit sheets")
        for before, after in zip(was, now, strict=True)
    )
    return replace(
        visit, change=replace(visit.change, tilt_nasal_deg=nasal, tilt_superior_deg=superior)
    )
