"""Two methods against each other: difference over mean, with limits and their exact intervals."""

import io

from rimwise.records.study import UNITS, Agreement
from rimwise.report.letters import keep_drawable
from rimwise.report.look import LOOK
from rimwise.report.study_words import NAMES
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS


def draw_agreement(name: str, pair: Agreement, points: FloatArray) -> bytes:
    """How do two methods differ over the range of what was measured? (a PNG)

    Parameters
    ----------
    name : str
        Which number, a key of ``UNITS``.
    pair : Agreement
        The two methods with their limits.
    points : array, shape (eyes, 2)
        Mean of both methods and first minus second.

    Examples
    --------
    >>> from rimwise.stats.agreement import limits_from_summary
    >>> pair = Agreement("a", "b", limits_from_summary(3, 0.0, 0.1))
    >>> import numpy as np
    >>> draw_agreement("area_mm2", pair, np.array([[20.0, 0.1], [21.0, -0.1]]))[1:4]
    b'PNG'
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    unit, limits = UNITS[name], pair.limits
    with rc_context({"font.family": LOOK.font, "font.size": LOOK.small_pt}):
        sheet = Figure(figsize=(6.4, 4.2), dpi=130, facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        axes = sheet.add_axes((0.13, 0.19, 0.70, 0.71))
        axes.set_facecolor(LOOK.paper)
        axes.plot(points[:, 0], points[:, 1], "o", color=LOOK.ink, markersize=4.5)
        for word, line, style in (
            ("mean", limits.mean, "-"), ("lower limit", limits.lower, "--"),
            ("upper limit", limits.upper, "--"),
        ):  # fmt: skip
            axes.axhspan(line.low, line.high, color=LOOK.covered, alpha=0.16, linewidth=0.0)
            axes.axhline(line.value, color=LOOK.covered, linestyle=style, linewidth=1.3)
            label = f" {word}\n {line.value:.3f}".replace("-", "−")
            axes.text(1.0, line.value, label, transform=axes.get_yaxis_transform(), va="center")
        axes.axhline(0.0, color=LOOK.quiet, linewidth=0.7, linestyle=":")
        axes.set_xlabel(f"mean of both, {unit}")
        axes.set_ylabel(f"{pair.first} minus {pair.second}, {unit}")
        axes.set_title(f"{NAMES[name]}, {limits.n} eyes", loc="left", fontsize=LOOK.text_pt)
        sheet.text(0.02, 0.02, CAUTIONS[0], fontsize=6.0, color=LOOK.quiet)
        sink = io.BytesIO()
        keep_drawable(sheet)
        sheet.savefig(sink, format="png", metadata={"Software": None})
    return sink.getvalue()
