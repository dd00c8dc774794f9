"""Everything that moves the opening's edge over the optic, source by source."""

import math
from dataclasses import dataclass, replace

from rimwise.plan.targets import Target
from rimwise.records.case import Spread
from rimwise.records.margin import BudgetSource
from rimwise.records.plan import OffsetLaw
from rimwise.terms.frames import Side, examiner_from_nasal_superior

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sources:
    """The sources of trouble on one target, examiner's frame, mm; scatters are one sd.

    Axes are the examiner's: a scatter has no sign, so nasal is x in either eye.
    """

    target_from_rest_mm: Pair
    place_sd_mm: Pair
    centring_bias_mm: Pair
    centring_sd_mm: Pair
    rest_sd_mm: Pair
    diameter_bias_mm: float
    diameter_sd_mm: float

    def offset(self) -> OffsetLaw:
        """Where will the opening's centre lie from the optic's?

        Means add; scatters are independent of each other, so their squares add.
        """
        mean = _added(self.target_from_rest_mm, self.centring_bias_mm)
        scatters = (self.centring_sd_mm, self.rest_sd_mm, self.place_sd_mm)
        sd = (math.hypot(*(s[0] for s in scatters)), math.hypot(*(s[1] for s in scatters)))
        return OffsetLaw(mean, sd)

    def times(self, source: BudgetSource, factor: float) -> "Sources":
        """Return the same hand and eye with one source ``factor`` times as large."""
        match source:
            case "centring-scatter":
                return replace(self, centring_sd_mm=_scaled(self.centring_sd_mm, factor))
            case "centring-bias":
                return replace(self, centring_bias_mm=_scaled(self.centring_bias_mm, factor))
            case "rest-scatter":
                return replace(self, rest_sd_mm=_scaled(self.rest_sd_mm, factor))
            case "target-from-rest":
                return replace(self, target_from_rest_mm=_scaled(self.target_from_rest_mm, factor))
            case "place-of-centre":
                return replace(self, place_sd_mm=_scaled(self.place_sd_mm, factor))
            case "size-bias":
                return replace(self, diameter_bias_mm=self.diameter_bias_mm * factor)
            case "size-scatter":
                return replace(self, diameter_sd_mm=self.diameter_sd_mm * factor)

    def centring_scaled(self, factor: float) -> "Sources":
        """Return the same with the surgeon's centring scatter times ``factor``."""
        return replace(self, centring_sd_mm=_scaled(self.centring_sd_mm, factor))

    def offset_scaled(self, factor: float) -> "Sources":
        """Return the same with the mean offset, of hand and target, times ``factor``."""
        return replace(
            self,
            centring_bias_mm=_scaled(self.centring_bias_mm, factor),
            target_from_rest_mm=_scaled(self.target_from_rest_mm, factor),
        )

    def sizes_mm(self) -> dict[BudgetSource, float]:
        """How large is each source now? Vectors by length, scatters by root mean square."""
        return {
            "centring-scatter": _rms(self.centring_sd_mm),
            "centring-bias": math.hypot(*self.centring_bias_mm),
            "size-scatter": self.diameter_sd_mm,
            "size-bias": abs(self.diameter_bias_mm),
            "rest-scatter": _rms(self.rest_sd_mm),
            "target-from-rest": math.hypot(*self.target_from_rest_mm),
            "place-of-centre": _rms(self.place_sd_mm),
        }


def gather_sources(target: Target, spread: Spread, side: Side) -> Sources:
    """What moves the edge when this surgeon aims at this target in this eye?

    Parameters
    ----------
    target : Target
    spread : Spread
        With ``optic_rest = "lens"`` the optic comes to rest about the lens centre. With
        ``"opening"`` it comes to rest about the place the opening was aimed at, so that the
        surgeon's spread alone is the opening's law from the optic.
    side : "right" or "left"
        Turns the spread's nasal into the examiner's x.

    Examples
    --------
    >>> target = Target("limbus", (0.0, 0.0), (0.1, 0.0), (0.05, 0.05))
    >>> spread = Spread((0.05, 0.0), (0.2, 0.2), 0.0, 0.1, (0.1, 0.1))
    >>> law = gather_sources(target, spread, "left").offset()
    >>> law.mean_mm, tuple(round(sd, 6) for sd in law.sd_mm)
    ((0.05, 0.0), (0.229129, 0.229129))
    """
    at_lens = spread.optic_rest == "lens"
    return Sources(
        target.from_lens_mm if at_lens else (0.0, 0.0),
        target.sd_mm if at_lens else (0.0, 0.0),
        examiner_from_nasal_superior(*spread.opening_from_target_bias_mm, side),
        spread.opening_from_target_sd_mm,
        spread.optic_from_rest_sd_mm,
        spread.diameter_bias_mm,
        spread.diameter_sd_mm,
    )


def _added(first: Pair, second: Pair) -> Pair:
    return first[0] + second[0], first[1] + second[1]


def _scaled(pair: Pair, factor: float) -> Pair:
    return pair[0] * factor, pair[1] * factor


def _rms(pair: Pair) -> float:
    return math.hypot(*pair) / math.sqrt(2.0)
