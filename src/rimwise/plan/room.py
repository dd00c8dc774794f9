"""How large an opening this eye has room for about one centre: its pupil, and its bag."""

import math

from rimwise.eye.cornea import cornea_seen, magnification
from rimwise.plan.cautions import no_apparent_size
from rimwise.plan.targets import Target, find_target
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet, Centre
from rimwise.records.cover import Reason
from rimwise.records.plan import CentrePlan, SizeLimit, SizeLimitBy

_MUST: dict[SizeLimitBy, str] = {
    "pupil": "widen it and write its new width in pupil_dilated_mm; else part of the edge lies "
    "behind the iris",
    "bag": "an edge farther out would run among the fibres that hold the lens",
}


def size_limits(
    case: CaseSheet, target: Target
) -> tuple[tuple[SizeLimit, ...], tuple[Assumption, ...]]:
    """Up to which diameter do this eye's pupil and bag let an opening be made about this centre?

    Parameters
    ----------
    case : CaseSheet
        ``pupil_dilated_mm`` is as it looks; the opening lies in its plane, so the pupil is taken
        back through this cornea. ``bag_diameter_mm`` is the bag's at its equator, real.
    target : Target

    Returns
    -------
    tuple of SizeLimit
        Real mm; 0 where nothing is left. Empty where neither was measured, or where nobody knows
        how large things look through this cornea.
    tuple of Assumption

    Examples
    --------
    >>> from rimwise.records.case import CaseLengths, Centres
    >>> eye = CaseSheet("E-1", "right", "none", lengths=CaseLengths(bag_diameter_mm=8.4),
    ...                 centres=Centres(lens_mm=(0.1, 0.0)))
    >>> limits, assumed = size_limits(eye, find_target(eye, "limbus"))
    >>> limits[0].by, round(limits[0].largest_mm, 2), len(assumed)
    ('bag', 5.2, 1)
    """
    limits: list[SizeLimit] = []
    assumed: list[Assumption] = []
    pupil_mm = case.lengths.pupil_dilated_mm
    if pupil_mm is not None and no_apparent_size(case) is None:
        seen = cornea_seen(case.cornea, case.lengths.chamber_depth_mm)
        real_mm = pupil_mm / magnification(seen).value
        pupil = find_target(case, "pupil")
        room_mm = max(0.0, real_mm - 2.0 * math.dist(target.place_mm, pupil.place_mm))
        limits.append(SizeLimit("pupil", room_mm))
        if room_mm < case.goal.diameter_limits_mm[1]:  # only there do the centres' places matter
            assumed += [*target.assumptions, *pupil.assumptions]
    bag_mm = case.lengths.bag_diameter_mm
    if bag_mm is not None:
        fibres = published_value("opening", "zonule_from_equator")
        off = math.hypot(*target.from_lens_mm)
        limits.append(SizeLimit("bag", max(0.0, bag_mm - 2.0 * fibres.value - 2.0 * off)))
        assumed.append(Assumption.of("reach of the zonule's fibres on to the bag's front", fibres))
    return tuple(limits), tuple(dict.fromkeys(assumed))


def narrowed(
    limits_mm: tuple[float, float], room: tuple[SizeLimit, ...]
) -> tuple[float, float] | None:
    """Which diameters within the sheet's limits has the eye room for? None where none.

    Examples
    --------
    >>> narrowed((4.8, 5.5), (SizeLimit("pupil", 5.2),)), narrowed((4.8, 5.5), ())
    ((4.8, 5.2), (4.8, 5.5))
    """
    lower, upper = limits_mm
    upper = min([upper, *(one.largest_mm for one in room)])
    return None if upper < lower else (lower, upper)


def no_room(centre: Centre, least_mm: float, room: tuple[SizeLimit, ...]) -> Reason:
    """What to say where even the smallest opening has no room?

    Examples
    --------
    >>> no_room("lens", 4.8, (SizeLimit("pupil", 3.9),)).sentence[:67]
    'The dilated pupil leaves room for 3.90 mm about the lens centre, an'
    """
    tight = min(room, key=lambda one: one.largest_mm)
    return Reason(
        f"{tight.by}-too-small",
        f"{_leaves(tight, centre)}, and the smallest opening allowed is {least_mm:.2f} mm: "
        f"{_MUST[tight.by]}.",
    )


def room_warnings(plan: CentrePlan) -> list[Reason]:
    """What is to be said of the judged opening where it is larger than the eye has room for?

    Examples
    --------
    >>> from rimwise.records.plan import Curve, OffsetLaw
    >>> law = OffsetLaw((0.0, 0.0), (0.2, 0.2))
    >>> one = CentrePlan("lens", (0.0, 0.0), law, 5.2, 0.9, 0.5, None, None, None, (), (),
    ...                  Curve((), (), ()), (), (SizeLimit("pupil", 4.6),))
    >>> room_warnings(one)[0].sentence[:59]
    'The dilated pupil leaves room for 4.60 mm about the lens ce'
    """
    return [
        Reason(
            f"{one.by}-smaller",
            f"{_leaves(one, plan.centre)}, and the opening is {plan.judged_mm:.2f} mm wide: "
            f"{_MUST[one.by]}.",
        )
        for one in plan.size_limits
        if one.largest_mm < plan.judged_mm
    ]


def _leaves(limit: SizeLimit, centre: Centre) -> str:
    where = "dilated pupil" if limit.by == "pupil" else "bag"
    about = "visual axis" if centre == "visual_axis" else f"{centre} centre"
    return f"The {where} leaves room for {limit.largest_mm:.2f} mm about the {about}"
