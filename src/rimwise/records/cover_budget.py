"""Where the ± of a photograph's numbers comes from."""

from dataclasses import dataclass
from typing import Literal

Source = Literal[
    "opening-edge",
    "optic-edge",
    "hidden-part",
    "optic-diameter",
    "magnification",
    "tilt",
    "plane-gap",
]


@dataclass(frozen=True, slots=True)
class NumberBudget:
    """One number's ± in all, and what it would be with one source alone, largest first."""

    name: str
    unit: str
    sd: float
    parts: tuple[tuple[Source, float], ...]

    @property
    def dominant(self) -> Source:
        """Return the source that adds most."""
        return self.parts[0][0]


@dataclass(frozen=True, slots=True)
class CoverBudget:
    """The whole budget.

    Parameters
    ----------
    numbers : tuple of NumberBudget
    width_sd_mm : dict of tuple (360,)
        By source, the sd of the cover in each direction.
    alike : dict of float
        By source, the share of its variance that is the same in all directions: 1 grows or
        shrinks every cover together, 0 shifts or roughens it.
    """

    numbers: tuple[NumberBudget, ...]
    width_sd_mm: dict[Source, tuple[float, ...]]
    alike: dict[Source, float]
