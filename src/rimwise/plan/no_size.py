"""What to say where no size of the opening reaches the goal."""

import math

from rimwise.plan.best import Wish, centring_sd_needed_mm, offset_needed_mm
from rimwise.plan.chance import Chance
from rimwise.plan.sources import Sources
from rimwise.records.cover import Reason
from rimwise.terms.units import percent


def why_no_size(sources: Sources, optic_mm: float, wish: Wish) -> Reason:
    """What must improve where no size reaches the goal: scatter, offset, or both?"""
    lower, upper = wish.limits_mm
    now = Chance(sources, optic_mm).p_at(lower, 0.0)
    head = (
        f"Size cannot buy this: no diameter from {lower:.2f} to {upper:.2f} mm is completely "
        f"covered with {percent(wish.p_goal)}, and {lower:.2f} mm reaches {percent(now)}; centring "
        "must improve: "
    )
    offset_mm = math.hypot(*sources.offset().mean_mm)
    scatter = centring_sd_needed_mm(sources, optic_mm, wish)
    offset = offset_needed_mm(sources, optic_mm, wish)
    ways = []
    if scatter is not None:
        has = sources.centring_sd_mm
        better = max(was - must for was, must in zip(has, scatter, strict=True))
        ways.append(
            f"its scatter by {better:.2f} mm, from {has[0]:.2f} and {has[1]:.2f} mm to "
            f"{scatter[0]:.2f} and {scatter[1]:.2f} mm (nasal and superior, one sd)"
        )
    if offset is not None:
        ways.append(
            f"the mean offset from the optic by {offset_mm - offset:.2f} mm, from {offset_mm:.2f} "
            f"to {offset:.2f} mm ({_whose_offset(sources)})"
        )
    if ways:
        return Reason("goal-not-reached", head + ", or ".join(ways) + ".")
    aimed = Chance(sources.offset_scaled(0.0), optic_mm).p_at(lower, 0.0)
    return Reason(
        "goal-out-of-reach",
        f"{head}without any mean offset it would reach {percent(aimed)}, without any scatter of "
        f"the hand {percent(Chance(sources.centring_scaled(0.0), optic_mm).p_at(lower, 0.0))}, so "
        "both must shrink together; see the margin budget.",
    )


def _whose_offset(sources: Sources) -> str:
    """Say whether the hand or the place aimed at makes the mean offset."""
    hand, aim = math.hypot(*sources.centring_bias_mm), math.hypot(*sources.target_from_rest_mm)
    return f"the hand's bias is {hand:.2f} mm, the target lies {aim:.2f} mm from the optic's rest"
