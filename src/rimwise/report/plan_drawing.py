"""A plan drawn: the eye to scale beside the probability against the opening's diameter."""

from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from rimwise.records.case import Centre
from rimwise.records.plan import CentrePlan, Plan
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.plan_words import CENTRE_WORDS, judged_words
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import direction_words
from rimwise.terms.units import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Four hues that stay apart for every kind of colour blindness; dash and mark say the same again.
_INK, _PALE, _GOAL = "#22303c", "#c9d2d8", "#6b4d00"
CENTRE_LOOK: dict[Centre, tuple[str, str, str]] = {
    "visual_axis": ("#0b4f9c", "-", "D"),
    "lens": ("#b84a00", "--", "o"),
    "pupil": ("#00745f", "-.", "s"),
    "limbus": ("#7d3c98", ":", "^"),
}
_STYLE = {
    "svg.hashsalt": "rimwise",
    "svg.fonttype": "none",
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": _INK,
    "text.color": _INK,
    "axes.labelcolor": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
}


def draw_plan(plan: Plan, kind: Literal["svg", "png"] = "svg") -> bytes:
    """How does the plan look, as one picture?

    Left the optic with the planned opening where it is expected to lie, to scale, as the examiner
    sees the eye. Right the probability of complete cover against the opening's diameter.

    Parameters
    ----------
    plan : Plan
        Not refused.
    kind : "svg" or "png"

    Returns
    -------
    bytes
        The same bytes for the same plan: no date, fixed names inside.

    Raises
    ------
    ValueError
        If the plan was refused: there is nothing to draw.
    """
    if not plan.centres:
        raise ValueError("a refused plan has nothing to draw; show its reasons instead")
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(_STYLE):
        figure = Figure(figsize=(9.0, 4.4))
        FigureCanvasAgg(figure)
        view, chance = figure.subplots(1, 2, width_ratios=(1.0, 1.45))
        figure.subplots_adjust(left=0.02, right=0.85, top=0.9, bottom=0.2, wspace=0.22)
        _draw_view(view, plan)
        _draw_chance(chance, plan)
        figure.text(0.02, 0.02, CAUTIONS[0], fontsize=6.5)
        title = f"Plan of {plan.code}, {plan.side} eye"
        return drawing_bytes(figure, title, plan_description(plan), kind)


def plan_description(plan: Plan) -> str:
    """What does the picture show, for those who can't see it?"""
    parts = [
        f"{CENTRE_WORDS[centre.centre]}: complete cover {percent(centre.p_complete)} "
        f"at {judged_words(plan, centre)}"
        for centre in plan.centres
    ]
    return (
        "Probability of complete cover against the diameter of the opening. " + "; ".join(parts)
    ) + "."


def _draw_view(axes: "Axes", plan: Plan) -> None:
    """Draw optic, opening and the candidates' expected places, to scale."""
    from matplotlib.patches import Circle, Ellipse  # noqa: PLC0415

    radius = plan.optic_diameter_mm / 2.0
    axes.add_patch(Circle((0, 0), radius, facecolor="#eef2f4", edgecolor=_INK, linewidth=1.6))
    axes.annotate(
        "optic edge", (0, -radius), (0, -3), "data", "offset points", ha="center", va="top"
    )
    for centre in plan.centres:
        colour, _, mark = CENTRE_LOOK[centre.centre]
        x, y = centre.opening_from_optic.mean_mm
        axes.plot([x], [y], mark, color=colour, markersize=5, markerfacecolor="white", zorder=3)
    # Without a chosen centre every candidate's opening is shown.
    for centre in plan.centres if plan.chosen is None else (plan.chosen,):
        colour, dash, _ = CENTRE_LOOK[centre.centre]
        law = centre.opening_from_optic
        axes.add_patch(
            Circle(law.mean_mm, centre.judged_mm / 2.0, fill=False, ec=colour, linestyle=dash)
        )
        wide, high = (2.0 * sd for sd in law.sd_mm)
        axes.add_patch(Ellipse(law.mean_mm, wide, high, facecolor=colour, alpha=0.15))
    _draw_names(axes, plan, radius)


def _draw_names(axes: "Axes", plan: Plan, radius: float) -> None:
    reach = radius + 0.55
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    east, west = direction_words(0.0, plan.side), direction_words(180.0, plan.side)
    axes.text(reach, 0, east, rotation=90, ha="center", va="center", fontsize=8)
    axes.text(-reach, 0, west, rotation=90, ha="center", va="center", fontsize=8)
    axes.set_title("Opening on the optic, as the examiner sees it", fontsize=9)
    axes.plot([-1.0, 0.0], [-1.9, -1.9], color=_INK, linewidth=2, solid_capstyle="butt")
    axes.text(-0.5, -1.95, "1 mm", ha="center", va="top", fontsize=8)


def _draw_chance(axes: "Axes", plan: Plan) -> None:
    """Draw a curve for each candidate, named at its end."""
    lower, upper = plan.limits_mm
    axes.axvspan(lower, upper, color="#f3f0e6", zorder=0)
    axes.axhline(plan.p_goal, color=_GOAL, linewidth=0.9)
    first, last = plan.centres[0].curve.diameter_mm[0], plan.centres[0].curve.diameter_mm[-1]
    axes.text(
        last, plan.p_goal, f"goal {percent(plan.p_goal)}", color=_GOAL, ha="right", va="bottom"
    )
    axes.text((lower + upper) / 2.0, 0.01, "limits", ha="center", va="bottom", fontsize=8)
    ends = []
    for names, centre in _distinct(plan):
        colour, dash, mark = CENTRE_LOOK[centre.centre]
        width = 2.2 if centre.centre == plan.centre else 1.3
        curve = centre.curve
        axes.plot(
            curve.diameter_mm, curve.p_complete, color=colour, linestyle=dash, linewidth=width
        )
        axes.plot([centre.judged_mm], [centre.p_complete], mark, color=colour, markersize=6)
        ends.append((curve.p_complete[-1], names, colour))
    for place, (height, names, colour) in zip(_apart([e[0] for e in ends]), ends, strict=True):
        axes.annotate(
            names, (last, height), (last + 0.03, place), color=colour, va="center", fontsize=8
        )
    axes.set(ylim=(0.0, 1.02), xlim=(first, last))
    axes.set_xlabel("intended diameter of the opening, real mm")
    axes.set_title("Probability of complete cover", fontsize=9)
    axes.yaxis.set_major_formatter(lambda value, _: f"{100.0 * value:.0f} %")


def _distinct(plan: Plan) -> list[tuple[str, CentrePlan]]:
    """Return each different curve once, with the names of all candidates that share it."""
    shared: dict[tuple[float, ...], list[CentrePlan]] = {}
    for centre in plan.centres:
        shared.setdefault(centre.curve.p_complete, []).append(centre)
    return [
        (",\n".join(CENTRE_WORDS[c.centre] for c in group), _leader(plan, group))
        for group in shared.values()
    ]


def _leader(plan: Plan, group: list[CentrePlan]) -> CentrePlan:
    return next((centre for centre in group if centre.centre == plan.centre), group[0])


def _apart(heights: list[float]) -> list[float]:
    """Return the heights moved apart so that no two labels lie on each other."""
    gap = 0.06
    order = sorted(range(len(heights)), key=lambda k: heights[k])
    placed = list(heights)
    for before, after in pairwise(order):
        placed[after] = max(placed[after], placed[before] + gap)
    return placed
