"""What spoils the plan first, and how far centring, size, tilt and rotation may go."""

import math
from dataclasses import dataclass

from rimwise.eye.build import eye_model
from rimwise.eye.model import EyeModel
from rimwise.eye.refraction import narrow_refraction
from rimwise.optics.refraction import PowerVector
from rimwise.plan.chance import Chance
from rimwise.plan.sources import Sources, gather_sources
from rimwise.plan.targets import find_target
from rimwise.plan.traced import FORMULA, placed_record
from rimwise.plan.traced_eye import trace_lacks, traced_eye, traced_numbers
from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet
from rimwise.records.lens_power import BandSource, ExpectedRefraction, ToricPlan
from rimwise.records.margin import Allowed, AllowedTarget, AllowedThing, CoverSwing, Margin
from rimwise.records.plan import CentrePlan, Plan

_MOST_TILT_DEG = 20.0  # more is no implant in a bag
_MOST_TURN_DEG = 45.0  # past it a toric implant does not lose, it changes sides
_HALVINGS = 16  # to a thousandth of a degree
_DEPTHS: dict[BandSource, AllowedThing] = {
    "lens-position": "implant-depth",
    "axial-length": "axial-length",
    "keratometry": "corneal-radius",
}


def plan_margin(case: CaseSheet, plan: Plan) -> Margin | None:
    """What spoils this plan first, and how far may each thing go alone?

    Cover: with each source gone and twice as large, all others as they are. Refraction: its
    band. Tolerances: one thing moves, everything else is exactly as expected.

    Parameters
    ----------
    case : CaseSheet
    plan : Plan
        Made from this sheet.

    Returns
    -------
    Margin or None
        None where neither an opening nor a refraction is planned.

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import OpeningWish, PlannedImplant, Spread
    >>> hand = Spread((0.0, 0.0), (0.2, 0.2), 0.0, 0.1, (0.0, 0.0), "opening")
    >>> case = CaseSheet("E-1", "right", "none", implant=PlannedImplant(6.0), spread=hand,
    ...                  opening=OpeningWish(5.2))
    >>> margin = make_plan(case).margin
    >>> margin.weakest_of_cover, [(one.thing, round(one.value, 2)) for one in margin.allowed[:2]]
    ('centring-scatter', [('centring', 0.4), ('size', 0.8)])
    """
    chosen, line = plan.chosen, expected_line(case, plan)
    if chosen is None and line is None:
        return None
    cover: tuple[CoverSwing, ...] = ()
    allowed: tuple[Allowed, ...] = ()
    if chosen is not None:
        sources = gather_sources(find_target(case, chosen.centre), plan.spread, plan.side)
        cover = cover_swings(sources, plan.optic_diameter_mm, chosen.judged_mm)
        allowed = _room(plan, chosen)
    tolerance = published_value("refraction", "tolerance").value
    if line is not None:
        allowed += _refraction_room(case, line, tolerance)
        allowed += _turn_room(case, plan.toric, tolerance)
    return Margin(
        None if chosen is None else chosen.p_complete,
        cover,
        None if line is None else line.formula,
        None if line is None else line.power_dpt,
        () if line is None else line.band,
        tolerance,
        allowed,
    )


def expected_line(case: CaseSheet, plan: Plan) -> ExpectedRefraction | None:
    """Which expectation stands for the plan: the trace of the planned or the middle power?

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import PlannedImplant
    >>> case = CaseSheet("E-1", "right", "none", implant=PlannedImplant(6.0))
    >>> expected_line(case, make_plan(case)) is None
    True
    """
    if not plan.refraction:
        return None
    lines = [one for one in plan.refraction if one.formula == plan.refraction[0].formula]
    power = None if case.implant is None else case.implant.power_dpt
    return next((one for one in lines if one.power_dpt == power), lines[len(lines) // 2])


def cover_swings(
    sources: Sources, optic_diameter_mm: float, diameter_mm: float
) -> tuple[CoverSwing, ...]:
    """How does complete cover swing with each source gone, and twice as large? Widest first."""
    found = []
    for source, size_mm in sources.sizes_mm().items():
        if size_mm > 0.0:
            without, doubled = (
                Chance(sources.times(source, factor), optic_diameter_mm).p_at(diameter_mm, 0.0)
                for factor in (0.0, 2.0)
            )
            found.append(CoverSwing(source, size_mm, without, doubled))
    return tuple(sorted(found, key=lambda one: -abs(one.p_without - one.p_doubled)))


def _room(plan: Plan, chosen: CentrePlan) -> tuple[Allowed, ...]:
    """How far may centre and size go in the expected eye? The worst direction counts."""
    made_mm = chosen.judged_mm + plan.spread.diameter_bias_mm
    slack = 0.5 * (plan.optic_diameter_mm - made_mm)
    slack -= math.hypot(*chosen.opening_from_optic.mean_mm)
    targets: tuple[tuple[AllowedTarget, float], ...] = (
        ("complete-cover", slack),
        ("least-cover", slack - plan.least_cover_mm),
    )
    found = []
    for target, left in targets:
        left_mm = max(left, 0.0)
        found.append(Allowed("centring", target, left_mm, "mm"))
        found.append(Allowed("size", target, 2.0 * left_mm, "mm"))
    return tuple(found)


def _refraction_room(
    case: CaseSheet, line: ExpectedRefraction, tolerance_dpt: float
) -> tuple[Allowed, ...]:
    if line.formula != FORMULA or trace_lacks(case) is not None:
        return ()
    eye = traced_eye(case)
    numbers = traced_numbers(eye)
    found = []
    for part in line.band:
        thing, sd = _DEPTHS.get(part.source), numbers.get(part.source)
        if thing is not None and sd is not None and part.sd_dpt > 0.0:
            # Straight on from the slope at what is expected: good to a few per cent at 0.5 dpt.
            found.append(Allowed(thing, "refraction", tolerance_dpt * sd.sd / part.sd_dpt, "mm"))
    tilt = _Tilt(eye_model(placed_record(eye, case, line.power_dpt)), tolerance_dpt)
    return (tilt.allowed(), *sorted(found, key=lambda one: one.value))


@dataclass(frozen=True, slots=True)
class _Tilt:
    """An upright implant that is tilted until the refraction leaves its tolerance."""

    model: EyeModel
    tolerance_dpt: float

    def allowed(self) -> Allowed:
        """Return the smallest tilt, of those across and upright, that spoils the refraction."""
        low, high = 0.0, _MOST_TILT_DEG
        if not self._spoilt(high):
            return Allowed("tilt", "refraction", high, "deg", at_least=True)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self._spoilt(middle) else (middle, high)
        return Allowed("tilt", "refraction", low, "deg")

    def _spoilt(self, tilt_deg: float) -> bool:
        upright, tilt = self._refraction(0.0, 0.0), math.radians(tilt_deg)
        for way in ((tilt, 0.0), (0.0, tilt)):
            change = self._refraction(*way).minus(upright)
            cylinder = 2.0 * math.hypot(change.j0_dpt, change.j45_dpt)
            if max(abs(change.m_dpt), cylinder) > self.tolerance_dpt:
                return True
        return False

    def _refraction(self, x_rad: float, y_rad: float) -> PowerVector:
        found = narrow_refraction(self.model.with_lens((x_rad, y_rad), (0.0, 0.0)), (0.0, 0.0))
        return PowerVector.of(found.sphere_dpt, found.cylinder_dpt, found.axis_deg or 180.0)


def _turn_room(
    case: CaseSheet, toric: ToricPlan | None, tolerance_dpt: float
) -> tuple[Allowed, ...]:
    """How far may a toric implant turn? 2 C sin of the angle is what it adds, crossed."""
    if toric is None or case.implant is None:
        return ()
    planned = case.implant.cylinder_dpt
    step = min(toric.steps, key=lambda one: abs(one.cylinder_dpt - planned))
    twice_dpt = step.cost_dpt_per_deg / math.radians(1.0)
    most = math.sin(math.radians(_MOST_TURN_DEG))
    if twice_dpt * most <= tolerance_dpt:
        return (Allowed("rotation", "refraction", _MOST_TURN_DEG, "deg", at_least=True),)
    turn = math.degrees(math.asin(tolerance_dpt / twice_dpt))
    return (Allowed("rotation", "refraction", turn, "deg"),)
