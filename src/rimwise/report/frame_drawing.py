"""One drawing of one still: rings, reflexes, target, planned opening, and the turn on a ruler."""

import io
import math
import textwrap
from typing import TYPE_CHECKING

import numpy as np

from rimwise.picture.raster import Raster
from rimwise.records.eye import ReflexName
from rimwise.records.frame import FrameFinding, OffsetFinding, TargetFinding, TargetName
from rimwise.records.picture import PictureSheet
from rimwise.report.look import LOOK
from rimwise.report.on_photo import casing, draw_curve, ellipse_points, lay_photograph
from rimwise.report.upright import upright_pixels, upright_points
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import PictureFrame, examiner_from_nasal_superior, nasal_superior

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI = 130
WIDTH_IN = 10.0
MARGIN_IN = 0.32
TALLEST_IN = 7.4
RULER_IN = 1.15
FOOT_IN = 0.55
_95 = math.sqrt(5.991464547107979)
# Shape before colour: each reflex has its own mark, each ring its own dashes.
_MARKS: dict[ReflexName, str] = {"P1": "o", "P2": "v", "P3": "s", "P4": "D"}
_TARGETS: tuple[tuple[TargetName, str], ...] = (
    ("visual_axis", "visual axis"),
    ("lens_pole", "pole of the lens"),
    ("line_of_sight", "line of sight"),
)


def draw_frame(raster: Raster, finding: FrameFinding, sheet: PictureSheet) -> bytes:
    """What does this frame say, as one picture that a surgeon can check?

    Parameters
    ----------
    raster : Raster
        The frame as stored; the drawing turns it upright.
    finding : FrameFinding
    sheet : PictureSheet
        How the frame was held.

    Returns
    -------
    bytes
        A PNG; equal input gives equal bytes.

    Examples
    --------
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> finding = FrameFinding("f.jpg", "left", "natural", "refused")
    >>> draw_frame(black, finding, PictureSheet("left"))[1:4]
    b'PNG'
    """
    import matplotlib as mpl  # noqa: PLC0415 - a second of import that other commands need not pay
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with mpl.rc_context({"font.family": LOOK.font}):
        lines = reason_lines(finding)
        shown = upright_pixels(raster)
        wide = WIDTH_IN - 2.0 * MARGIN_IN
        tall = min(TALLEST_IN, wide * shown.shape[0] / shown.shape[1])
        ruler = RULER_IN if finding.offset is not None else 0.0
        top = 0.5 + 0.185 * len(lines)
        height = FOOT_IN + ruler + tall + top
        figure = Figure(figsize=(WIDTH_IN, height), dpi=DPI, facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        photo = figure.add_axes(
            (MARGIN_IN / WIDTH_IN, (FOOT_IN + ruler) / height, wide / WIDTH_IN, tall / height)
        )
        _draw_photo(photo, raster, finding, sheet)
        if finding.offset is not None:
            place = (0.06, (FOOT_IN + 0.38) / height, 0.88, (RULER_IN - 0.62) / height)
            _draw_ruler(figure.add_axes(place), finding)
        _write(figure, finding, lines, height)
        sink = io.BytesIO()
        figure.savefig(
            sink, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 4}
        )
    return sink.getvalue()


def reason_lines(finding: FrameFinding) -> list[str]:
    """Which lines stand above the drawing?"""
    lines = [f"Beware: {reason.sentence}." for reason in finding.reasons]
    return [part for line in lines for part in textwrap.wrap(line, 130)]


def _draw_photo(axes: "Axes", raster: Raster, finding: FrameFinding, sheet: PictureSheet) -> None:
    lay_photograph(axes, raster)
    if finding.limbus is not None:
        draw_curve(
            axes, raster, ellipse_points(finding.limbus.ellipse_px), LOOK.optic_curve, "solid"
        )
    if finding.pupil is not None:
        points = ellipse_points(finding.pupil.ellipse_px)
        draw_curve(axes, raster, points, LOOK.pupil_curve, (0, (5, 3)))
    _draw_reflexes(axes, raster, finding)
    _draw_targets(axes, raster, finding)
    _draw_compass(axes, raster, finding, sheet)


def _label(axes: "Axes", at: FloatArray, words: str, away: tuple[float, float]) -> None:
    axes.annotate(
        words, (float(at[0]), float(at[1])), xytext=away, textcoords="offset points",
        color=LOOK.paper, fontsize=LOOK.small_pt, path_effects=casing(), annotation_clip=True,
        ha="left" if away[0] >= 0 else "right", va="center",
    )  # fmt: skip


def _draw_reflexes(axes: "Axes", raster: Raster, finding: FrameFinding) -> None:
    for name, one in finding.reflexes.items():
        if one is None:
            continue
        points = np.array([p for p in one.points_px if p is not None])
        shown = upright_points(points, raster)
        _marks(axes, shown, _MARKS[name], "solid")
        _label(axes, shown[int(shown[:, 0].argmax())], name, (7.0, 0.0))
    ghost = () if finding.offset is None else finding.offset.ghost_px
    if ghost:
        shown = upright_points(np.array(ghost), raster)
        _marks(axes, shown, _MARKS["P4"], "dotted")
        _label(axes, shown[int(shown[:, 0].argmin())], "P4 after the turn", (-7.0, 0.0))


def _marks(axes: "Axes", shown: FloatArray, marker: str, line: str) -> None:
    for colour, width in ((LOOK.casing, 2.4), (LOOK.opening_curve, 1.0)):
        axes.scatter(
            shown[:, 0], shown[:, 1], s=70.0, marker=marker, facecolors="none",
            edgecolors=colour, linewidths=width, linestyle=line,
        )  # fmt: skip


def _draw_targets(axes: "Axes", raster: Raster, finding: FrameFinding) -> None:
    told = [(words, finding.targets.get(name)) for name, words in _TARGETS]
    drawn = [(words, target) for words, target in told if target is not None]
    for k, (words, target) in enumerate(drawn):
        at = upright_points(np.array([target.px]), raster)[0]
        for colour, width in ((LOOK.casing, 2.4), (LOOK.paper, 1.1)):
            axes.plot(*at, marker="+", markersize=11.0, color=colour, markeredgewidth=width)
        _label(axes, at, words, (26.0, -16.0 - 11.0 * k))
        if k == 0:
            draw_curve(axes, raster, spread_outline(target), LOOK.paper, (0, (1.2, 1.2)))
            if target.opening_ring_px is not None:
                ring = np.array([*target.opening_ring_px, target.opening_ring_px[0]])
                draw_curve(axes, raster, ring, LOOK.opening_curve, (0, (6, 2, 1.2, 2)))


def spread_outline(target: TargetFinding) -> FloatArray:
    """Return the outline, (73, 2), in which the target lies with 95 %."""
    uu, vv, uv = target.spread_px
    root = np.linalg.cholesky(np.array([[uu, uv], [uv, vv]]) + 1e-9 * np.eye(2))
    around = np.radians(np.arange(0.0, 361.0, 5.0))
    circle = np.stack([np.cos(around), np.sin(around)])
    return np.asarray(np.array(target.px) + _95 * (root @ circle).T)


def _draw_compass(axes: "Axes", raster: Raster, finding: FrameFinding, sheet: PictureSheet) -> None:
    """Say at the picture's corner where up and nasal are."""
    frame: PictureFrame = sheet.frame.stored(raster.orientation)
    nasal, _ = examiner_from_nasal_superior(1.0, 0.0, finding.side)
    shown = upright_pixels(raster)
    reach = 0.05 * shown.shape[1]
    origin = upright_points(np.zeros((1, 2)), raster)[0]
    middle = np.array([0.085 * shown.shape[1], shown.shape[0] - 0.1 * shown.shape[1]])
    for words, way in (("up", (0.0, 1.0)), ("nasal", (nasal, 0.0))):
        ahead = frame.picture_from_examiner(np.array([way]))
        turned = upright_points(ahead, raster)[0] - origin
        end = middle + reach * turned
        for colour, width in ((LOOK.casing, 3.0), (LOOK.paper, 1.2)):
            axes.plot(*np.array([middle, end]).T, color=colour, linewidth=width)
        at = end + 0.02 * shown.shape[1] * turned
        axes.text(float(at[0]), float(at[1]), words, color=LOOK.paper, ha="center", va="center",
                  fontsize=LOOK.small_pt, path_effects=casing())  # fmt: skip


def _draw_ruler(axes: "Axes", finding: FrameFinding) -> None:
    """Draw the turn on two straight rulers of degrees: across and up."""
    offset: OffsetFinding | None = finding.offset
    turn = None if offset is None else offset.turn_deg
    axes.set_facecolor(LOOK.paper)
    axes.set_yticks([])
    for side in ("left", "right", "top"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(LOOK.quiet)
    axes.tick_params(colors=LOOK.quiet, labelsize=LOOK.small_pt)
    axes.set_ylim(-0.8, 1.8)
    if turn is None:
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        axes.text(0.0, 0.5, "No turn is told: it needs this eye's reference.", color=LOOK.quiet,
                  fontsize=LOOK.text_pt, va="center")  # fmt: skip
        return
    nasal, up = nasal_superior(turn[0].value, turn[1].value, finding.side)
    widest = max(2.0, math.ceil(abs(nasal) + 1.0), math.ceil(abs(up) + 1.0))
    axes.set_xlim(-widest, widest)
    axes.axvline(0.0, color=LOOK.rule, linewidth=1.0)
    ways = (("temporal", "nasal"), ("down", "up"))
    rows = zip((1.2, 0.0), (nasal, up), turn, ways, strict=True)
    for y, value, estimate, (low, high) in rows:
        axes.errorbar(value, y, xerr=1.96 * estimate.sd, color=LOOK.ink, capsize=3.0, marker="D",
                      markersize=5.0, linewidth=1.2)  # fmt: skip
        axes.text(-widest, y, low, ha="left", va="center", color=LOOK.quiet, fontsize=LOOK.small_pt)
        axes.text(widest, y, high, ha="right", va="center", color=LOOK.quiet,
                  fontsize=LOOK.small_pt)  # fmt: skip
    axes.set_xlabel(
        "degrees that the front of the eye has still to be turned (bars: 95 %)",
        color=LOOK.quiet, fontsize=LOOK.small_pt,
    )  # fmt: skip


def _write(figure: "Figure", finding: FrameFinding, lines: list[str], height: float) -> None:
    words = None if finding.offset is None else finding.offset.turn_words
    title = f"{finding.side} eye: {words or finding.status}"
    figure.text(MARGIN_IN / WIDTH_IN, 1.0 - 0.3 / height, title, color=LOOK.ink,
                fontsize=LOOK.title_pt, fontweight="bold", va="center")  # fmt: skip
    for k, line in enumerate(lines):
        figure.text(MARGIN_IN / WIDTH_IN, 1.0 - (0.55 + 0.185 * k) / height, line,
                    color=LOOK.quiet, fontsize=LOOK.small_pt, va="center")  # fmt: skip
    for k, line in enumerate(textwrap.wrap(" ".join(CAUTIONS[:2]), 160)):
        figure.text(MARGIN_IN / WIDTH_IN, (0.30 - 0.14 * k) / height, line, color=LOOK.quiet,
                    fontsize=6.2, va="center")  # fmt: skip
