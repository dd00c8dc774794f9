"""A series drawn: who is in it and who is not, and several surgeons about their common rate."""

from typing import TYPE_CHECKING

import numpy as np

from rimwise.audit.funnel import TAILS, Funnel, binomial_limit
from rimwise.records.series import Audit
from rimwise.report.finished_drawing import PRINT_DPI, Kind, drawing_bytes
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.terms.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_STEP_INCH = 0.62
_MOST_EYES = 2000


def flow_description(audit: Audit) -> str:
    """Which words say who is in and who is out?

    Examples
    --------
    >>> flow_description(Audit("t.csv", 3, 2, "", (), ()))
    '3 eyes of 2 persons are audited.'
    """
    out = [f"{one.rows_out} left out: {one.reason}" for one in audit.flow if one.rows_out]
    return "; ".join([*out, f"{audit.eyes} eyes of {audit.persons} persons are audited."])


def draw_flow(audit: Audit, kind: Kind = "svg") -> bytes:
    """How does it look who is in a series and who is out, step by step?

    Examples
    --------
    >>> draw_flow(Audit("t.csv", 3, 2, "", (), ()))[:5]
    b'<?xml'
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    outs = [one for one in audit.flow if one.rows_out]
    begun = audit.eyes if not outs else outs[0].rows_left + outs[0].rows_out
    lefts = [f"{begun} rows in {audit.source}"] if outs else []
    lefts += [f"{one.rows_left} left" for one in outs[:-1]]
    rows = len(outs) + 1
    height = rows * _STEP_INCH + 0.35
    with rc_context(DRAWING_STYLE):
        sheet = Sheet(figsize=(7.1, height), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        axes = sheet.add_axes((0.02, 0.25 / height, 0.96, 1.0 - 0.3 / height))
        axes.set_xlim(0.0, 10.0)
        axes.set_ylim(rows, 0.0)
        axes.axis("off")
        for row, words in enumerate(lefts):
            _box(axes, (2.5, row + 0.4), words)
        for row, step in enumerate(outs):
            axes.annotate("", (2.5, row + 1.1), (2.5, row + 0.68), arrowprops=_arrow())
            axes.annotate("", (4.7, row + 0.9), (2.5, row + 0.9), arrowprops=_arrow())
            axes.text(4.85, row + 0.9, f"{step.rows_out} out: {step.reason}", va="center",
                      color=LOOK.quiet)  # fmt: skip
        last = f"{audit.eyes} eyes of {audit.persons} persons audited"
        _box(axes, (2.5, rows - 0.6), last, bold=True)
        sheet.text(0.02, 0.06 / height, CAUTIONS[0], fontsize=6.0)
        words = flow_description(audit)
        return drawing_bytes(
            sheet, f"Who is in the audit of {audit.source}", words, kind, PRINT_DPI
        )


def _arrow() -> dict[str, object]:
    return {"arrowstyle": "->", "color": LOOK.ink, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}


def _box(axes: "Axes", at: tuple[float, float], words: str, *, bold: bool = False) -> None:
    axes.text(
        *at, words, ha="center", va="center", fontweight="bold" if bold else "normal",
        bbox={"boxstyle": "square,pad=0.5", "fc": LOOK.paper, "ec": LOOK.ink, "lw": 0.9},
    )  # fmt: skip


def draw_funnel(funnel: Funnel, kind: Kind = "svg") -> bytes:
    """How does a funnel look: a share a surgeon against the eyes it is worth, and the limits?"""
    from matplotlib import rc_context  # noqa: PLC0415
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    most = max(one.worth for one in funnel.points)
    eyes = np.unique(np.geomspace(3.0, min(max(1.1 * most, 12.0), 1e7), _MOST_EYES).astype(int))
    with rc_context(DRAWING_STYLE):
        sheet = Sheet(figsize=(7.1, 3.9), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        axes = sheet.add_axes((0.09, 0.2, 0.88, 0.7))
        for tail, line in zip(TAILS, ("-", "--"), strict=True):
            label = f"{100.0 * (1.0 - 2.0 * tail):g} % by chance"
            for end, named in ((tail, label), (1.0 - tail, None)):
                row = [100.0 * binomial_limit(funnel.target, float(n), end) for n in eyes]
                axes.plot(eyes, row, line, color=LOOK.quiet, linewidth=1.0, label=named)
        axes.axhline(100.0 * funnel.target, color=LOOK.ink, linewidth=0.9,
                     label=f"all eyes, {100.0 * funnel.target:.1f} %")  # fmt: skip
        for one in funnel.points:
            outside = one.outside > 0
            axes.plot(one.worth, 100.0 * one.share, "D" if outside else "o", markersize=5.0,
                      color=LOOK.bare if outside else LOOK.covered, zorder=3)  # fmt: skip
            if outside:  # the others stand close together, and in the table
                axes.annotate(one.name[:24], (one.worth, 100.0 * one.share), (4, 4),
                          textcoords="offset points", fontsize=6.5)  # fmt: skip
        axes.set_xlabel("separate eyes that the eyes are worth")
        axes.set_ylabel("complete cover (%)")
        axes.set_title(f"Each {funnel.column} about all eyes", fontsize=LOOK.small_pt, loc="left")
        axes.legend(fontsize=6.5, frameon=False, loc="lower right")
        axes.set_ylim(top=101.5)
        sheet.text(0.02, 0.02, CAUTIONS[0], fontsize=6.0)
        return drawing_bytes(sheet, f"Funnel by {funnel.column}", funnel.sentence, kind, PRINT_DPI)
