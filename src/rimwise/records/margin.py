"""What spoils a plan first, and how far each thing may go: the plan's ``margin``."""

from dataclasses import asdict, dataclass
from typing import Any, Literal

from rimwise.records.lens_power import BandLine, BandSource

BudgetSource = Literal[
    "centring-scatter",
    "centring-bias",
    "size-scatter",
    "size-bias",
    "rest-scatter",
    "target-from-rest",
    "place-of-centre",
]
AllowedThing = Literal[
    "centring", "size", "tilt", "rotation", "implant-depth", "axial-length", "corneal-radius"
]
AllowedTarget = Literal["complete-cover", "least-cover", "refraction"]


@dataclass(frozen=True, slots=True)
class CoverSwing:
    """How the probability of complete cover swings with one source of trouble.

    ``size_mm`` is the source's size now; ``p_without`` the probability without it, ``p_doubled``
    with it twice as large.
    """

    source: BudgetSource
    size_mm: float
    p_without: float
    p_doubled: float


@dataclass(frozen=True, slots=True)
class Allowed:
    """How far one thing alone may go from what is expected before a target is lost.

    Parameters
    ----------
    thing, target : str
    value : float
        In ``unit``; 0 where the target is lost already.
    unit : "mm" or "deg"
    at_least : bool
        The target holds as far as was looked; the true limit lies beyond ``value``.
    """

    thing: AllowedThing
    target: AllowedTarget
    value: float
    unit: Literal["mm", "deg"]
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class Margin:
    """What spoils the plan first.

    Parameters
    ----------
    p_complete : float or None
        Of the chosen centre and the judged diameter; None without them, then ``cover`` is empty.
    cover : tuple of CoverSwing
        Widest first; sources that are not there are left out.
    formula, power_dpt : str and float, or None
        Whose band ``refraction`` is.
    refraction : tuple of BandLine
        Widest first.
    tolerance_dpt : float
        Of the refraction, about the expected one.
    allowed : tuple of Allowed
    """

    p_complete: float | None
    cover: tuple[CoverSwing, ...]
    formula: str | None
    power_dpt: float | None
    refraction: tuple[BandLine, ...]
    tolerance_dpt: float
    allowed: tuple[Allowed, ...]

    @property
    def weakest_of_cover(self) -> BudgetSource | None:
        """Return the source that, gone, would lift complete cover most; None without a gain."""
        now = self.p_complete
        gains = [(one.p_without - now, one.source) for one in self.cover if now is not None]
        best = max(gains, default=(0.0, None), key=lambda pair: pair[0])
        return best[1] if best[0] > 0.0 else None

    @property
    def weakest_of_refraction(self) -> BandSource | None:
        """Return what blurs the expected refraction most."""
        return self.refraction[0].source if self.refraction else None

    def document(self) -> dict[str, Any]:
        """Return the plan's ``margin`` (docs/results.md)."""
        return {
            "p_complete": self.p_complete,
            "cover": [asdict(one) for one in self.cover],
            "weakest_of_cover": self.weakest_of_cover,
            "formula": self.formula,
            "power_dpt": self.power_dpt,
            "refraction": [asdict(one) for one in self.refraction],
            "weakest_of_refraction": self.weakest_of_refraction,
            "tolerance_dpt": self.tolerance_dpt,
            "allowed": [asdict(one) for one in self.allowed],
        }
