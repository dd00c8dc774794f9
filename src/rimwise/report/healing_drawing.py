"""A course of healing drawn: edges over each other, cover through time, what is expected."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from rimwise.records.healing import Healing, Visit
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.healing_words import healing_description
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import direction_words, examiner_from_nasal_superior

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LINES = ("-", "--", "-.", ":")


def draw_healing(course: Healing, kind: Literal["svg", "png"] = "svg") -> bytes:
    """How does a course look?

    Left the opening's edges and the optic's rims of all visits in the eye, to scale. Right the
    cover strip of each visit, and below the least cover against time with what is expected.

    Examples
    --------
    >>> draw_healing(Healing("E-1", "left", 0, ()))[:5]
    b'<?xml'
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(DRAWING_STYLE):
        figure = Figure(figsize=(9.6, 5.2), facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            2, 2, width_ratios=(1.0, 1.2), left=0.03, right=0.97, top=0.93, bottom=0.14,
            hspace=0.5, wspace=0.14,
        )  # fmt: skip
        _draw_eye(figure.add_subplot(grid[:, 0]), course)
        _draw_strips(figure.add_subplot(grid[0, 1]), course)
        _draw_time(figure.add_subplot(grid[1, 1]), course)
        figure.text(0.02, 0.02, CAUTIONS[0], fontsize=6.5)
        title = f"Course of {course.code}"
        return drawing_bytes(figure, title, healing_description(course), kind)


def _told(course: Healing) -> list[tuple[int, Visit]]:
    return [(n, v) for n, v in enumerate(course.visits) if v.finding.cover is not None]


def _shade(number: int, count: int) -> str:
    """Later visits are darker; line shape and label say the same."""
    return (LOOK.unseen, LOOK.covered, LOOK.ink)[min(2, round(2.0 * number / max(count - 1, 1)))]


def _turned(visit: Visit) -> tuple[FloatArray, float]:
    """Cover by the first picture's directions, and the roll that was taken off."""
    cover, change = visit.finding.cover, visit.change
    assert cover is not None
    width = np.array([np.nan if w is None else w for w in cover.width_mm])
    roll = 0.0 if change is None else change.roll_deg or 0.0
    return np.roll(width, -round(roll)), roll


def _draw_eye(axes: "Axes", course: Healing) -> None:
    from matplotlib.patches import Circle  # noqa: PLC0415

    theta = np.radians(np.arange(361.0))
    for number, visit in _told(course):
        optic, change = visit.finding.optic, visit.change
        if optic is None:
            continue
        x, y = 0.0, 0.0
        if change is not None and change.shift_nasal_mm and change.shift_superior_mm:
            x, y = examiner_from_nasal_superior(
                change.shift_nasal_mm.value, change.shift_superior_mm.value, course.side
            )
        radius = 0.5 * optic.diameter_mm
        look = {"ec": _shade(number, len(course.visits)), "linestyle": _LINES[number % 4]}
        axes.add_patch(Circle((x, y), radius, fill=False, linewidth=0.8, **look))
        width = _turned(visit)[0]
        edge = radius - np.append(width, width[0])
        axes.plot(
            x + edge * np.cos(theta), y + edge * np.sin(theta), color=look["ec"],
            linestyle=look["linestyle"], linewidth=1.8, label=f"day {visit.day}",
        )  # fmt: skip
    axes.set_xlim(-3.9, 3.9)
    axes.set_ylim(-4.0, 3.8)
    axes.set_aspect("equal")
    axes.axis("off")
    axes.plot([2.4, 3.4], [-3.75, -3.75], color=LOOK.ink, linewidth=2.0)
    axes.text(2.9, -3.65, "1 mm", ha="center", fontsize=LOOK.small_pt)
    axes.text(3.75, 0.0, direction_words(0.0, course.side), rotation=90, va="center", ha="center")
    axes.text(0.0, 3.6, "superior", ha="center")
    axes.set_title(f"{course.code}, {course.side} eye: edge (thick) and rim (thin)", loc="left",
                   fontsize=LOOK.text_pt)  # fmt: skip
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="lower left", frameon=False, fontsize=LOOK.small_pt)


def _draw_strips(axes: "Axes", course: Healing) -> None:
    for number, visit in _told(course):
        axes.plot(
            np.arange(360.0), _turned(visit)[0], color=_shade(number, len(course.visits)),
            linestyle=_LINES[number % 4], linewidth=1.4,
        )  # fmt: skip
    low, high = axes.get_ylim()
    if low < 0.0:
        axes.axhspan(min(low, -0.05), 0.0, color=LOOK.bare, alpha=0.12, linewidth=0)
        axes.text(2.0, 0.5 * min(low, -0.05), "bare", color=LOOK.bare, va="center")
        axes.set_ylim(min(low, -0.05), high)
    axes.axhline(0.0, color=LOOK.ink, linewidth=0.9)
    axes.set_xlim(0.0, 360.0)
    names = [direction_words(float(d), course.side) for d in range(0, 361, 90)]
    axes.set_xticks(range(0, 361, 90), names)
    axes.set_ylabel("cover (mm)")


def _draw_time(axes: "Axes", course: Healing) -> None:
    least = [
        (visit.day, one.value, one.sd)
        for _, visit in _told(course)
        if visit.finding.cover is not None and (one := visit.finding.cover.min_mm) is not None
    ]
    if least:
        day, value, sd = (np.array(column, dtype=float) for column in zip(*least, strict=True))
        axes.errorbar(day, value, 1.96 * sd, fmt="o-", color=LOOK.covered, markersize=4.0,
                      capsize=2.0, label="least cover, 95 %")  # fmt: skip
    if course.forecast:
        day = np.array([one.day for one in course.forecast], dtype=float)
        value = np.array([one.least_cover_mm.value for one in course.forecast])
        sd = np.array([one.least_cover_mm.sd for one in course.forecast])
        axes.errorbar(day, value, 1.96 * sd, fmt="s", mfc="none", color=LOOK.quiet, markersize=5.0,
                      capsize=2.0, linestyle=":", label="expected, 95 %")  # fmt: skip
    axes.axhline(0.0, color=LOOK.ink, linewidth=0.9)
    axes.set_xlabel("days")
    axes.set_ylabel("least cover (mm)")
    if least or course.forecast:
        axes.legend(frameon=False, fontsize=LOOK.small_pt, loc="best")
