"""A placement drawn: optic and opening to scale beside the strip of cover now and at best."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from rimwise.records.placement import Placement, Point
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.look import BARE_HATCH, DRAWING_STYLE, LOOK, UNSEEN_HATCH
from rimwise.report.place_words import shift_words
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_STYLE = DRAWING_STYLE | {"font.size": LOOK.text_pt - 1.0}
_GAP_DEG = 3.0


def draw_placement(placement: Placement, kind: Literal["svg", "png"] = "svg") -> bytes:
    """How does the placement look, as one picture?

    Left the optic now and at its best place behind the opening's edge, to scale, as the examiner
    sees the eye, with every centre that covers all round. Right the cover by direction now and at
    best, and below what centring on the visual axis costs.

    Raises
    ------
    ValueError
        If the placement was refused: there is nothing to draw.

    Examples
    --------
    >>> draw_placement(Placement("eye.jpg", "right", "refused", ()))
    Traceback (most recent call last):
    ...
    ValueError: a refused placement has nothing to draw; show its reasons instead
    """
    if placement.today is None or placement.now is None:
        raise ValueError("a refused placement has nothing to draw; show its reasons instead")
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(_STYLE):
        figure = Figure(figsize=(9.6, 4.9), facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            2, 2, width_ratios=(1.0, 1.15), left=0.02, right=0.97, top=0.9, bottom=0.16,
            hspace=0.62, wspace=0.16,
        )  # fmt: skip
        _draw_view(figure.add_subplot(grid[:, 0]), placement)
        rows = grid[:, 1] if placement.trade_off is None else grid[0, 1]
        _draw_strip(figure.add_subplot(rows), placement)
        if placement.trade_off is not None:
            _draw_trade_off(figure.add_subplot(grid[1, 1]), placement)
        figure.text(0.02, 0.02, CAUTIONS[0], fontsize=6.5)
        title = f"Place of the optic, {placement.picture}"
        return drawing_bytes(figure, title, placement_description(placement), kind)


def placement_description(placement: Placement) -> str:
    """What does the picture show, for those who can't see it?"""
    now, today = placement.now, placement.today
    if now is None or today is None:
        return "Nothing could be placed."
    return (
        f"Optic and opening's edge of a {placement.side} eye. Least cover now "
        f"{now.least_cover_mm:.2f} mm; at best {today.margin_mm.value:.2f} mm, with "
        f"{shift_words(today.best.at_mm, placement.side)} from now."
    )


def _draw_view(axes: "Axes", placement: Placement) -> None:
    from matplotlib.patches import Circle, Ellipse, Polygon  # noqa: PLC0415

    today = placement.today
    assert today is not None
    radius = (placement.optic_diameter_mm or 0.0) / 2.0
    quiet = {"fill": False, "ec": LOOK.quiet, "linestyle": "--", "linewidth": 1.2}
    axes.add_patch(Circle((0.0, 0.0), radius, **quiet))
    best = {"fill": False, "ec": LOOK.covered, "linewidth": 1.8}
    axes.add_patch(Circle(today.best.at_mm, radius, **best))
    edge = _with_gaps(np.array(placement.edge_mm))
    axes.plot(*edge.T, color=LOOK.ink, linewidth=1.6)
    if today.complete_region_mm:
        axes.add_patch(
            Polygon(today.complete_region_mm, facecolor=LOOK.covered, alpha=0.22, linewidth=0.0)
        )
    if placement.rest is not None and max(placement.rest.sd_mm) > 0.0:
        wide, high = (2.0 * sd for sd in placement.rest.sd_mm)
        axes.add_patch(
            Ellipse(placement.rest.mean_mm, wide, high, fill=False, ec=LOOK.bare, linestyle=":")
        )
    _draw_marks(axes, placement)
    _draw_names(axes, placement, radius)


def _draw_marks(axes: "Axes", placement: Placement) -> None:
    """Draw each centre with a mark of its own, named in the key."""
    today = placement.today
    assert today is not None
    marks: list[tuple[Point, str, str, str]] = [
        ((0.0, 0.0), "x", LOOK.quiet, "optic now (dashed)"),
        (today.best.at_mm, "o", LOOK.covered, "best today (solid)"),
    ]
    if placement.trade_off is not None:
        marks.append((placement.trade_off.visual_axis_mm, "D", LOOK.ink, "visual axis"))
    if placement.rest is not None:
        marks.append((placement.rest.mean_mm, "^", LOOK.bare, "will rest (± 1 sd)"))
    for at, mark, colour, name in marks:
        hollow = "none" if mark != "x" else colour
        axes.plot(*at, mark, color=colour, markersize=6, markerfacecolor=hollow, label=name)
    axes.plot([], [], color=LOOK.ink, linewidth=1.6, label="edge of the opening")
    if today.complete_region_mm:
        seen = "" if placement.status == "placed" else ", as far as seen"
        name = f"centres with complete cover{seen}"
        axes.fill([], [], color=LOOK.covered, alpha=0.22, label=name)
    axes.legend(
        loc="upper center", bbox_to_anchor=(0.5, 0.0), ncols=2, fontsize=7, frameon=False,
        handlelength=1.4, columnspacing=1.2,
    )  # fmt: skip


def _draw_names(axes: "Axes", placement: Placement, radius: float) -> None:
    reach = radius + 0.6
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    east = direction_words(0.0, placement.side)
    west = direction_words(180.0, placement.side)
    axes.text(reach, 0, east, rotation=90, ha="center", va="center", fontsize=8)
    axes.text(-reach, 0, west, rotation=90, ha="center", va="center", fontsize=8)
    axes.set_title("Optic behind the opening, as the examiner sees it", fontsize=9)
    low = -0.62 * radius
    axes.plot([-0.5, 0.5], [low, low], color=LOOK.ink, linewidth=2, solid_capstyle="butt")
    axes.text(0.0, low - 0.06, "1 mm", ha="center", va="top", fontsize=8)


def _with_gaps(points: FloatArray) -> FloatArray:
    """Return the closed edge with a break wherever part of it was not seen."""
    closed = np.concatenate([points, points[:1]])
    angle = np.degrees(np.arctan2(closed[:, 1], closed[:, 0]))
    step = np.abs((np.diff(angle) + 180.0) % 360.0 - 180.0)
    breaks = np.flatnonzero(step > _GAP_DEG) + 1
    return np.insert(closed, breaks, np.nan, axis=0)


def _cover_about(placement: Placement, centre_mm: Point) -> tuple[FloatArray, FloatArray]:
    """Return directions and cover about a centre, in the order of the directions."""
    gap = np.array(placement.edge_mm) - np.asarray(centre_mm)
    angle = np.degrees(np.arctan2(gap[:, 1], gap[:, 0])) % 360.0
    order = np.argsort(angle)
    width = (placement.optic_diameter_mm or 0.0) / 2.0 - np.hypot(gap[:, 0], gap[:, 1])
    angle, width = angle[order], width[order]
    breaks = np.flatnonzero(np.diff(angle) > _GAP_DEG) + 1
    return np.insert(angle, breaks, np.nan), np.insert(width, breaks, np.nan)


def _draw_strip(axes: "Axes", placement: Placement) -> None:
    today = placement.today
    assert today is not None
    axes.set_facecolor(LOOK.paper)
    angle, width = _cover_about(placement, today.best.at_mm)
    axes.fill_between(angle, 0.0, np.maximum(width, 0.0), color=LOOK.covered, alpha=0.28, lw=0)
    bare = np.minimum(width, 0.0)
    axes.fill_between(angle, 0.0, bare, facecolor=LOOK.bare, alpha=0.4, hatch=BARE_HATCH, lw=0)
    _draw_unseen(axes, angle)
    axes.plot(angle, width, color=LOOK.covered, linewidth=1.8, label="best today")
    now_angle, now = _cover_about(placement, (0.0, 0.0))
    axes.plot(now_angle, now, "--", color=LOOK.quiet, linewidth=1.3, label="now")
    axes.axhline(0.0, color=LOOK.ink, linewidth=1.0)
    axes.set(xlim=(0.0, 360.0), ylabel="cover, mm")
    low = min(float(np.nanmin(width)), float(np.nanmin(now)), 0.0) - 0.1
    axes.set_ylim(low, max(float(np.nanmax(width)), float(np.nanmax(now))) + 0.15)
    ticks = (0, 90, 180, 270, 360)
    hours = {0: "3 h", 90: "12 h", 180: "9 h", 270: "6 h", 360: "3 h"}
    axes.set_xticks(ticks, [f"{t}°\n{hours[t]}" for t in ticks])
    axes.set_title("Cover by direction: positive covered, negative bare", fontsize=9)
    axes.legend(loc="upper right", ncols=2, fontsize=7, frameon=False)


def _draw_unseen(axes: "Axes", angle: FloatArray) -> None:
    """Hatch the directions in which nobody saw the edge; nothing is drawn into them."""
    seen = angle[~np.isnan(angle)]
    gaps = [(seen[k], seen[k + 1]) for k in np.flatnonzero(np.diff(seen) > _GAP_DEG)]
    if seen[0] + 360.0 - seen[-1] > _GAP_DEG:
        gaps += [(0.0, seen[0]), (seen[-1], 360.0)]
    for start, end in gaps:
        axes.axvspan(start, end, facecolor="none", edgecolor=LOOK.unseen, hatch=UNSEEN_HATCH, lw=0)
        if end - start < 2.0 * _GAP_DEG:
            continue
        middle = 0.5 * (start + end)
        paper = {"facecolor": LOOK.paper, "edgecolor": "none", "pad": 1.0}
        axes.text(middle, 0.03, "not seen", rotation=90, ha="center", fontsize=7, bbox=paper)


def _draw_trade_off(axes: "Axes", placement: Placement) -> None:
    trade = placement.trade_off
    assert trade is not None
    axes.set_facecolor(LOOK.paper)
    distance = [point.from_visual_axis_mm for point in trade.curve]
    cover = [point.least_cover_mm for point in trade.curve]
    axes.plot(distance, cover, color=LOOK.covered, linewidth=1.8)
    axes.plot(distance[0], cover[0], "D", color=LOOK.ink, markerfacecolor="none")
    axes.plot(distance[-1], cover[-1], "o", color=LOOK.covered, markerfacecolor="none")
    axes.axhline(0.0, color=LOOK.ink, linewidth=1.0)
    room = max(0.05, 0.12 * distance[-1])
    axes.set(xlim=(-0.3 * room, distance[-1] + room), xlabel="optic from visual axis, mm")
    axes.set_ylabel("least cover, mm")
    axes.set_ylim(min(*cover, 0.0) - 0.06, max(*cover, 0.0) + 0.08)
    axes.set_title("What centring on the visual axis costs in cover", fontsize=9)
