"""What spoils a plan first, drawn: one bar a source, the widest on top."""

from textwrap import wrap
from typing import TYPE_CHECKING, Literal

from rimwise.records.margin import Margin
from rimwise.records.plan import Plan
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.look import BARE_HATCH, DRAWING_STYLE, LOOK
from rimwise.report.margin_words import BAND_WORDS, SOURCE_WORDS
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.units import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_HEIGHT = 0.62
_ACROSS = 34  # letters of a label before it takes a second line


def draw_margin(plan: Plan, kind: Literal["svg", "png"] = "svg") -> bytes:
    """What spoils this plan first, as a tornado?

    Left the probability of complete cover with each source gone (plain) and twice as large
    (hatched); right what each source adds to the ± of the refraction.

    Parameters
    ----------
    plan : Plan
        With a margin.
    kind : "svg" or "png"

    Returns
    -------
    bytes
        The same bytes for the same plan.

    Raises
    ------
    ValueError
        If the plan has no margin.
    """
    margin = plan.margin
    if margin is None:
        raise ValueError("a plan without opening and refraction has no margin to draw")
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(DRAWING_STYLE):
        rows = max(len(margin.cover), len(margin.refraction), 3)
        figure = Figure(figsize=(10.0, 1.5 + 0.36 * rows), facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        cover, refraction = figure.subplots(1, 2)
        figure.subplots_adjust(left=0.215, right=0.975, top=0.88, bottom=0.2, wspace=0.52)
        _draw_cover(cover, margin)
        _draw_refraction(refraction, margin)
        figure.text(0.01, 0.015, CAUTIONS[0], fontsize=6.5)
        title = f"Margin of {plan.code}, {plan.side} eye"
        return drawing_bytes(figure, title, margin_description(margin), kind)


def margin_description(margin: Margin) -> str:
    """What does the drawing show, for those who can't see it?

    Examples
    --------
    >>> from rimwise.records.lens_power import BandLine
    >>> band = (BandLine("axial-length", 0.2),)
    >>> margin_description(Margin(None, (), "trace", 21.0, band, 0.5, ()))
    'What spoils the plan first. Refraction: the axial length ± 0.20 dpt.'
    """
    parts = []
    if margin.cover and margin.p_complete is not None:
        told = "; ".join(
            f"{SOURCE_WORDS[one.source]} ({one.size_mm:.2f} mm) {percent(one.p_without)} without "
            f"it, {percent(one.p_doubled)} doubled"
            for one in margin.cover
        )
        parts.append(f" Complete cover {percent(margin.p_complete)} now: {told}.")
    if margin.refraction:
        told = "; ".join(
            f"{BAND_WORDS[one.source]} ± {one.sd_dpt:.2f} dpt" for one in margin.refraction
        )
        parts.append(f" Refraction: {told}.")
    return "What spoils the plan first." + "".join(parts)


def _draw_cover(axes: "Axes", margin: Margin) -> None:
    axes.set_title("Complete cover", fontsize=LOOK.text_pt)
    now = margin.p_complete
    if now is None or not margin.cover:
        _nothing(axes, "no opening on a chosen centre")
        return
    for row, one in enumerate(margin.cover):
        for end, colour, hatch in (
            (one.p_doubled, LOOK.bare, BARE_HATCH), (one.p_without, LOOK.covered, ""),
        ):  # fmt: skip
            axes.barh(row, end - now, _HEIGHT, left=now, color=colour, hatch=hatch,
                      edgecolor=LOOK.paper, linewidth=0.4)  # fmt: skip
    ends = [end for one in margin.cover for end in (one.p_without, one.p_doubled)] + [now]
    room = 0.12 * max(max(ends) - min(ends), 0.02)
    axes.set_xlim(min(ends) - room, max(ends) + room)
    axes.axvline(now, color=LOOK.ink, linewidth=1.2)
    names = [f"{SOURCE_WORDS[one.source]}, {one.size_mm:.2f} mm" for one in margin.cover]
    _name_rows(axes, names)
    axes.xaxis.set_major_formatter(lambda value, _: percent(value))
    axes.locator_params(axis="x", nbins=5)
    axes.set_xlabel(f"plain: without it; hatched: twice as much; line: now, {percent(now)}")


def _draw_refraction(axes: "Axes", margin: Margin) -> None:
    axes.set_title("Expected refraction", fontsize=LOOK.text_pt)
    if not margin.refraction:
        _nothing(axes, "no refraction is expected")
        return
    axes.set_xlim(*(end * 1.1 * margin.refraction[0].sd_dpt for end in (-1.0, 1.0)))
    for row, one in enumerate(margin.refraction):
        axes.barh(row, 2.0 * one.sd_dpt, _HEIGHT, left=-one.sd_dpt, color=LOOK.covered)
    axes.axvline(0.0, color=LOOK.ink, linewidth=1.2)
    _name_rows(axes, [BAND_WORDS[one.source] for one in margin.refraction])
    axes.locator_params(axis="x", nbins=5)
    axes.set_xlabel(f"± dpt about what {margin.formula} expects of {margin.power_dpt:.1f} dpt")


def _name_rows(axes: "Axes", names: list[str]) -> None:
    axes.set_yticks(range(len(names)), ["\n".join(wrap(name, _ACROSS)) for name in names])
    axes.set_facecolor("none")
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)


def _nothing(axes: "Axes", words: str) -> None:
    axes.axis("off")
    axes.text(0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes)
