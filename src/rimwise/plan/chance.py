"""How likely the opening's edge lies over the optic, all sources joined."""

from dataclasses import dataclass

import numpy as np

from rimwise.plan.sources import Sources
from rimwise.stats.containment import ContainmentSpec, p_contained_over
from rimwise.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance of cover for one hand, eye and target over an optic of this diameter, real mm."""

    sources: Sources
    optic_diameter_mm: float

    def p_cover(self, diameters_mm: FloatArray, margin_mm: float) -> FloatArray:
        """How likely is at least this cover all the way round, by intended diameter (n,)?

        A margin of 0 asks for complete cover.
        """
        made_mm = np.asarray(diameters_mm, dtype=np.float64) + self.sources.diameter_bias_mm
        return p_contained_over(self._spec(margin_mm), made_mm)

    def p_at(self, diameter_mm: float, margin_mm: float) -> float:
        """How likely is at least this cover all the way round at one intended diameter?"""
        return float(self.p_cover(np.array([diameter_mm]), margin_mm)[0])

    def _spec(self, margin_mm: float) -> ContainmentSpec:
        law = self.sources.offset()
        return ContainmentSpec(
            optic_diameter_mm=self.optic_diameter_mm,
            opening_mean_mm=self.optic_diameter_mm,
            opening_sd_mm=self.sources.diameter_sd_mm,
            centring_sd_mm=law.sd_mm,
            bias_mm=law.mean_mm,
            margin_mm=margin_mm,
        )
