"""What should be made of one eye's opening and what spoils it first: behind ``rimwise.plan/1``."""

from dataclasses import dataclass
from typing import Any, Literal

from rimwise.records.assumption import Assumption
from rimwise.records.case import Centre, CornealSurgery, Spread
from rimwise.records.cover import Reason
from rimwise.records.lens_power import ExpectedRefraction, ToricPlan
from rimwise.records.margin import BudgetSource, Margin
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, nasal_superior


@dataclass(frozen=True, slots=True)
class OffsetLaw:
    """Where the opening's centre will lie from the optic's: normal, examiner's frame, real mm."""

    mean_mm: tuple[float, float]
    sd_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """What would be won if one source of trouble were half as large.

    ``size_mm`` is the source's size now (of a vector the length, of two scatters the root mean
    square); ``p_complete`` the probability with the source halved, ``gain`` how much that is more.
    """

    source: BudgetSource
    size_mm: float
    p_complete: float
    gain: float


@dataclass(frozen=True, slots=True)
class Curve:
    """Probability against the opening's intended diameter, real mm."""

    diameter_mm: tuple[float, ...]
    p_complete: tuple[float, ...]
    p_least_cover: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class RestChance:
    """How likely the judged opening covers if the optic rests at the lens centre or the target."""

    place: Literal["lens", "target"]
    p_complete: float
    p_least_cover: float


SizeLimitBy = Literal["pupil", "bag"]


@dataclass(frozen=True, slots=True)
class SizeLimit:
    """Up to which diameter, real mm, this eye has room for an opening about one centre."""

    by: SizeLimitBy
    largest_mm: float


@dataclass(frozen=True, slots=True)
class CentrePlan:
    """The opening planned on one candidate centre.

    Parameters
    ----------
    centre : str
        The candidate.
    target_mm : tuple of float
        Its place from the limbus centre, examiner's frame, real mm at the opening plane.
    opening_from_optic : OffsetLaw
        Joins target, surgeon, rest and the centre's own uncertainty.
    judged_mm : float
        Diameter that the probabilities and the budget are for: the wanted one, else the best, else
        the lower limit.
    p_complete, p_least_cover : float
        Probability of complete cover, and of at least the goal's cover all the way round.
    best_mm : float or None
        Largest diameter inside the limits that reaches the goal; None with ``reasons``.
    best_least_cover_mm : float or None
        The same with the goal's least cover asked for; None where no diameter reaches it.
    centring_sd_needed_mm : tuple of float or None
        Surgeon's centring scatter (nasal, superior) that would reach the goal at the lower limit;
        None where it is reached already or where centring alone cannot.
    budget : tuple of BudgetLine
        Largest gain first.
    at_rest : tuple of RestChance
        The same chances with the optic resting about the lens centre and about the target.
    size_limits : tuple of SizeLimit
        Of this eye's pupil and bag, where they were measured; ``best_mm`` never exceeds them.
    place_sd_mm : float or None
        How well the sheet knows this centre's place; None where a prior stands in.
    """

    centre: Centre
    target_mm: tuple[float, float]
    opening_from_optic: OffsetLaw
    judged_mm: float
    p_complete: float
    p_least_cover: float
    best_mm: float | None
    best_least_cover_mm: float | None
    centring_sd_needed_mm: tuple[float, float] | None
    reasons: tuple[Reason, ...]
    budget: tuple[BudgetLine, ...]
    curve: Curve
    at_rest: tuple[RestChance, ...] = ()
    size_limits: tuple[SizeLimit, ...] = ()
    place_sd_mm: float | None = None


@dataclass(frozen=True, slots=True)
class CutExpected:
    """What a cut of a set size is expected to leave, real mm."""

    cut_mm: float
    left_mm: Estimate


@dataclass(frozen=True, slots=True)
class HealingExpected:
    """What healing is expected to do to cover from week 1 to a year, mm, in two terms.

    ``contraction_mm`` is mean cover gained, ``drift_mm`` least cover lost.
    """

    contraction_mm: Estimate
    drift_mm: Estimate


@dataclass(frozen=True, slots=True)
class CentreContrast:
    """Contrast lost beside the best of the candidates, were the optic to rest about this one."""

    centre: Centre
    contrast_lost: Estimate


@dataclass(frozen=True, slots=True)
class ContrastCost:
    """What an optic about each candidate centre would cost in contrast, the same glasses worn.

    Parameters
    ----------
    pupil_mm, frequency_cpd : float
    by_centre : tuple of CentreContrast
    loss : float
        Share of the contrast on the corneal axis that may be lost.
    allowed_mm : float or None
        How far off the corneal axis the optic may stand before some direction loses more; None
        where ``reach_mm`` off it still does not.
    reach_mm : float
        How far off was looked at.

    Examples
    --------
    >>> cost = ContrastCost(3.0, 15.0, (CentreContrast("lens", Estimate(0.0, 0.006)),))
    >>> cost.document()["lost_by_centre"]
    {'lens': {'value': 0.0, 'sd': 0.006, 'unit': '1'}}
    """

    pupil_mm: float
    frequency_cpd: float
    by_centre: tuple[CentreContrast, ...]
    loss: float = 0.1
    allowed_mm: float | None = None
    reach_mm: float = 1.0

    def document(self) -> dict[str, Any]:
        """Return the plan's ``contrast`` (docs/results.md)."""
        return {
            "pupil_mm": self.pupil_mm,
            "frequency_cpd": self.frequency_cpd,
            "lost_by_centre": {
                one.centre: {
                    "value": one.contrast_lost.value,
                    "sd": one.contrast_lost.sd,
                    "unit": "1",
                }
                for one in self.by_centre
            },
            "tolerance": {
                "from": "corneal axis",
                "loss": self.loss,
                "radius_mm": self.allowed_mm,
                "reach_mm": self.reach_mm,
            },
        }


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of one eye's opening.

    ``centre`` is None where the sheet names none and the candidates differ: then all are in
    ``centres`` and the opening has no probability of its own. A refused plan has no centres.
    """

    code: str
    side: Side
    optic_diameter_mm: float
    least_cover_mm: float
    p_goal: float
    limits_mm: tuple[float, float]
    wanted_mm: float | None
    centre: Centre | None
    centres: tuple[CentrePlan, ...]
    spread: Spread
    apparent_diameter_mm: Estimate | None
    reasons: tuple[Reason, ...]
    warnings: tuple[Reason, ...]
    assumptions: tuple[Assumption, ...]
    refraction: tuple[ExpectedRefraction, ...] = ()
    toric: ToricPlan | None = None
    cut: CutExpected | None = None
    healing: HealingExpected | None = None
    margin: Margin | None = None
    contrast: ContrastCost | None = None
    corneal_surgery: CornealSurgery = "unknown"

    @property
    def chosen(self) -> CentrePlan | None:
        """Return the plan on the chosen centre, if one is chosen."""
        return next((plan for plan in self.centres if plan.centre == self.centre), None)

    @property
    def diameter_mm(self) -> float | None:
        """Return the planned diameter: the wanted one, else the best on the chosen centre."""
        if not self.centres or self.wanted_mm is not None:
            return self.wanted_mm
        return None if self.chosen is None else self.chosen.best_mm

    def document(self) -> dict[str, Any]:
        """Return the plan as ``rimwise.plan/1``, ready for JSON (docs/results.md)."""
        return {
            "schema": "rimwise.plan/1",
            "code": self.code,
            "side": self.side,
            "corneal_surgery": self.corneal_surgery,
            "status": "planned" if self.centres else "refused",
            "reasons": _reasons(self.reasons),
            "optic_diameter_mm": self.optic_diameter_mm,
            "goal": {
                "p_complete": self.p_goal,
                "least_cover_mm": self.least_cover_mm,
                "diameter_limits_mm": list(self.limits_mm),
            },
            "opening": self._opening(),
            "by_centre": {plan.centre: _centre(plan, self.side) for plan in self.centres},
            "refraction": [line.document() for line in self.refraction],
            "toric": None if self.toric is None else self.toric.document(),
            "cut": None
            if self.cut is None
            else {"cut_mm": self.cut.cut_mm, "left_mm": _estimate(self.cut.left_mm)},
            "healing": None
            if self.healing is None
            else {
                "baseline": "week 1",
                "contraction_mm": _estimate(self.healing.contraction_mm),
                "drift_mm": _estimate(self.healing.drift_mm),
            },
            "margin": None if self.margin is None else self.margin.document(),
            "contrast": None if self.contrast is None else self.contrast.document(),
            "spread": _spread(self.spread),
            "assumptions": [assumption.document() for assumption in self.assumptions],
            "warnings": _reasons(self.warnings),
        }

    def _opening(self) -> dict[str, Any]:
        chosen, diameter = self.chosen, self.diameter_mm
        judged = chosen if diameter is not None else None
        apparent = self.apparent_diameter_mm
        return {
            "centre": self.centre,
            "diameter_mm": diameter,
            "p_complete": None if judged is None else judged.p_complete,
            "p_least_cover": None if judged is None else judged.p_least_cover,
            "best_diameter_mm": None if chosen is None else chosen.best_mm,
            "best_diameter_least_cover_mm": None if chosen is None else chosen.best_least_cover_mm,
            "apparent_diameter_mm": None if apparent is None else _estimate(apparent),
            "reasons": _reasons(self.reasons + (() if chosen is None else chosen.reasons)),
        }


def _estimate(estimate: Estimate) -> dict[str, Any]:
    return {"value": estimate.value, "sd": estimate.sd, "unit": "mm", "from": estimate.origin}


def _reasons(reasons: tuple[Reason, ...]) -> list[dict[str, str]]:
    return [{"code": reason.code, "sentence": reason.sentence} for reason in reasons]


def _vector(xy_mm: tuple[float, float], side: Side) -> dict[str, float]:
    nasal, superior = nasal_superior(*xy_mm, side)
    return {"x_mm": xy_mm[0], "y_mm": xy_mm[1], "nasal_mm": nasal, "superior_mm": superior}


def _centre(plan: CentrePlan, side: Side) -> dict[str, Any]:
    law = plan.opening_from_optic
    needed = plan.centring_sd_needed_mm
    return {
        "target_from_limbus": _vector(plan.target_mm, side),
        "place_sd_mm": plan.place_sd_mm,
        "opening_from_optic": {
            "mean": _vector(law.mean_mm, side),
            "sd_mm": {"nasal": law.sd_mm[0], "superior": law.sd_mm[1]},
        },
        "diameter_mm": plan.judged_mm,
        "p_complete": plan.p_complete,
        "p_least_cover": plan.p_least_cover,
        "if_optic_rests_at": {
            one.place: {"p_complete": one.p_complete, "p_least_cover": one.p_least_cover}
            for one in plan.at_rest
        },
        "best_diameter_mm": plan.best_mm,
        "best_diameter_least_cover_mm": plan.best_least_cover_mm,
        "centring_sd_needed_mm": None
        if needed is None
        else {"nasal": needed[0], "superior": needed[1]},
        "size_limits": [{"by": one.by, "largest_mm": one.largest_mm} for one in plan.size_limits],
        "reasons": _reasons(plan.reasons),
        "margin_budget": [
            {
                "source": line.source,
                "size_mm": line.size_mm,
                "p_complete_if_halved": line.p_complete,
                "gain": line.gain,
            }
            for line in plan.budget
        ],
        "curve": {
            "diameter_mm": list(plan.curve.diameter_mm),
            "p_complete": list(plan.curve.p_complete),
            "p_least_cover": list(plan.curve.p_least_cover),
        },
    }


def _spread(spread: Spread) -> dict[str, Any]:
    return {
        "opening_from_target_bias_mm": list(spread.opening_from_target_bias_mm),
        "opening_from_target_sd_mm": list(spread.opening_from_target_sd_mm),
        "diameter_bias_mm": spread.diameter_bias_mm,
        "diameter_sd_mm": spread.diameter_sd_mm,
        "optic_from_rest_sd_mm": list(spread.optic_from_rest_sd_mm),
        "optic_rest": spread.optic_rest,
        "origin": spread.origin,
    }
