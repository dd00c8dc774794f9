"""A course of healing in words: a row a visit, and what follows from them."""

from rimwise.records.healing import AtVisit, BareArc, Change, Healing, Visit
from rimwise.report.place_words import shift_words
from rimwise.report.words import estimate_words, with_minus
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, direction_words, examiner_from_nasal_superior

Row = tuple[str, ...]


def course_rows(course: Healing) -> list[Row]:
    """Which rows tell the visits: day, status, least cover, area, shift, turn, edge?

    Examples
    --------
    >>> course_rows(Healing("E-1", "left", 0, ()))
    []
    """
    rows = (_row(visit, course.side) for visit in course.visits)
    return [tuple(with_minus(cell) for cell in row) for row in rows]


def _row(visit: Visit, side: Side) -> Row:
    cover, change = visit.finding.cover, visit.change
    least = None if cover is None else cover.min_mm
    told = "–" if least is None else f"{least.value:.2f} ± {least.sd:.2f} mm"
    if change is None:
        words = "first" if visit.finding.status != "refused" else "refused"
        return (str(visit.day), words, told, "–", "–", "–", "–")
    moved = [m for m in change.edge_move_mm if m is not None]
    edge = f"{min(moved):+.2f} to {max(moved):+.2f} mm" if moved else "–"
    return (
        str(visit.day),
        visit.finding.status,
        told,
        _percent(change.area_percent),
        _vector(change.shift_nasal_mm, change.shift_superior_mm, side) or "–",
        estimate_words(change.turn_deg, "°") if change.turn_deg is not None else "–",
        edge,
    )


def _percent(estimate: Estimate | None) -> str:
    if estimate is None:
        return "–"
    return f"{estimate.value:+.1f} ± {estimate.sd:.1f} %"


def course_foot(course: Healing) -> list[str]:
    """Which sentences follow the table: bare arcs, what is expected, flags?

    Examples
    --------
    >>> course_foot(Healing("E-1", "left", 0, ()))
    ['No flag is raised.']
    """
    lines = [*_apart(course), *(_arc_words(arc, course.side) for arc in course.bare_arcs)]
    for one in course.forecast:
        low, high = one.least_cover_mm.interval()
        lines.append(
            f"Expected least cover on day {one.day}: {one.least_cover_mm.value:.2f} mm, 95 % "
            f"between {low:.2f} and {high:.2f} mm (what is usual is common practice, no source)."
        )
    flags = [f"Flag: {flag.sentence}" for flag in course.flags] or ["No flag is raised."]
    return [with_minus(line) for line in (*lines, *flags)]


def _apart(course: Healing) -> list[str]:
    """How have optic and opening moved, each by itself, by the last visit that tells both?"""
    for visit in reversed(course.visits):
        change = visit.change
        if change is None:
            continue
        optic = _vector(change.shift_nasal_mm, change.shift_superior_mm, course.side)
        opening = _vector(change.opening_nasal_mm, change.opening_superior_mm, course.side)
        if optic and opening:
            return [
                f"By day {visit.day} the opening has moved {opening} and the optic {optic} against "
                "the limbus."
            ]
    return []


def _vector(nasal: Estimate | None, superior: Estimate | None, side: Side) -> str:
    if nasal is None or superior is None:
        return ""
    vector = examiner_from_nasal_superior(nasal.value, superior.value, side)
    return f"{shift_words(vector, side)} (± {nasal.sd:.2f} mm)"


def along_lines(course: Healing) -> list[str]:
    """Which sentences tell refraction, acuity and posterior capsule of each visit?

    Examples
    --------
    >>> along_lines(Healing("E-1", "left", 0, ()))
    []
    """
    lines = []
    for visit in course.visits:
        told = [] if visit.at_visit is None else _at_visit(visit.at_visit)
        told += _tilted(visit.change)
        if visit.opacification_score is not None:
            told.append(f"opacity of the posterior capsule {visit.opacification_score:.1f} of 4")
        if told:
            lines.append(f"Day {visit.day}: {', '.join(told)}.")
    return lines


def _tilted(change: Change | None) -> list[str]:
    if change is None or change.tilt_nasal_deg is None or change.tilt_superior_deg is None:
        return []
    nasal, superior = change.tilt_nasal_deg, change.tilt_superior_deg
    return [
        f"which is {nasal.value:+.1f}° nasal and {superior.value:+.1f}° superior (± "
        f"{nasal.sd:.1f}°) from the first tilt told"
    ]


def _at_visit(told: AtVisit) -> list[str]:
    words = []
    if told.sphere_dpt is not None:
        lens = f"{told.sphere_dpt:+.2f} dpt"
        if told.cylinder_dpt:
            lens += f" {told.cylinder_dpt:+.2f} dpt at {told.axis_deg or 180.0:.0f}°"
        words.append(f"refraction {lens}")
    if told.acuity_logmar is not None:
        words.append(f"acuity {told.acuity_logmar:.2f} logMAR")
    if told.acuity_category is not None:
        words.append(f"acuity {told.acuity_category}")
    if told.tilt_nasal_deg is not None and told.tilt_superior_deg is not None:
        words.append(
            f"front of the optic tilted {told.tilt_nasal_deg.value:+.1f}° nasal and "
            f"{told.tilt_superior_deg.value:+.1f}° superior (± {told.tilt_nasal_deg.sd:.1f}°)"
        )
    return words


def _arc_words(arc: BareArc, side: Side) -> str:
    middle = direction_words(arc.from_deg + 0.5 * arc.width_deg, side)
    haptic = {True: "a haptic within 30°", False: "no haptic within 30°", None: ""}
    drift = ""
    if arc.drift_towards_mm is not None:
        drift = _drift_words(arc.drift_towards_mm)
    touch = {True: "front and back capsule touch (marked by hand)",
             False: "no contact marked by hand", None: ""}  # fmt: skip
    told = (haptic[arc.haptic_within_30_deg], touch[arc.capsules_touch], _grown_words(arc), drift)
    parts = [one for one in told if one]
    size = f"{arc.width_deg:.0f}° wide, {arc.depth_mm:.2f} mm deep, {arc.area_mm2:.2f} mm²"
    if not (arc.from_seen and arc.to_seen):
        ends = "neither end is" if arc.from_seen == arc.to_seen else "one end is not"
        size = f"at least {size} ({ends} in sight: it may go on)"
    head = f"Bare arc {middle}, {size}"
    return f"{head}: {'; '.join(parts)}." if parts else f"{head}."


def _drift_words(towards_mm: Estimate) -> str:
    """Tell the way that the optic has gone by its likelier direction."""
    low, high = towards_mm.interval()
    far, way = towards_mm.value, "towards"
    if far < 0.0:
        far, low, high, way = -far, -high, -low, "away from"
    least = f"{low:.2f}" if low >= 0.0 else f"{-low:.2f} the other way"
    return f"the optic has moved {far:.2f} mm {way} it (95 %: {least} to {high:.2f} mm)"


def _grown_words(arc: BareArc) -> str:
    ends = (arc.growth_from_deg_per_month, arc.growth_to_deg_per_month)
    told = [f"{one:+.1f}" for one in ends if one is not None]
    if not told:
        return ""
    if len(told) == 2:
        return f"its ends grow by {' and '.join(told)}° a month"
    which = "first" if ends[0] is not None else "second"
    return f"its {which} end, counter-clockwise, grows by {told[0]}° a month"


def healing_description(course: Healing) -> str:
    """What does the drawing of a course show, for those who cannot see it?

    Examples
    --------
    >>> healing_description(Healing("E-1", "left", 0, ()))
    'Course of E-1, left eye, 0 visits.'
    """
    names = ", ".join(
        f"day {visit.day} ({visit.finding.picture.rsplit('/', 1)[-1]})" for visit in course.visits
    )
    head = f"Course of {course.code}, {course.side} eye, {len(course.visits)} visits"
    return f"{head}: {names}." if names else f"{head}."
