"""The timeline of a clip: offset, turn and confidence over time, and when no eye was in sight."""

import io
import math
from collections.abc import Sequence

from rimwise.records.clip import SHOWN, ClipRow
from rimwise.report.look import LOOK, UNSEEN_HATCH
from rimwise.terms.cautions import CAUTIONS


def draw_timeline(rows: Sequence[ClipRow], title: str) -> bytes:
    """How did offset, turn and confidence go through a clip, as one picture?

    Parameters
    ----------
    rows : sequence of ClipRow
    title : str
        Name of the clip.

    Returns
    -------
    bytes
        A PNG; equal input gives equal bytes.

    Examples
    --------
    >>> draw_timeline([ClipRow(0, 0.0, "lost"), ClipRow(1, 0.04, "closed")], "a.mp4")[1:4]
    b'PNG'
    """
    import matplotlib as mpl  # noqa: PLC0415 - a second of import
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with mpl.rc_context({"font.family": LOOK.font, "font.size": LOOK.small_pt}):
        figure = Figure(figsize=(10.0, 6.2), dpi=130, facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        axes = figure.subplots(3, 1, sharex=True)
        time = [row.time_s for row in rows]
        pairs = (
            ("P1 to P4, mm", [row.offset_mm for row in rows]),
            ("turn still to make, °", [row.turn_deg for row in rows]),
        )
        for one, (label, values) in zip(axes, pairs, strict=False):
            for k, (name, style) in enumerate((("right", "-"), ("up", "--"))):
                line = [math.nan if v is None else v[k] for v in values]
                one.plot(time, line, style, color=(LOOK.covered, LOOK.bare)[k], lw=1.2, label=name)
            one.set_ylabel(label)
            one.legend(loc="upper right", frameon=False, ncols=2)
        axes[2].plot(time, [row.confidence for row in rows], color=LOOK.ink, lw=1.2)
        axes[2].set_ylim(0.0, 1.0)
        axes[2].set_ylabel("confidence")
        axes[2].set_xlabel(
            "time, s; dotted: no eye in sight; confidence: 1 / (1 + sd of the turn in °)"
        )
        for one in axes:
            one.set_facecolor(LOOK.paper)
            for start, end in hidden_spans(rows):
                one.axvspan(start, end, facecolor="none", edgecolor=LOOK.unseen, hatch=UNSEEN_HATCH)
        figure.suptitle(title, fontsize=LOOK.title_pt, color=LOOK.ink)
        figure.text(0.02, 0.01, CAUTIONS[0], fontsize=LOOK.small_pt, color=LOOK.quiet)
        sink = io.BytesIO()
        figure.savefig(sink, format="png", metadata={"Software": None})
    return sink.getvalue()


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
