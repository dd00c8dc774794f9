"""Which numbers of a case sheet should be looked at again? Rules warn and never stop a plan.

The limits are data, each with its source: ``published/biometry_rules.toml``.
"""

from collections.abc import Iterator

from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.lens_power import ExpectedRefraction
from rimwise.records.picture import CorneaSheet
from rimwise.terms.units import dpt_from_radius_mm

_TABLE = "biometry_rules"
# Rule -> what is measured, in words; a range where the rule has a least and a most.
_RANGES = {
    "axial": "the axial length",
    "radius": "the mean corneal radius",
    "chamber": "the chamber depth",
    "lens": "the lens thickness",
    "white": "white-to-white",
    "bag": "the diameter of the bag",
    "thickness": "the corneal thickness",
    "back_ratio": "the ratio of back to front corneal radius",
    "segment": "chamber depth and lens thickness together",
    "segment_share": "the share of chamber and lens in the axial length",
    "cylinder": "the corneal cylinder",
}
_HINTS = {
    "segment": "check whether the chamber depth runs from the corneal front and is a real depth, "
    "not from the corneal back and not an apparent one",
    "segment_share": "check the axial length, its unit and the eye it belongs to",
    "back_ratio": "check that both surfaces are in mm and that the cornea was never operated",
    "radius": "check the radii, and the index if they were turned from dioptres",
    "bag": "measure again; an implant sits less firmly in a wide bag and bends in a narrow one",
    "chamber": "check that it runs from the corneal front to the front of the natural lens",
}
_FELLOW = {
    "fellow_axial": ("axial", "axial lengths"),
    "fellow_power": ("power", "mean corneal powers"),
    "fellow_chamber": ("chamber", "chamber depths"),
    "fellow_lens": ("lens", "lens thicknesses"),
    "fellow_white": ("white", "white-to-white distances"),
}


def biometry_warnings(case: CaseSheet) -> tuple[Reason, ...]:
    """Which numbers of this eye are out of the ordinary, or do not fit each other?

    Examples
    --------
    >>> from rimwise.records.case import CaseLengths
    >>> case = CaseSheet("E-1", "right", "none", lengths=CaseLengths(28.1, 3.1, 4.5))
    >>> [one.code for one in biometry_warnings(case)]
    ['biometry-axial']
    """
    values = _values(case)
    operated = case.corneal_surgery != "none"
    found = []
    for rule, what in _RANGES.items():
        if rule not in values or (operated and rule in ("radius", "back_ratio", "thickness")):
            continue
        for end, sign in (("least", -1.0), ("most", 1.0)):
            limit = _limit(f"{rule}_{end}")
            if limit is not None and sign * (values[rule] - limit[0]) > 0.0:
                found.append(_outside(rule, what, values[rule], (*limit, end)))
    return tuple(found)


def fellow_warnings(case: CaseSheet, fellow: CaseSheet) -> tuple[Reason, ...]:
    """Which numbers of the two eyes of one person do not go together, and is it the other eye?

    Examples
    --------
    >>> one = CaseSheet("E-1", "right", "none")
    >>> [reason.code for reason in fellow_warnings(one, one)]
    ['fellow-side']
    """
    found = []
    if fellow.side == case.side:
        sentence = (
            f"Both sheets are of a {case.side} eye; check the side of {case.code} and of "
            f"{fellow.code}."
        )
        found.append(Reason("fellow-side", sentence))
    if None not in (case.person, fellow.person) and case.person != fellow.person:
        sentence = f"The sheets name two persons, {case.person} and {fellow.person}; check them."
        found.append(Reason("fellow-person", sentence))
    one, other = _values(case), _values(fellow)
    shared = [name for name in one if name in other]
    if len(shared) >= _FEWEST_ALIKE and all(one[name] == other[name] for name in shared):
        sentence = "All numbers of the two eyes are alike to the last digit; check for a copy."
        found.append(Reason("fellow-copy", sentence))
    for rule, (name, what) in _FELLOW.items():
        limit, unit, status = _limit(rule) or (0.0, "", "")
        if name in shared and abs(one[name] - other[name]) > limit:
            sentence = (
                f"The {what} of the two eyes are {abs(one[name] - other[name]):.2f} {unit} apart, "
                f"more than {limit:g} {unit} ({status}); measure both again, and check the sides."
            )
            found.append(Reason(rule.replace("_", "-"), sentence))
    return tuple(found)


_FEWEST_ALIKE = 3  # two numbers of two eyes may well agree to a hundredth


def goal_warning(case: CaseSheet, lines: tuple[ExpectedRefraction, ...]) -> tuple[Reason, ...]:
    """Does the planned power leave an eye far from what is wanted: wrong eye, wrong number?

    Examples
    --------
    >>> goal_warning(CaseSheet("E-1", "right", "none"), ())
    ()
    """
    power, goal = None if case.implant is None else case.implant.power_dpt, case.goal.refraction_dpt
    if power is None or goal is None:
        return ()
    left = [one.refraction_dpt.value for one in lines if one.power_dpt == power]
    limit, _, status = _limit("refraction_from_goal") or (0.0, "", "")
    if not left or min(abs(value - goal) for value in left) <= limit:
        return ()
    return (
        Reason(
            "power-far-from-goal",
            f"Every way of reckoning expects {power:g} dpt to leave more than {limit:g} dpt from "
            f"the wanted {goal:+.2f} dpt ({status}); check side, power and biometry.",
        ),
    )


def _limit(rule: str) -> tuple[float, str, str] | None:
    try:
        entry = published_value(_TABLE, rule)
    except KeyError:
        return None
    return entry.value, entry.unit, entry.source.status


def _outside(rule: str, what: str, value: float, limit: tuple[float, str, str, str]) -> Reason:
    bound, unit, status, end = limit
    shown = "" if unit == "1" else f" {unit}"
    side = "below" if end == "least" else "above"
    hint = _HINTS.get(rule, "measure again")
    return Reason(
        f"biometry-{rule.replace('_', '-')}",
        f"{what[0].upper()}{what[1:]} is {value:.2f}{shown}, {side} {bound:g}{shown} ({status}): "
        f"{hint}.",
    )


def _values(case: CaseSheet) -> dict[str, float]:
    """Return what was measured, by the names of the rules."""
    return {name: value for name, value in _measured(case) if value is not None}


def _measured(case: CaseSheet) -> Iterator[tuple[str, float | None]]:
    lengths, cornea = case.lengths, case.cornea
    radius = _mean(cornea.radius_flat_mm, cornea.radius_steep_mm) or cornea.radius_mm
    back = _mean(cornea.posterior_flat_mm, cornea.posterior_steep_mm)
    chamber, lens, axial = lengths.chamber_depth_mm, lengths.lens_thickness_mm, lengths.axial_mm
    index = published_value("cornea", "index_keratometric").value
    yield "axial", axial
    yield "radius", radius
    yield "power", None if radius is None else dpt_from_radius_mm(radius, index)
    yield "cylinder", _cylinder_dpt(cornea, index)
    yield "chamber", chamber
    yield "lens", lens
    yield "white", lengths.white_to_white_mm
    yield "bag", lengths.bag_diameter_mm
    yield "thickness", None if cornea.thickness_um is None else cornea.thickness_um / 1000.0
    yield "back_ratio", None if back is None or radius is None else back / radius
    if chamber is not None and lens is not None:
        yield "segment", chamber + lens
        yield "segment_share", None if axial is None else (chamber + lens) / axial


def _mean(flat_mm: float | None, steep_mm: float | None) -> float | None:
    if flat_mm is None or steep_mm is None:
        return None
    return 2.0 / (1.0 / flat_mm + 1.0 / steep_mm)


def _cylinder_dpt(cornea: CorneaSheet, index: float) -> float | None:
    flat, steep = cornea.radius_flat_mm, cornea.radius_steep_mm
    if flat is None or steep is None:
        return None
    return dpt_from_radius_mm(steep, index) - dpt_from_radius_mm(flat, index)
