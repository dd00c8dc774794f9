"""One drawing of one still: rings, reflexes, target, planned opening, and the turn on a ruler."""

import io
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimwise.picture.raster import Raster
from rimwise.records.frame import FrameFinding, OffsetFinding
from rimwise.records.picture import PictureSheet
from rimwise.report.frame_marks import close_up_of, mark_close_up, mark_frame
from rimwise.report.frame_words import frame_rows
from rimwise.report.letters import keep_drawable
from rimwise.report.look import LOOK
from rimwise.report.upright import upright_pixels
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import nasal_superior

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI = 130
MARGIN_IN = 0.32
PHOTO_IN = 6.3
GAP_IN = 0.25
CLOSE_IN = 3.25
WIDTH_IN = 2.0 * MARGIN_IN + PHOTO_IN + GAP_IN + CLOSE_IN
TALLEST_IN = 6.0
ROW_IN = 0.185
RULER_IN = 1.5
FOOT_IN = 0.5
_LABEL_IN = 1.55
_VALUE_LETTERS = 78


@dataclass(frozen=True, slots=True)
class _Page:
    """Inches from the bottom: where the parts of the page begin, and its height."""

    photo_bottom: float
    photo_tall: float
    rows: tuple[tuple[str, str], ...]
    lines: tuple[str, ...]
    height: float


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
    >>> import numpy as np
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> finding = FrameFinding("f.jpg", "left", "natural", "refused")
    >>> draw_frame(black, finding, PictureSheet("left"))[1:4]
    b'PNG'
    """
    import matplotlib as mpl  # noqa: PLC0415 - a second of import that other commands need not pay
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    page = _page(raster, finding)
    with mpl.rc_context({"font.family": LOOK.font}):
        figure = Figure(figsize=(WIDTH_IN, page.height), dpi=DPI, facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        photo = _axes(figure, page, (MARGIN_IN, page.photo_bottom, PHOTO_IN, page.photo_tall))
        mark_frame(photo, raster, finding, sheet)
        beside = MARGIN_IN + PHOTO_IN + GAP_IN
        part = close_up_of(raster, finding)
        if part is not None:
            top = page.photo_bottom + page.photo_tall
            close = _axes(figure, page, (beside, top - CLOSE_IN, CLOSE_IN, CLOSE_IN))
            mark_close_up(close, raster, finding, part)
        if finding.offset is not None:
            low = page.photo_bottom + page.photo_tall - RULER_IN
            low -= 0.0 if part is None else CLOSE_IN + 0.2
            place = (beside + 0.05, low + 0.42, CLOSE_IN - 0.1, RULER_IN - 0.55)
            _draw_ruler(_axes(figure, page, place), finding)
        _write(figure, page, finding, sheet)
        sink = io.BytesIO()
        keep_drawable(figure)
        figure.savefig(
            sink, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 4}
        )
    return sink.getvalue()


def _page(raster: Raster, finding: FrameFinding) -> _Page:
    shown = upright_pixels(raster)
    tall = max(min(TALLEST_IN, PHOTO_IN * shown.shape[0] / shown.shape[1]), CLOSE_IN)
    rows = tuple(_told_rows(finding))
    lines = tuple(
        part for reason in finding.reasons for part in textwrap.wrap(_beware(reason.sentence), 125)
    )
    below = ROW_IN * len(rows) + 0.2
    bottom = FOOT_IN + below
    if finding.offset is not None:  # close-up and ruler stand over each other beside the frame
        bottom = max(bottom, CLOSE_IN + RULER_IN + 0.3 + FOOT_IN - tall)
    return _Page(bottom, tall, rows, lines, bottom + tall + 0.8 + ROW_IN * len(lines))


def _beware(sentence: str) -> str:
    return f"Beware: {sentence.rstrip('.')}."


def _told_rows(finding: FrameFinding) -> list[tuple[str, str]]:
    """Return label and text of each number, long texts on several lines."""
    told: list[tuple[str, str]] = []
    for label, value, note in frame_rows(finding):
        if label == "status":
            continue
        # The turn in words is the title.
        words = f"{value} ({note})" if note and label != "turn to fixation" else value
        for k, line in enumerate(textwrap.wrap(words, _VALUE_LETTERS) or [""]):
            told.append((label if k == 0 else "", line))
    return told


def _axes(figure: "Figure", page: _Page, place: tuple[float, float, float, float]) -> "Axes":
    """Add axes at a place given in inches."""
    left, bottom, wide, tall = place
    axes: Axes = figure.add_axes(
        (left / WIDTH_IN, bottom / page.height, wide / WIDTH_IN, tall / page.height)
    )
    return axes


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
        words = "No turn is told: it needs this eye's\nreference (--reference)."
        axes.text(0.0, 0.5, words, color=LOOK.quiet, fontsize=LOOK.text_pt, va="center")
        return
    nasal, up = nasal_superior(turn[0].value, turn[1].value, finding.side)
    far = [abs(v) + 1.96 * one.sd for v, one in zip((nasal, up), turn, strict=True)]
    widest = 1.35 * max(2.0, *far)  # the words at both ends stay clear of the bars
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
        "degrees still to turn the front of the eye (bars: 95 %)",
        color=LOOK.quiet, fontsize=LOOK.small_pt,
    )  # fmt: skip


def _write(figure: "Figure", page: _Page, finding: FrameFinding, sheet: PictureSheet) -> None:
    """Write the title, what to beware of, the numbers with their ±, and the cautions."""

    def put(left_in: float, up_in: float, words: str, **style: Any) -> None:
        usual: dict[str, Any] = {"color": LOOK.quiet, "fontsize": LOOK.small_pt, "va": "center"}
        at = (left_in / WIDTH_IN, up_in / page.height)
        figure.text(*at, words, parse_math=False, **(usual | style))

    turn = None if finding.offset is None else finding.offset.turn_words
    title = f"{finding.side} eye: {turn or finding.status}"
    put(MARGIN_IN, page.height - 0.28, title, color=LOOK.ink, fontsize=LOOK.title_pt,
        fontweight="bold")  # fmt: skip
    name = finding.picture.replace("\\", "/").rsplit("/", 1)[-1]
    code = f"{sheet.code} · " if sheet.code else ""
    put(MARGIN_IN, page.height - 0.52, f"{code}{name} · recorded frame, not live")
    for k, line in enumerate(page.lines):
        put(MARGIN_IN, page.height - 0.74 - ROW_IN * k, line)
    for k, (label, words) in enumerate(page.rows):
        up = page.photo_bottom - 0.2 - ROW_IN * k
        put(MARGIN_IN, up, label)
        put(MARGIN_IN + _LABEL_IN, up, words, color=LOOK.ink)
    for k, line in enumerate(textwrap.wrap(" ".join(CAUTIONS[:2]), 165)):
        put(MARGIN_IN, 0.30 - 0.14 * k, line, fontsize=6.2)
