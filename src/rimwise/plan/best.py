"""The largest diameter that reaches the wanted probability, and what is missing where none does."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.plan.chance import Chance
from rimwise.plan.sources import Sources


@dataclass(frozen=True, slots=True)
class Wish:
    """What the opening is to reach: probability, and limits that are never left, real mm."""

    p_goal: float
    limits_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Best:
    """Largest intended diameters inside the limits that reach the goal; None where none does."""

    complete_mm: float | None
    least_cover_mm: float | None


def best_diameters_mm(chance: Chance, margin_mm: float, wish: Wish) -> Best:
    """Which are the largest diameters inside the limits that reach the goal?

    The smallest is no answer: a tiny opening always lies inside the optic, and is hard to operate
    through and shrinks. So the largest is sought, once for complete cover and once for at least
    ``margin_mm`` of cover all the way round.

    Parameters
    ----------
    chance : Chance
    margin_mm : float
        mm, 0 or more.
    wish : Wish

    Returns
    -------
    Best
        Diameters in mm, on the side that reaches the goal, less than 1e-6 mm from the largest.

    Notes
    -----
    A margin all the way round is the same as an opening wider by twice the margin, so one search
    answers both. The probability falls as the diameter grows, for a larger circle about the same
    centre holds the smaller one: a grid, narrowed round by round, finds the last diameter that
    reaches. A whole grid costs hardly more than one diameter.
    """
    lower, upper = wish.limits_mm
    largest = _last_that_reaches(chance, wish.p_goal, lower, upper + 2.0 * margin_mm)
    if largest is None:
        return Best(None, None)
    inside = largest - 2.0 * margin_mm
    return Best(min(largest, upper), inside if inside >= lower else None)


def centring_sd_needed_mm(
    sources: Sources, optic_diameter_mm: float, wish: Wish
) -> tuple[float, float] | None:
    """To what would the surgeon's centring scatter have to shrink for the lower limit to reach?

    Returns
    -------
    tuple of float or None
        Scatter per component, mm, in the proportion it has now; None where even perfect centring
        does not reach the goal.
    """
    lower = wish.limits_mm[0]

    def reaches(factor: float) -> bool:
        chance = Chance(sources.centring_scaled(factor), optic_diameter_mm)
        return chance.p_at(lower, 0.0) >= wish.p_goal

    if not reaches(0.0):
        return None
    low, high = 0.0, 1.0
    for _ in range(13):  # to 1e-4 of the scatter: far finer than any hand
        middle = (low + high) / 2.0
        low, high = (middle, high) if reaches(middle) else (low, middle)
    return sources.centring_scaled(low).centring_sd_mm


def offset_needed_mm(sources: Sources, optic_diameter_mm: float, wish: Wish) -> float | None:
    """To what would the mean offset have to shrink, the hand's scatter as it is?

    Returns
    -------
    float or None
        Distance of the mean place of the opening's centre from the optic's, real mm; None where
        even a mean offset of 0 does not let the lower limit reach the goal.
    """
    lower = wish.limits_mm[0]

    def reaches(factor: float) -> bool:
        chance = Chance(sources.offset_scaled(factor), optic_diameter_mm)
        return chance.p_at(lower, 0.0) >= wish.p_goal

    if not reaches(0.0):
        return None
    low, high = 0.0, 1.0
    for _ in range(13):  # to 1e-4 of the offset: far finer than any hand
        middle = (low + high) / 2.0
        low, high = (middle, high) if reaches(middle) else (low, middle)
    return low * math.hypot(*sources.offset().mean_mm)


def _last_that_reaches(chance: Chance, p_goal: float, first: float, last: float) -> float | None:
    for _ in range(4):
        grid = np.linspace(first, last, 41)
        reaching = np.flatnonzero(chance.p_cover(grid, 0.0) >= p_goal)
        if reaching.size == 0:
            return None
        k = int(reaching[-1])
        if k == grid.size - 1:
            return float(grid[k])
        first, last = float(grid[k]), float(grid[k + 1])
    return first
