"""The timeline of a clip: offset, turn and confidence over time, and when no eye was in sight."""

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rimwise.records.clip import SHOWN, ClipRow
from rimwise.report.letters import drawable
from rimwise.report.look import LOOK, UNSEEN_HATCH
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import Side, nasal_superior

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_timeline(rows: Sequence[ClipRow], title: str, side: Side) -> bytes:
    """How did offset, turn and confidence go through a clip, as one picture?

    Turn and confidence are drawn where any frame tells them, so where there is a reference.

    Parameters
    ----------
    rows : sequence of ClipRow
    title : str
        Name of the clip.
    side : "right" or "left"
        Of the eye: the curves are told as nasal and up.

    Returns
    -------
    bytes
        A PNG; equal input gives equal bytes.

    Examples
    --------
    >>> rows = [ClipRow(0, 0.0, "lost"), ClipRow(1, 0.04, "closed")]
    >>> draw_timeline(rows, "a.mp4", "left")[1:4]
    b'PNG'
    """
    import matplotlib as mpl  # noqa: PLC0415 - a second of import
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    panels = [("P1 to P4, mm", [row.offset_mm for row in rows])]
    turned = any(row.turn_deg is not None for row in rows)
    if turned:
        panels.append(("turn still to make, °", [row.turn_deg for row in rows]))
    count = len(panels) + turned
    with mpl.rc_context({"font.family": LOOK.font, "font.size": LOOK.small_pt}):
        figure = Figure(figsize=(10.0, 1.1 + 1.7 * count), dpi=130, facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        axes = figure.subplots(count, 1, sharex=True, squeeze=False)[:, 0]
        room = 10.0 * figure.get_figheight()
        figure.subplots_adjust(
            left=0.08, right=0.89, top=1.0 - 4.5 / room, bottom=6.5 / room, hspace=0.18
        )
        for one, (label, values) in zip(axes, panels, strict=False):
            _draw_pair(one, label, [row.time_s for row in rows], values, side)
        words = "time, s; dotted: no eye in sight"
        if turned:
            axes[-1].plot(
                [row.time_s for row in rows], [row.confidence for row in rows],
                color=LOOK.ink, lw=1.2,
            )  # fmt: skip
            axes[-1].set_ylim(0.0, 1.0)
            axes[-1].set_ylabel("confidence")
            words += "; confidence: 1 / (1 + sd of the turn in °)"
        axes[-1].set_xlabel(words)
        for one in axes:
            one.set_facecolor(LOOK.paper)
            for start, end in hidden_spans(rows):
                one.axvspan(start, end, facecolor="none", edgecolor=LOOK.unseen, hatch=UNSEEN_HATCH)
        title += "" if turned else ": no turn is told without this eye's reference"
        figure.suptitle(drawable(title), x=0.02, ha="left", fontsize=LOOK.title_pt, color=LOOK.ink)
        figure.text(0.02, 0.01, CAUTIONS[0], fontsize=LOOK.small_pt, color=LOOK.quiet)
        sink = io.BytesIO()
        figure.savefig(sink, format="png", metadata={"Software": None})
    return sink.getvalue()


def _draw_pair(
    axes: "Axes",
    label: str,
    time_s: list[float],
    values: Sequence[tuple[float, float] | None],
    side: Side,
) -> None:
    """Draw a vector over time as nasal and up, each named at its end."""
    told = [(math.nan, math.nan) if v is None else nasal_superior(*v, side) for v in values]
    seen = [k for k, pair in enumerate(told) if math.isfinite(pair[0])]
    for k, (name, style) in enumerate((("nasal", "-"), ("up", "--"))):
        colour = (LOOK.covered, LOOK.bare)[k]
        axes.plot(time_s, [pair[k] for pair in told], style, color=colour, lw=1.2)
        if seen:
            axes.annotate(
                name, (1.0, told[seen[-1]][k]), xycoords=("axes fraction", "data"),
                xytext=(4.0, 5.0 if told[seen[-1]][k] >= told[seen[-1]][1 - k] else -5.0),
                textcoords="offset points", va="center", color=colour, annotation_clip=False,
            )  # fmt: skip
    axes.axhline(0.0, color=LOOK.rule, lw=0.8, zorder=0)
    axes.set_ylabel(label)


def hidden_spans(rows: Sequence[ClipRow]) -> list[tuple[float, float]]:
    """From when to when was no eye in sight?

    Examples
    --------
    >>> hidden_spans([ClipRow(0, 0.0, "found"), ClipRow(1, 0.1, "lost"), ClipRow(2, 0.2, "found")])
    [(0.1, 0.2)]
    """
    spans: list[tuple[float, float]] = []
    start: float | None = None
    for row in rows:
        shown = row.status in SHOWN
        if not shown and start is None:
            start = row.time_s
        elif shown and start is not None:
            spans.append((start, row.time_s))
            start = None
    if start is not None:
        spans.append((start, rows[-1].time_s))
    return spans
