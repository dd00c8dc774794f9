"""When a plan is refused, and what to beware of when it is not."""

from rimwise.records.case import CaseSheet, Spread
from rimwise.records.cover import Reason

ADULT_YEARS = 18.0
CORNEA_REGULAR = frozenset({"none", "myopic", "hyperopic"})

_RISKS = {
    "pseudoexfoliation": "pseudoexfoliation: the zonule may be loose and the opening may "
    "shrink and drift after surgery, so cover at rest is less sure than the figures say",
    "weak-zonule": "weak zonule: neither opening nor rest of the optic can be told beforehand",
    "uveitis": "uveitis: the opening may shrink and stick to the iris more than in other eyes",
    "vitrectomy": "vitrectomy: the chamber is deep and unsteady, so expect more scatter of size "
    "and centring than this spread holds",
    "dense-lens": "dense lens: without a red reflex the edge is hard to see, so expect more "
    "scatter of size and centring than this spread holds",
    "alpha-blocker": "alpha-blocker: the pupil may shrink during surgery and hide the edge",
    "small-pupil": "small pupil: the pupil may hide the edge while the opening is made",
    "high-myopia": "high myopia: bag and chamber are large, so the optic may wander more than this "
    "spread holds",
}

# What holds for every plan alike; what is said of this eye stands before it.
_OF_EVERY_PLAN = frozenset(
    {
        "refraction-expected",
        "refraction-band",
        "refraction-uncalibrated",
        "trace-expected",
        "trace-uncalibrated",
        "drawn-eyes",
        "toric-expected",
        "prior-spread",
        "priors-used",
    }
)


def urgent_first(warnings: tuple[Reason, ...]) -> tuple[Reason, ...]:
    """In which order are warnings read? What this eye alone brings stands first.

    Examples
    --------
    >>> said = (Reason("drawn-eyes", "Drawn."), Reason("pupil-smaller", "Small."))
    >>> [one.code for one in urgent_first(said)]
    ['pupil-smaller', 'drawn-eyes']
    """
    return tuple(sorted(warnings, key=lambda one: one.code in _OF_EVERY_PLAN))


def refusal(case: CaseSheet) -> Reason | None:
    """Must this plan be refused?

    Parameters
    ----------
    case : CaseSheet

    Examples
    --------
    >>> refusal(CaseSheet("E-1", "right", "none", age_years=9.0)).code
    'child'
    """
    if case.age_years is not None and case.age_years < ADULT_YEARS:
        return Reason(
            "child",
            f"The eye is {case.age_years:g} years old and the opening is planned from "
            f"{ADULT_YEARS:g} years on only: a child's capsule stretches and its eye grows, so "
            "plan it without this program.",
        )
    if "weak-zonule" in case.risks:
        return Reason(
            "loose-lens",
            "The zonule is weak, and no opening is planned for a lens that is not firmly held: "
            "where the optic will rest cannot be told, so plan it without this program.",
        )
    return None


def plan_warnings(case: CaseSheet, spread: Spread, own_spread: bool) -> list[Reason]:
    """What must the reader of this plan beware of?

    Parameters
    ----------
    case : CaseSheet
    spread : Spread
        The one that the plan was made with.
    own_spread : bool
        Whether it is a surgeon's own rather than a prior.
    """
    warnings: list[Reason] = []
    if not own_spread:
        warnings.append(
            Reason(
                "prior-spread",
                f"No spread of the surgeon's own is known, so a prior stands in ({spread.origin}); "
                "the probabilities are not this surgeon's.",
            )
        )
    warnings += _about_size(case)
    warnings += _about_cornea(case)
    if case.age_years is None:
        warnings.append(
            Reason("age-unknown", "The age is not given; an adult eye is taken for granted.")
        )
    warnings += [Reason(f"risk-{risk}", _sentence(_RISKS[risk])) for risk in case.risks]
    return warnings


def _about_size(case: CaseSheet) -> list[Reason]:
    found = []
    wanted = case.opening.diameter_mm
    lower, upper = case.goal.diameter_limits_mm
    if wanted is not None and not lower <= wanted <= upper:
        found.append(
            Reason(
                "outside-limits",
                f"The wanted diameter of {wanted:g} mm lies outside the limits of {lower:g} to "
                f"{upper:g} mm; it is judged, but never proposed.",
            )
        )
    return found


def _about_cornea(case: CaseSheet) -> list[Reason]:
    if case.corneal_surgery == "none":
        return []
    return [
        Reason(
            "cornea",
            f"Corneal surgery or disease is given as {case.corneal_surgery!r}: priors for the "
            "corneal back surface do not hold, and what is seen through this cornea needs a "
            "measured back surface.",
        )
    ]


def no_apparent_size(case: CaseSheet) -> Reason | None:
    """Why can't the apparent diameter be told for this cornea, if it can't?

    Examples
    --------
    >>> no_apparent_size(CaseSheet("E-1", "right", "keratoconus")).code
    'cornea-irregular'
    """
    surgery = case.corneal_surgery
    if surgery == "none":
        return None
    if surgery not in CORNEA_REGULAR:
        return Reason(
            "cornea-irregular",
            f"The apparent diameter is not told for a cornea given as {surgery!r}: two spherical "
            "surfaces do not describe it; measure against a ruler in the picture.",
        )
    cornea = case.cornea
    front = (cornea.radius_mm, cornea.radius_flat_mm, cornea.radius_steep_mm)
    back = (cornea.posterior_flat_mm, cornea.posterior_steep_mm)
    if all(r is None for r in front) or all(r is None for r in back):
        return Reason(
            "cornea-back-unknown",
            f"The apparent diameter is not told after {surgery} corneal surgery without measured "
            "front and back radii: the prior for their ratio does not hold; add them to [cornea].",
        )
    return None


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."
