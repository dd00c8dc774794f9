"""One drawing of one finding: the photograph with the found curves, the unrolled strip below."""

import io
import math
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rimwise.measure.visibility import visibility
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet
from rimwise.report.hand_drawing import placed_points, seen_optic
from rimwise.report.letters import keep_drawable
from rimwise.report.look import LOOK
from rimwise.report.on_photo import casing, draw_curve, ellipse_points, lay_photograph
from rimwise.report.reflex_drawing import draw_reflexes, reflex_legend
from rimwise.report.second_drawing import draw_second, second_legend
from rimwise.report.strip import StripScale, draw_strip, strip_scale
from rimwise.report.upright import upright_pixels, upright_points
from rimwise.report.visibility_lanes import HEIGHT_IN as LANES_IN
from rimwise.report.visibility_lanes import LANES_LEGEND, draw_lanes
from rimwise.report.words import headline, reason_sentences
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import clock_hour, direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI = 130
WIDTH_IN = 10.0
MARGIN_IN = 0.32
STRIP_LEFT_IN = 0.75
STRIP_RIGHT_IN = 0.95
PHOTO_TALLEST_IN = 7.2
LABEL_IN = (0.80, 0.30)  # room that the words of one direction take


@dataclass(frozen=True, slots=True)
class _Page:
    """Where the parts of the drawing stand, in inches from the bottom left."""

    height_in: float
    photo: tuple[float, float, float, float]
    strip: tuple[float, float, float, float] | None
    lanes: tuple[float, float, float, float] | None
    top_in: float


def draw_cover(raster: Raster, finding: CoverFinding, sheet: PictureSheet) -> bytes:
    """What does this photograph show, as one picture that a surgeon can check?

    Parameters
    ----------
    raster : Raster
        The photograph as stored; the drawing turns it upright.
    finding : CoverFinding
        What was measured in it, or why not.
    sheet : PictureSheet
        How the picture was held.

    Returns
    -------
    bytes
        A PNG; equal input gives equal bytes.

    Examples
    --------
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> finding = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")
    >>> draw_cover(black, finding, PictureSheet("right"))[1:4]
    b'PNG'
    """
    import matplotlib as mpl  # noqa: PLC0415 - a second of import that other commands need not pay
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with mpl.rc_context({"font.family": LOOK.font, "hatch.linewidth": 0.7}):
        reasons = _reason_lines(finding)
        shown = upright_pixels(raster)
        scale = _strip_scale(finding, _photo_size_in(shown)[0] / shown.shape[1])
        page = _page(shown, len(reasons), scale, bool(visibility(finding.curves)))
        figure = Figure(figsize=(WIDTH_IN, page.height_in), dpi=DPI, facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        photo = _axes(figure, page, page.photo)
        _draw_photo(photo, raster, finding, sheet)
        if scale is not None and page.strip is not None:
            draw_strip(_axes(figure, page, page.strip), finding, scale)
        if page.lanes is not None:
            draw_lanes(_axes(figure, page, page.lanes), finding)
        _write_text(figure, page, finding, sheet, reasons)
        _write_foot(figure, page, scale, finding)
        sink = io.BytesIO()
        keep_drawable(figure)
        figure.savefig(
            sink, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 4}
        )
    return sink.getvalue()


def _photo_size_in(shown: Any) -> tuple[float, float]:
    """Return width and height of the photograph on paper, inches."""
    wide = WIDTH_IN - 2.0 * MARGIN_IN
    tall = wide * shown.shape[0] / shown.shape[1]
    if tall > PHOTO_TALLEST_IN:
        wide, tall = wide * PHOTO_TALLEST_IN / tall, PHOTO_TALLEST_IN
    return wide, tall


def _strip_scale(finding: CoverFinding, inch_per_px: float) -> StripScale | None:
    """Return the strip's scale, None where there is nothing to unroll."""
    cover = finding.cover
    if cover is None or finding.scale is None or all(w is None for w in cover.width_mm):
        return None
    return strip_scale(cover, finding.scale.px_per_mm.value * inch_per_px)


def _page(shown: Any, reason_lines: int, scale: StripScale | None, graded: bool) -> _Page:
    """Stack title, photograph, strip, lanes and foot."""
    wide, tall = _photo_size_in(shown)
    foot_in = 0.94 if graded and scale is not None else 0.78  # five lines or four
    strip = lanes = None
    photo_bottom = foot_in
    if scale is not None:
        strip_wide = WIDTH_IN - STRIP_LEFT_IN - STRIP_RIGHT_IN
        if graded:
            lanes = (STRIP_LEFT_IN, foot_in + 0.06, strip_wide, LANES_IN)
        strip_bottom = foot_in + 0.58 + (LANES_IN + 0.10 if graded else 0.0)
        strip = (STRIP_LEFT_IN, strip_bottom, strip_wide, scale.height_in)
        photo_bottom = strip_bottom + scale.height_in + 0.44
    top_in = 0.72 + 0.185 * reason_lines
    photo = ((WIDTH_IN - wide) / 2.0, photo_bottom, wide, tall)
    return _Page(photo_bottom + tall + top_in, photo, strip, lanes, top_in)


def _axes(figure: "Figure", page: _Page, place: tuple[float, float, float, float]) -> "Axes":
    """Add axes at a place given in inches."""
    left, bottom, wide, tall = place
    axes: Axes = figure.add_axes(
        (left / WIDTH_IN, bottom / page.height_in, wide / WIDTH_IN, tall / page.height_in)
    )
    axes.set_facecolor(LOOK.paper)
    return axes


def _draw_photo(axes: "Axes", raster: Raster, finding: CoverFinding, sheet: PictureSheet) -> None:
    """Draw the photograph upright with curves, directions and the mm bar."""
    shown = lay_photograph(axes, raster)
    if finding.pupil is not None:
        draw_curve(
            axes, raster, ellipse_points(finding.pupil.ellipse_px), LOOK.pupil_curve, (0, (5, 3))
        )
    if finding.optic is not None:
        _draw_optic(axes, raster, finding)
    if finding.opening is not None:
        draw_curve(axes, raster, _edge_points(finding), LOOK.opening_curve, (0, (1.2, 0.9)))
        draw_second(axes, raster, finding)
        _mark_least(axes, raster, finding)
    if finding.optic is not None:
        _draw_directions(axes, raster, finding, sheet)
    draw_reflexes(axes, raster, finding)
    if finding.scale is not None:
        _draw_bar(axes, shown, finding.scale.px_per_mm.value, finding.scale.plane)


def _draw_optic(axes: "Axes", raster: Raster, finding: CoverFinding) -> None:
    """Draw the optic's edge, dashed where it is hidden, and what a reader placed."""
    assert finding.optic is not None
    seen, whole = seen_optic(finding), ellipse_points(finding.optic.ellipse_px)
    draw_curve(axes, raster, whole, LOOK.optic_curve, "solid" if seen is None else (0, (2.5, 3.5)))
    if seen is not None:
        draw_curve(axes, raster, seen, LOOK.optic_curve, "solid")
    placed = upright_points(placed_points(finding), raster)
    axes.plot(placed[:, 0], placed[:, 1], "+", color=LOOK.paper, markersize=6, markeredgewidth=1.2,
              path_effects=casing())  # fmt: skip


def _edge_points(finding: CoverFinding) -> FloatArray:
    """Return the opening's edge by direction, NaN where it was not seen, closed."""
    assert finding.opening is not None
    points = [(math.nan, math.nan) if p is None else p for p in finding.opening.edge_px]
    return np.array([*points, points[0]])


def _mark_least(axes: "Axes", raster: Raster, finding: CoverFinding) -> None:
    """Mark on the photograph where the cover is least."""
    cover, opening, optic = finding.cover, finding.opening, finding.optic
    if cover is None or cover.min_mm is None or opening is None or optic is None:
        return
    edge = opening.edge_px[round(cover.min_mm.at_deg) % 360]
    if edge is None:
        return
    place = upright_points(np.array([edge]), raster)[0]
    axes.plot(*place, marker="D", markersize=6.5, markerfacecolor="none",
              markeredgecolor=LOOK.casing, markeredgewidth=2.6)  # fmt: skip
    axes.plot(*place, marker="D", markersize=6.5, markerfacecolor="none",
              markeredgecolor=LOOK.paper, markeredgewidth=1.3)  # fmt: skip


def _draw_directions(
    axes: "Axes", raster: Raster, finding: CoverFinding, sheet: PictureSheet
) -> None:
    """Draw the examiner's directions around the optic: degrees, clock hours, anatomy."""
    assert finding.optic is not None
    centre = np.array([finding.optic.ellipse_px.cx, finding.optic.ellipse_px.cy])
    ring_px, outward = _ring(raster, finding)
    frame = sheet.frame.stored(raster.orientation)
    for at_deg in range(0, 360, 10):
        unit = frame.picture_from_examiner(
            np.array([math.cos(math.radians(at_deg)), math.sin(math.radians(at_deg))])
        )
        long = at_deg % 30 == 0
        reach = 1.0 + outward * (0.05 if long else 0.025)
        ends = upright_points(centre + np.outer([1.0, reach], ring_px * unit), raster)
        axes.plot(ends[:, 0], ends[:, 1], color=LOOK.casing, linewidth=3.0 if long else 2.0)
        axes.plot(ends[:, 0], ends[:, 1], color=LOOK.paper, linewidth=1.3 if long else 0.7)
        if long:
            words = _direction_label(at_deg, finding, short=outward < 0)
            _put_direction(axes, ends[0], ends[1], words)


def _ring(raster: Raster, finding: CoverFinding) -> tuple[float, int]:
    """Where do the direction ticks fit: radius in px, and +1 outwards or -1 inwards?

    Around the pupil if the picture leaves room for the words, else around the optic, else inside.
    """
    assert finding.optic is not None
    rim = finding.optic.ellipse_px
    shown = upright_pixels(raster)
    px_per_inch = shown.shape[1] / _photo_size_in(shown)[0]
    u, v = upright_points(np.array([rim.cx, rim.cy]), raster)
    room_px = min(
        min(u, shown.shape[1] - 1 - u) - LABEL_IN[0] * px_per_inch,
        min(v, shown.shape[0] - 1 - v) - LABEL_IN[1] * px_per_inch,
    )
    pupil_px = 0.0 if finding.pupil is None else finding.pupil.ellipse_px.a
    for ring_px in (1.12 * max(rim.a, pupil_px), 1.12 * rim.a):
        if 1.07 * ring_px <= room_px:
            return ring_px, 1
    return 0.62 * rim.b, -1


def _put_direction(axes: "Axes", start: FloatArray, end: FloatArray, words: str) -> None:
    """Write the words of a tick on its far side, clear of the tick."""
    right, down = (end - start) / np.hypot(*(end - start))
    at = end + 0.35 * (end - start)
    axes.text(
        at[0], at[1], words, color=LOOK.paper, fontsize=LOOK.small_pt, path_effects=casing(),
        ha="left" if right > 0.3 else "right" if right < -0.3 else "center",
        va="top" if down > 0.8 else "bottom" if down < -0.8 else "center",
        linespacing=1.05, clip_on=True,
    )  # fmt: skip


def _direction_label(at_deg: int, finding: CoverFinding, short: bool) -> str:
    """Return the words at one tick of the direction ring."""
    hour = round(clock_hour(float(at_deg))) % 12 or 12
    label = f"{hour} h" if short else f"{at_deg}° · {hour} h"
    if at_deg % 90 == 0:
        label += f"\n{direction_words(float(at_deg), finding.side)}"
    return label


def _draw_bar(axes: "Axes", shown: Any, px_per_mm: float, plane: str) -> None:
    """Draw a bar of one true millimetre."""
    left, low = 0.03 * shown.shape[1], 0.955 * shown.shape[0]
    for colour, width in ((LOOK.casing, 5.5), (LOOK.paper, 3.0)):
        axes.plot([left, left + px_per_mm], [low, low], color=colour, linewidth=width,
                  solid_capstyle="butt")  # fmt: skip
    axes.text(left, low - 0.012 * shown.shape[0], f"1 mm ({plane} plane)", color=LOOK.paper,
              fontsize=LOOK.small_pt, va="bottom", path_effects=casing())  # fmt: skip


def _reason_lines(finding: CoverFinding) -> list[str]:
    """Return the reasons as lines that fit the width."""
    lines: list[str] = []
    for sentence in reason_sentences(finding):
        lines += textwrap.wrap(sentence, 128, subsequent_indent="   ", initial_indent="• ")
    return lines


def _write_text(
    figure: "Figure", page: _Page, finding: CoverFinding, sheet: PictureSheet, reasons: list[str]
) -> None:
    """Write the title line and the reasons above the photograph."""
    left = MARGIN_IN / WIDTH_IN
    name = finding.picture.replace("\\", "/").rsplit("/", 1)[-1]
    eye = f"{finding.side} eye" + (f" {sheet.code}" if sheet.code else "")
    day = "" if sheet.visit_day is None else f", day {sheet.visit_day}"

    def put(down_in: float, words: str, **style: Any) -> None:
        figure.text(
            left, 1.0 - down_in / page.height_in, words, va="top", parse_math=False, **style
        )

    put(0.16, headline(finding), fontsize=LOOK.title_pt, fontweight="bold", color=LOOK.ink)
    put(0.42, f"{eye}{day} · {name} · {_held_words(sheet)}",
        fontsize=LOOK.text_pt, color=LOOK.quiet)  # fmt: skip
    for index, line in enumerate(reasons):
        put(0.66 + 0.185 * index, line, fontsize=LOOK.text_pt, color=LOOK.ink)


def _held_words(sheet: PictureSheet) -> str:
    """Say how the picture is shown."""
    if sheet.superior_deg == 90.0 and not sheet.mirrored:
        return "shown as taken, superior up"
    glass = ", as in a mirror" if sheet.mirrored else ""
    return f"shown as taken{glass}: superior lies at {sheet.superior_deg:.0f}° from picture right"


def _write_foot(
    figure: "Figure", page: _Page, scale: StripScale | None, finding: CoverFinding
) -> None:
    """Write the scale, what the lines mean, and the first caution."""
    left = MARGIN_IN / WIDTH_IN
    lines = ["No curve is drawn: nothing was found that can be trusted."]
    if finding.optic is not None or finding.pupil is not None:
        lines = [
            "Curves: solid optic edge (dashed: not seen), dotted opening edge (gaps: not found), "
            "long-dashed pupil; + placed by a reader."
            + second_legend(finding)
            + reflex_legend(finding)
        ]
    if scale is not None:
        lines[0] += " ◇ least cover. ± is one standard deviation; band and bar ± 2."
        lines.append(
            f"Heights in the strip are drawn {scale.times} times as large as the photograph's "
            "millimetre; directions are the examiner's, counter-clockwise from his right."
        )
        if visibility(finding.curves):
            lines.append(LANES_LEGEND)
    lines = [*(part for line in lines for part in textwrap.wrap(line, 150)), CAUTIONS[0]]
    for index, line in enumerate(reversed(lines)):
        figure.text(
            left, (0.10 + 0.165 * index) / page.height_in, line, va="bottom",
            fontsize=LOOK.small_pt, color=LOOK.ink if index == 0 else LOOK.quiet,
            fontweight="bold" if index == 0 else "normal",
        )  # fmt: skip
