"""What to improve first: the margin budget."""

from rimwise.plan.chance import Chance
from rimwise.plan.sources import Sources
from rimwise.records.plan import BudgetLine


def margin_budget(
    sources: Sources, optic_diameter_mm: float, diameter_mm: float
) -> tuple[BudgetLine, ...]:
    """How much more often would the optic be covered if one source were halved?

    Returns
    -------
    tuple of BudgetLine
        Largest gain first. A gain below 0 is told as it is: a bias towards small openings, for
        one, helps cover.
    """
    now = Chance(sources, optic_diameter_mm).p_at(diameter_mm, 0.0)
    lines = []
    for source, size_mm in sources.sizes_mm().items():
        chance = Chance(sources.times(source, 0.5), optic_diameter_mm)
        halved = now if size_mm == 0.0 else chance.p_at(diameter_mm, 0.0)
        lines.append(BudgetLine(source, size_mm, halved, halved - now))
    return tuple(sorted(lines, key=lambda line: -line.gain))
