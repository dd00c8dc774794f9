"""A plan in words: the rows of its table and the sentences of its margin budget."""

import math

from rimwise.records.cover import Reason
from rimwise.records.lens_power import BandSource, ExpectedRefraction
from rimwise.records.plan import BudgetLine, CentrePlan, ContrastCost, Plan, SizeLimitBy
from rimwise.report.margin_words import SOURCE_WORDS, margin_rows
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import direction_words
from rimwise.terms.units import deg_from_rad, percent

Row = tuple[str, str, str]

CENTRE_WORDS = {
    "visual_axis": "visual axis",
    "lens": "lens centre",
    "pupil": "pupil centre",
    "limbus": "limbus centre",
}

# How a measurement is asked for again.
AGAIN_WORDS: dict[BandSource, str] = {
    "lens-position": "the implant's position",
    "chamber-depth": "the chamber depth again",
    "lens-thickness": "the lens thickness first",
    "keratometry": "the keratometry again",
    "posterior-cornea": "the back of the cornea",
    "corneal-thickness": "the corneal thickness",
    "axial-length": "the axial length again",
    "refraction-itself": "the refraction again",
}

_ROOM_WORDS: dict[SizeLimitBy, str] = {"pupil": "dilated pupil", "bag": "bag"}
_ONE_SIZE_MM = 0.005  # nearer than a size is written

# Half a part in a thousand: below that a gain is not worth a sentence.
_WORTH_SAYING = 0.0005


def floor_mm(diameter_mm: float) -> str:
    """How is a largest diameter written? Rounded down: rounded up it would miss the goal.

    Examples
    --------
    >>> floor_mm(5.4629), floor_mm(5.5)
    ('5.46 mm', '5.50 mm')
    """
    return f"{math.floor(diameter_mm * 100.0 + 1e-6) / 100.0:.2f} mm"


def judged_words(plan: Plan, centre: CentrePlan) -> str:
    """How is the judged diameter written? As wanted, or rounded down if it is the largest."""
    return floor_mm(centre.judged_mm) if plan.wanted_mm is None else f"{centre.judged_mm:.2f} mm"


def vector_words(xy_mm: tuple[float, float], plan: Plan) -> str:
    """How far and in which direction of this eye does the vector point?"""
    length = math.hypot(*xy_mm)
    if length < 0.005:
        return "0.00 mm"
    angle = deg_from_rad(math.atan2(xy_mm[1], xy_mm[0]))
    return f"{length:.2f} mm {direction_words(angle, plan.side)}"


def plan_table(plan: Plan) -> list[Row]:
    """Which rows does the plan's table have: label, value ± sd, note?

    The one wording of a plan's numbers, for terminal and paper.
    """
    if not plan.centres:
        refused = ("Plan", "refused", _sentences(plan.reasons))
        return [refused, *_refraction_rows(plan), *_toric_rows(plan), *_margin_rows(plan)]
    rows = [_goal_row(plan)]
    if plan.chosen is not None:
        rows += _chosen_rows(plan, plan.chosen)
    elif plan.reasons:
        rows.append(("Opening (capsulotomy)", "no centre chosen", plan.reasons[0].sentence))
    rows += _apparent_rows(plan)
    rows += [_centre_row(plan, centre) for centre in plan.centres]
    rows += _contrast_rows(plan)
    rows += _later_rows(plan)
    return rows + _refraction_rows(plan) + _toric_rows(plan) + _margin_rows(plan)


def _margin_rows(plan: Plan) -> list[Row]:
    return margin_rows(plan.margin, plan.least_cover_mm)


def _contrast_rows(plan: Plan) -> list[Row]:
    """Return what each centre would cost in sight, were the optic to rest about it."""
    cost = plan.contrast
    if cost is None:
        return []
    told = ", ".join(
        f"{CENTRE_WORDS[one.centre]} {_hundredths(one.contrast_lost)}" for one in cost.by_centre
    )
    return [
        (
            "Contrast lost, optic on each centre",
            f"{told} percent points",
            f"beside the best of them, at {cost.frequency_cpd:g} cycles per degree through "
            f"{cost.pupil_mm:.1f} mm, the same glasses; where the optic rests decides, not where "
            "the opening is cut; ± from its scatter at rest",
        ),
        _allowed_row(cost),
    ]


def _allowed_row(cost: ContrastCost) -> Row:
    """Return how far off the optic may stand before it costs too much contrast."""
    told = (
        f"more than {cost.reach_mm:g} mm"
        if cost.allowed_mm is None
        else f"{cost.allowed_mm:.2f} mm"
    )
    return (
        "Tolerance for contrast, optic off the corneal axis",
        told,
        f"up to where no direction loses more than {100.0 * cost.loss:g} % of the contrast there; "
        "upright, the same pupil, grating and glasses",
    )


def _hundredths(share: Estimate) -> str:
    return f"{abs(100.0 * share.value):.1f} ± {100.0 * share.sd:.1f}"


def _later_rows(plan: Plan) -> list[Row]:
    """Return what a cut leaves and what healing is expected to do."""
    rows: list[Row] = []
    if plan.cut is not None:
        left = plan.cut.left_mm
        rows.append(
            (
                f"A cut set to {plan.cut.cut_mm:.2f} mm leaves",
                f"{left.value:.2f} ± {left.sd:.2f} mm",
                f"where an instrument sets the size; {left.origin}; not part of the hand's bias",
            )
        )
    if plan.healing is not None:
        gain, loss = plan.healing.contraction_mm, plan.healing.drift_mm
        rows.append(
            (
                "Healing, week 1 to a year",
                f"contraction {_signed(gain.value)} ± {gain.sd:.2f} mm of mean cover; "
                f"drift {_signed(-loss.value)} ± {loss.sd:.2f} mm of least cover",
                f"two terms of their own, not in the probabilities; {gain.origin}",
            )
        )
    return rows


def _refraction_rows(plan: Plan) -> list[Row]:
    """Return one row a formula: what each power is expected to leave, none of them chosen."""
    rows = []
    for formula in dict.fromkeys(line.formula for line in plan.refraction):
        lines = [line for line in plan.refraction if line.formula == formula]
        middle = lines[len(lines) // 2]
        expected = ", ".join(
            f"{line.power_dpt:.1f} → {_signed(line.refraction_dpt.value)}" for line in lines
        )
        again = AGAIN_WORDS[middle.repeat_first]
        note = (
            f"± {middle.refraction_dpt.sd:.2f}; {middle.constants.calibration}; {middle.status}"
            f"{_position_words(middle)}; to narrow it, measure {again}"
        )
        rows.append((f"Expected refraction, {formula} (dpt)", expected, note))
    return rows


def _position_words(line: ExpectedRefraction) -> str:
    if line.lens_position_sd_mm is None:
        return ""
    return (
        f"; middle of the implant expected {line.lens_position_mm:.2f} "
        f"± {line.lens_position_sd_mm:.2f} mm deep"
    )


def _toric_rows(plan: Plan) -> list[Row]:
    """Return one row a cylinder of the implant: what it is expected to leave."""
    if plan.toric is None:
        return []
    toric = plan.toric
    rows = [
        (
            "Corneal cylinder, front and back",
            f"{toric.corneal_cylinder_dpt:.2f} dpt, steep along {toric.steep_deg:.0f}°",
            f"back: {toric.back}",
        )
    ]
    for step in toric.steps:
        left = step.refraction
        rows.append(
            (
                f"Expected with a cylinder of {step.cylinder_dpt:.2f} dpt",
                f"{_signed(left.sphere_dpt)} {_signed(left.cylinder_dpt)} × {left.axis_deg:.0f}°",
                f"implant's marks along {toric.axis_deg:.0f}°; each degree off adds a cylinder of "
                f"{step.cost_dpt_per_deg:.3f} dpt; 95 % of J0 and J45 within "
                f"{step.ellipse_95.major_dpt:.2f} dpt",
            )
        )
    return rows


def _signed(value: float) -> str:
    return f"{value:+.2f}".replace("-", "−")


def budget_sentences(plan: CentrePlan) -> list[str]:
    """What should be improved first? One sentence a source, the best first.

    Examples
    --------
    >>> from rimwise.records.plan import Curve, OffsetLaw
    >>> line = BudgetLine("size-scatter", 0.25, 0.97, 0.03)
    >>> law = OffsetLaw((0.0, 0.0), (0.2, 0.2))
    >>> plan = CentrePlan("lens", (0.0, 0.0), law, 5.2, 0.94, 0.5, None, None, None, (), (line,),
    ...                   Curve((), (), ()))
    >>> budget_sentences(plan)
    ["Halving the surgeon's scatter of size (0.25 mm) lifts complete cover from 94.0 % to 97.0 %."]
    """
    said = [_budget_sentence(line, plan.p_complete) for line in plan.budget if _matters(line)]
    return said or ["Halving any one source changes complete cover by less than 0.1 %."]


def _matters(line: BudgetLine) -> bool:
    return abs(line.gain) >= _WORTH_SAYING


def _budget_sentence(line: BudgetLine, now: float) -> str:
    verb = "lifts" if line.gain > 0.0 else "lowers"
    return (
        f"Halving {SOURCE_WORDS[line.source]} ({line.size_mm:.2f} mm) {verb} complete cover from "
        f"{percent(now)} to {percent(line.p_complete)}."
    )


def _goal_row(plan: Plan) -> Row:
    lower, upper = plan.limits_mm
    return (
        "Goal",
        f"complete cover (capsule overlap) with {percent(plan.p_goal)}",
        f"opening between {lower:.2f} and {upper:.2f} mm; optic (implant's lens body) "
        f"{plan.optic_diameter_mm:.2f} mm; least cover asked for {plan.least_cover_mm:.2f} mm",
    )


def _chosen_rows(plan: Plan, chosen: CentrePlan) -> list[Row]:
    where = f"on the {CENTRE_WORDS[chosen.centre]}"
    rows: list[Row] = []
    if plan.diameter_mm is not None:
        bias = plan.spread.diameter_bias_mm
        rows.append(
            (
                "Opening (capsulotomy)",
                f"{judged_words(plan, chosen)} ± {plan.spread.diameter_sd_mm:.2f} mm",
                f"real diameter {where}; ± is the hand's scatter"
                + (f", its bias {bias:+.2f} mm" if bias else ""),
            )
        )
    rows.append(_best_row(chosen))
    if plan.diameter_mm is not None:
        law = chosen.opening_from_optic
        rows += [
            ("Complete cover", percent(chosen.p_complete), "cover above 0 all the way round"),
            (
                f"Cover of {plan.least_cover_mm:.2f} mm or more",
                percent(chosen.p_least_cover),
                "all the way round",
            ),
            (
                "Opening from optic",
                f"{vector_words(law.mean_mm, plan)}",
                f"expected; ± {law.sd_mm[0]:.2f} mm across, ± {law.sd_mm[1]:.2f} mm up and down",
            ),
        ]
    rows.append(("First to improve", budget_sentences(chosen)[0], ""))
    return rows


def _best_row(chosen: CentrePlan) -> Row:
    label = "Largest opening that reaches the goal"
    if chosen.best_mm is None:
        return label, "none", _sentences(chosen.reasons)
    bound = [one.by for one in chosen.size_limits if one.largest_mm - chosen.best_mm < _ONE_SIZE_MM]
    note = f"on the {CENTRE_WORDS[chosen.centre]}"
    if bound:
        note += "; the " + " and the ".join(_ROOM_WORDS[one] for one in bound) + " allows no more"
    return label, floor_mm(chosen.best_mm), note


def _apparent_rows(plan: Plan) -> list[Row]:
    label = "Looks through the cornea"
    seen = plan.apparent_diameter_mm
    if seen is not None:
        return [(label, f"{seen.value:.2f} ± {seen.sd:.2f} mm", "apparent, at the limbus plane")]
    codes = ("cornea-irregular", "cornea-back-unknown")
    return [(label, "not told", r.sentence) for r in plan.reasons if r.code in codes]


def _centre_row(plan: Plan, centre: CentrePlan) -> Row:
    best = none_words(centre) if centre.best_mm is None else "largest " + floor_mm(centre.best_mm)
    places = {"lens": "at the lens centre", "target": "at the target"}
    rests = ", ".join(f"{percent(one.p_complete)} {places[one.place]}" for one in centre.at_rest)
    return (
        f"On the {CENTRE_WORDS[centre.centre]}",
        f"{percent(centre.p_complete)} at {judged_words(plan, centre)}",
        (f"with the optic at rest {rests}; " if rests else "")
        + f"{best}; centre {vector_words(centre.target_mm, plan)} from the limbus centre"
        + _from_lens_words(plan, centre),
    )


def _from_lens_words(plan: Plan, centre: CentrePlan) -> str:
    lens = next((one for one in plan.centres if one.centre == "lens"), centre)
    if centre.centre == "lens":
        return ""
    away = (centre.target_mm[0] - lens.target_mm[0], centre.target_mm[1] - lens.target_mm[1])
    return f", {vector_words(away, plan)} from the lens centre"


def lacks_room(centre: CentrePlan) -> bool:
    """Is it pupil or bag that leaves room for no size at all?

    Examples
    --------
    >>> from rimwise.records.plan import Curve, OffsetLaw
    >>> law = OffsetLaw((0.0, 0.0), (0.2, 0.2))
    >>> lacks_room(CentrePlan("lens", (0.0, 0.0), law, 5.2, 0.94, 0.5, 5.2, None, None, (), (),
    ...                       Curve((), (), ())))
    False
    """
    return any(one.code in ("pupil-too-small", "bag-too-small") for one in centre.reasons)


def none_words(centre: CentrePlan) -> str:
    """Why is no size proposed about this centre, in short?

    Examples
    --------
    >>> from rimwise.records.plan import Curve, OffsetLaw, SizeLimit
    >>> law, room = OffsetLaw((0.0, 0.0), (0.2, 0.2)), (SizeLimit("bag", 4.5),)
    >>> why = (Reason("bag-too-small", "Small."),)
    >>> none_words(CentrePlan("lens", (0.0, 0.0), law, 5.2, 0.94, 0.5, None, None, None, why, (),
    ...                       Curve((), (), ()), (), room))
    'the bag leaves room for 4.50 mm only'
    """
    if not lacks_room(centre):
        return "no size within the limits reaches the goal"
    tight = min(centre.size_limits, key=lambda one: one.largest_mm)
    return f"the {_ROOM_WORDS[tight.by]} leaves room for {tight.largest_mm:.2f} mm only"


def _sentences(reasons: tuple[Reason, ...]) -> str:
    return " ".join(reason.sentence for reason in reasons)
