"""A measured number with its standard deviation and where it came from."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, its standard deviation and its origin.

    The unit is worn by the name of the field that holds the estimate (``..._mm``).

    Parameters
    ----------
    value : float
        Finite.
    sd : float
        One standard deviation in the unit of the value; 0 only where the value is exact.
    origin : str
        Where it came from, in a few words ("optic as the ruler", "published prior").

    Examples
    --------
    >>> Estimate(5.25, 0.02, "opening edge").times(2.0)
    Estimate(value=10.5, sd=0.04, origin='opening edge')
    """

    value: float
    sd: float
    origin: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"an estimate needs a finite value, got {self.value}")
        if not (self.sd >= 0.0 and math.isfinite(self.sd)):
            raise ValueError(f"an estimate needs a finite sd of 0 or more, got {self.sd}")

    def times(self, factor: float) -> "Estimate":
        """Return the estimate of an exact multiple of this quantity."""
        return Estimate(self.value * factor, self.sd * abs(factor), self.origin)

    def interval(self, z: float = 1.959963984540054) -> tuple[float, float]:
        """Return value - z·sd and value + z·sd; the default holds 95 % of a normal law."""
        return self.value - z * self.sd, self.value + z * self.sd
