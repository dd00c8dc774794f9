"""An audit drawn: every number as a dot with its interval, every vector as a cloud."""

from typing import TYPE_CHECKING

import numpy as np

from rimwise.audit.learning import LearningChart
from rimwise.records.series import Audit, AuditPart, Figure
from rimwise.report.finished_drawing import PRINT_DPI, Kind, drawing_bytes
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.terms.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SCALES = {"1": "share of eyes (%)", "mm": "mm", "dpt": "dpt", "logMAR": "logMAR", "deg": "deg"}
_FILES = {"1": "shares", "mm": "mm", "dpt": "dpt", "logMAR": "acuity", "deg": "deg"}
_PAGE_ROWS = 42
_ROW_INCH = 0.235
_BELOW_INCH = 0.6  # each panel's own scale
_LINES = ("-", "--")


def number_sheets(audit: Audit) -> list[tuple[str, tuple[str, ...]]]:
    """On which sheets do the numbers stand: name, and the units on it?

    One sheet where they fit a page, else one a unit.

    Examples
    --------
    >>> number_sheets(Audit("t.csv", 0, 0, "", (), ()))
    []
    """
    groups = _groups(audit)
    if not groups:
        return []
    if sum(len(_with_headings(figures)) for _, figures in groups) <= _PAGE_ROWS:
        return [("numbers", tuple(unit for unit, _ in groups))]
    return [(f"numbers-{_FILES[unit]}", (unit,)) for unit, _ in groups]


def draw_numbers(audit: Audit, kind: Kind = "svg", units: tuple[str, ...] = ()) -> bytes | None:
    """How do the numbers look: one column of dots with intervals, one common scale a unit?

    Parameters
    ----------
    audit : Audit
    kind : "svg", "png" or "pdf"
    units : tuple of str
        Those to draw, all without a word; see `number_sheets`.

    Returns
    -------
    bytes or None
        None where no figure has an interval.

    Examples
    --------
    >>> draw_numbers(Audit("t.csv", 0, 0, "", (), ())) is None
    True
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    groups = [
        (unit, _with_headings(figures))
        for unit, figures in _groups(audit)
        if not units or unit in units
    ]
    if not groups:
        return None
    tall = [len(lines) * _ROW_INCH for _, lines in groups]
    height = sum(tall) + _BELOW_INCH * len(groups) + 0.3
    with rc_context(DRAWING_STYLE):
        sheet = Sheet(figsize=(7.1, height), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        panels, top = [], height - 0.1
        for inches in tall:
            panels.append(sheet.add_axes((0.43, (top - inches) / height, 0.54, inches / height)))
            top -= inches + _BELOW_INCH
        for axes, (unit, lines) in zip(panels, groups, strict=True):
            _dots(axes, unit, lines)
        sheet.text(0.02, 0.06 / height, CAUTIONS[0], fontsize=6.0)
        return drawing_bytes(
            sheet, f"Audit of {audit.source}", numbers_description(audit), kind, PRINT_DPI
        )


def _groups(audit: Audit) -> list[tuple[str, list[tuple[str, Figure]]]]:
    told: dict[str, list[tuple[str, Figure]]] = {}
    for part in audit.parts:
        for one in part.figures:
            # A diameter of 5 mm would press all covers and biases of tenths into one line.
            large = one.unit == "mm" and (one.value or 0.0) > 2.0
            if one.value is not None and one.low is not None and one.unit in _SCALES and not large:
                chapter = part.title.split(" (")[0].split(", about")[0]
                told.setdefault(one.unit, []).append((chapter, one))
    return [(unit, told[unit]) for unit in _SCALES if unit in told]


def numbers_description(audit: Audit) -> str:
    """What do the dots show, for those who cannot see them?"""
    count = sum(len(figures) for _, figures in _groups(audit))
    return (
        f"{count} numbers of {audit.eyes} eyes of {audit.persons} persons as dots with 95 % "
        "intervals; each stands in the tables."
    )


def _dots(axes: "Axes", unit: str, rows: list[tuple[str, Figure | None]]) -> None:
    factor = 100.0 if unit == "1" else 1.0
    for row, (_, one) in enumerate(rows):
        if one is None:
            continue
        low, high = (factor * (end or 0.0) for end in (one.low, one.high))
        axes.plot([low, high], [row, row], color=LOOK.covered, linewidth=1.6, clip_on=False)
        middle = factor * (one.value or 0.0)
        axes.plot(middle, row, "o", color=LOOK.ink, markersize=4.0, clip_on=False, zorder=3)
    axes.set_yticks(range(len(rows)), [_short(label) for label, _ in rows])
    for tick, (_, one) in zip(axes.get_yticklabels(), rows, strict=True):
        tick.set_fontweight("bold" if one is None else "normal")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlabel(_SCALES[unit])
    if unit == "1":
        axes.set_xlim(0.0, 100.0)
    elif axes.get_xlim()[0] < 0.0 < axes.get_xlim()[1]:
        axes.axvline(0.0, color=LOOK.quiet, linewidth=0.7, linestyle=":")


def _with_headings(figures: list[tuple[str, Figure]]) -> list[tuple[str, Figure | None]]:
    """Rows of one panel: each chapter's name above its numbers."""
    rows: list[tuple[str, Figure | None]] = []
    before = ""
    for chapter, one in figures:
        if chapter != before:
            rows.append((chapter, None))
        rows.append((one.name, one))
        before = chapter
    return rows


def _short(label: str) -> str:
    return label if len(label) <= 46 else label[:45] + "…"


def draw_cloud(part: AuditPart, kind: Kind = "svg") -> bytes | None:
    """How do the vectors of a chapter look: a cloud to scale with its named ellipses?

    Returns None where the chapter has no vectors.

    Examples
    --------
    >>> draw_cloud(AuditPart("cover", "Cover", ())) is None
    True
    """
    if not (part.cloud or part.ellipses):
        return None
    from matplotlib import rc_context  # noqa: PLC0415
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    with rc_context(DRAWING_STYLE):
        sheet = Sheet(figsize=(3.5, 3.9), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        axes = sheet.add_axes((0.16, 0.24, 0.79, 0.66))
        points = np.asarray(part.cloud).reshape(-1, 2)
        axes.plot(points[:, 0], points[:, 1], ".", color=LOOK.covered, markersize=3.0, alpha=0.55)
        _ellipses(axes, part)
        axes.axhline(0.0, color=LOOK.rule, linewidth=0.8, zorder=0)
        axes.axvline(0.0, color=LOOK.rule, linewidth=0.8, zorder=0)
        axes.set_aspect("equal", adjustable="datalim")
        axes.set_xlabel(part.axes[0])
        axes.set_ylabel(part.axes[1])
        axes.set_title(part.title, fontsize=LOOK.small_pt, loc="left")
        if part.ellipses:
            sheet.legend(
                *axes.get_legend_handles_labels(), loc="lower left", fontsize=6.5, frameon=False,
                bbox_to_anchor=(0.12, 0.035), borderaxespad=0.0,
            )  # fmt: skip
        sheet.text(0.02, 0.012, CAUTIONS[0], fontsize=4.2)
        words = f"{len(part.cloud)} eyes as points, {part.axes[0]} to the right, {part.axes[1]} up."
        return drawing_bytes(sheet, part.title, words, kind, PRINT_DPI)


def _ellipses(axes: "Axes", part: AuditPart) -> None:
    from matplotlib.patches import Ellipse as Patch  # noqa: PLC0415

    for line, one in zip(_LINES, part.ellipses, strict=False):
        axes.add_patch(
            Patch(
                one.center,
                2.0 * one.semi_major,
                2.0 * one.semi_minor,
                angle=one.angle_deg,
                fill=False,
                ec=LOOK.bare,
                linestyle=line,
                linewidth=1.4,
                label=f"{one.kind} ({100 * one.level:.0f} %)",
            )
        )
    if part.ellipses:
        axes.plot(*part.ellipses[0].center, "+", color=LOOK.bare, markersize=9.0, label="centroid")


def draw_chart(chart: LearningChart, kind: Kind = "svg") -> bytes:
    """How does a chart look: the quantity eye by eye, and below its running sums and limits?"""
    from matplotlib import rc_context  # noqa: PLC0415
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    with rc_context(DRAWING_STYLE):
        rows = 2 if chart.mean is None else 3
        sheet = Sheet(figsize=(7.1, 1.75 * rows + 0.7), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        top, *more, low = sheet.subplots(rows, 1, sharex=True)
        sheet.subplots_adjust(left=0.1, right=0.97, top=0.93, bottom=0.13, hspace=0.14)
        eyes = np.arange(1, len(chart.values) + 1)
        top.plot(eyes, chart.values, ".", color=LOOK.quiet, markersize=3.0)
        for axes in more:
            assert chart.mean is not None
            assert chart.low is not None
            axes.plot(eyes, chart.mean, color=LOOK.covered, linewidth=1.4)
            axes.fill_between(eyes, chart.low, chart.high, color=LOOK.rule, alpha=0.6, linewidth=0)
            axes.set_ylabel("running mean (sd)")
        label = f"{chart.name} ({chart.unit})" if more else chart.name
        top.set_ylabel(
            label.replace(", ", ",\n").replace(" of ", "\nof ").replace(" from ", "\nfrom ")
        )
        top.set_title(chart.sentence, fontsize=LOOK.small_pt, loc="left", wrap=True)
        low.plot(eyes, chart.upper, color=LOOK.bare, linewidth=1.4, label="above")
        if chart.lower.any():
            low.plot(eyes, -chart.lower, color=LOOK.covered, linestyle="--", label="below")
            low.axhline(-chart.limit, color=LOOK.ink, linewidth=0.8, linestyle=":")
        low.axhline(chart.limit, color=LOOK.ink, linewidth=0.8, linestyle=":")
        if chart.first_signal is not None:
            low.axvline(chart.first_signal + 1, color=LOOK.ink, linewidth=0.9)
        low.set_ylabel("running sum (sd)" if more else "running sum")
        low.set_xlabel("eyes in the order of operation")
        low.legend(fontsize=6.5, frameon=False, loc="upper left")
        sheet.text(0.02, 0.015, CAUTIONS[0], fontsize=6.0)
        return drawing_bytes(sheet, f"Chart of {chart.name}", chart.sentence, kind, PRINT_DPI)
