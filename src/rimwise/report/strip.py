"""The unrolled cover strip: direction along x, cover in mm along y, bare below the zero line.

The project's central picture. It is drawn to true scale: a millimetre of cover is a whole
number of times the millimetre of the photograph above it, and that number is printed.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rimwise.records.cover import CoverFinding, CoverProfile
from rimwise.report.look import BARE_HATCH, FAINT_HATCH, LOOK, UNSEEN_HATCH
from rimwise.report.words import least_cover_words
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.frames import clock_hour, direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TALLEST_IN = 2.9
WIDEST_RUN_WITHOUT_WORDS_DEG = 11
BAND_SDS = 2.0
_MOST_OF_A_BAR_MM = 0.3  # a longer one may leave the strip: it would flatten all else


@dataclass(frozen=True, slots=True)
class StripScale:
    """Which millimetres the strip shows, and how tall.

    ``times`` is the strip's scale over that of the photograph; ``inch_per_mm`` its own.
    """

    low_mm: float
    high_mm: float
    times: int
    inch_per_mm: float

    @property
    def height_in(self) -> float:
        """Height of the strip on paper, inches."""
        return (self.high_mm - self.low_mm) * self.inch_per_mm


def as_array(values: tuple[float | None, ...]) -> FloatArray:
    """Which array do these numbers make, unknown as NaN? (for drawing only)

    Examples
    --------
    >>> as_array((1.0, None)).tolist()
    [1.0, nan]
    """
    return np.array([math.nan if value is None else value for value in values])


def runs(flags: BoolArray) -> list[tuple[int, int]]:
    """Which runs of directions are flagged? (first, after the last), cut at 0°.

    Examples
    --------
    >>> runs(np.array([False, True, True]))
    [(1, 3)]
    """
    steps = np.diff(np.concatenate(([0], flags.astype(np.int64), [0])))
    return list(
        zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True)
    )


def strip_scale(cover: CoverProfile, photo_inch_per_mm: float) -> StripScale:
    """Which heights must the strip show, and how many times the photograph's scale fits?

    Examples
    --------
    >>> none = (None,) * 360
    >>> cover = CoverProfile(
    ...     (0.5,) * 360, none, none, None, None, None, None, None, 360, None, None
    ... )
    >>> scale = strip_scale(cover, photo_inch_per_mm=0.7)
    >>> scale.times, round(scale.low_mm, 2), round(scale.high_mm, 2)
    (5, -0.1, 0.65)
    """
    width, sd = as_array(cover.width_mm), as_array(cover.sd_mm)
    known = ~np.isnan(width)
    spread = BAND_SDS * np.where(np.isnan(sd), 0.0, sd)
    low = float(np.min((width - spread)[known], initial=0.0))
    high = float(np.max((width + spread)[known], initial=0.5))
    least = cover.min_mm
    if least is not None:  # in a tear, say, where no direction has a number
        low = min(low, least.value - min(BAND_SDS * least.sd, _MOST_OF_A_BAR_MM))
    low_mm = math.floor((low - 0.08) / 0.05) * 0.05
    high_mm = math.ceil((high + 0.12) / 0.05) * 0.05
    times = max(1, math.floor(TALLEST_IN / ((high_mm - low_mm) * photo_inch_per_mm)))
    return StripScale(low_mm, high_mm, min(times, 6), min(times, 6) * photo_inch_per_mm)


def draw_strip(axes: "Axes", finding: CoverFinding, scale: StripScale) -> None:
    """How does the unrolled cover strip look? (drawn into axes of the scale's height)

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> some = (0.5,) * 360
    >>> cover = CoverProfile(some, some, some, None, None, None, None, None, 360, None, None)
    >>> finding = CoverFinding("eye.jpg", "0" * 64, "left", "visit", "measured", cover=cover)
    >>> axes = Figure().add_subplot()
    >>> draw_strip(axes, finding, strip_scale(cover, 0.7))
    >>> axes.get_xticklabels()[0].get_text().split()
    ['0°', '3', 'h', 'temporal']
    """
    cover = finding.cover
    assert cover is not None
    width = as_array(cover.width_mm)
    closed = np.append(width, width[0])
    sd = as_array(cover.sd_mm)
    spread = BAND_SDS * np.append(sd, sd[0])
    at = np.arange(361.0)
    axes.set_xlim(0.0, 360.0)
    axes.set_ylim(scale.low_mm, scale.high_mm)
    _draw_unseen(axes, finding, width, scale)
    under: dict[str, Any] = {"interpolate": True, "linewidth": 0.0}
    axes.fill_between(at, 0.0, closed, where=closed >= 0.0, color=LOOK.covered, alpha=0.38, **under)
    axes.fill_between(
        at, 0.0, closed, where=closed <= 0.0, facecolor=LOOK.bare, edgecolor=LOOK.ink,
        hatch=BARE_HATCH, alpha=0.55, **under,
    )  # fmt: skip
    axes.fill_between(at, closed - spread, closed + spread, color=LOOK.ink, alpha=0.16, linewidth=0)
    axes.plot(at, closed, color=LOOK.ink, linewidth=1.5)
    axes.axhline(0.0, color=LOOK.ink, linewidth=1.1)
    _draw_least(axes, finding, scale)
    _label_axes(axes, finding, scale)


def _draw_unseen(axes: "Axes", finding: CoverFinding, width: FloatArray, scale: StripScale) -> None:
    """Leave directions without a number blank, hatched in grey, with the word for why."""
    for faint in (True, False):
        chosen = np.isnan(width) & (faint_directions(finding) == faint)
        for start, end in runs(chosen):
            axes.axvspan(
                start - 0.5, end - 0.5, facecolor="#f6f5f0" if faint else "#eeede8",
                edgecolor=LOOK.unseen, hatch=FAINT_HATCH if faint else UNSEEN_HATCH, linewidth=0.0,
            )  # fmt: skip
            if end - start < WIDEST_RUN_WITHOUT_WORDS_DEG:
                continue
            upright = end - start < 45
            axes.text(
                (start + end - 1) / 2.0, (scale.low_mm + scale.high_mm) / 2.0,
                "not verified" if faint else "not seen",
                rotation=90.0 if upright else 0.0, ha="center", va="center", color=LOOK.ink,
                fontsize=LOOK.text_pt,
                bbox={"facecolor": "#eeede8", "edgecolor": "none", "pad": 1.5},
            )  # fmt: skip


def faint_directions(finding: CoverFinding) -> BoolArray:
    """In which directions was the opening's edge found, though no cover is given?

    Examples
    --------
    >>> faint_directions(CoverFinding("a.jpg", "", "left", "visit", "refused")).any().item()
    False
    """
    if finding.opening is None or finding.cover is None:
        return np.zeros(360, dtype=np.bool_)
    found = np.array([point is not None for point in finding.opening.edge_px])
    return np.asarray(found & np.array([width is None for width in finding.cover.width_mm]))


def _draw_least(axes: "Axes", finding: CoverFinding, scale: StripScale) -> None:
    """Mark the least cover with its ± and words."""
    cover = finding.cover
    if cover is None or cover.min_mm is None:
        return
    least = cover.min_mm
    axes.errorbar(
        [least.at_deg], [least.value], yerr=[BAND_SDS * least.sd], fmt="D", color=LOOK.ink,
        markersize=5.5, markerfacecolor=LOOK.paper, markeredgewidth=1.4, capsize=4.0, zorder=6,
    )  # fmt: skip
    # Words stand above the strip, where no curve can run, with a leader to the mark.
    middle_deg = min(max(least.at_deg, 82.0), 278.0)
    along = min(max(0.5 + (least.at_deg - middle_deg) / 165.0, 0.04), 0.96)
    axes.annotate(
        least_cover_words(least, finding.side), xy=(least.at_deg, least.value),
        xytext=(middle_deg, scale.high_mm + 0.07 / scale.inch_per_mm),
        ha="center", va="bottom", fontsize=LOOK.text_pt, fontweight="bold", color=LOOK.ink,
        zorder=7, annotation_clip=False,
        arrowprops={"arrowstyle": "-", "color": LOOK.ink, "linewidth": 0.9, "shrinkB": 4.0,
                    "relpos": (along, 0.0)},
    )  # fmt: skip


def _label_axes(axes: "Axes", finding: CoverFinding, scale: StripScale) -> None:
    """Label directions in degrees, clock hours and anatomy, and heights in mm."""
    ticks = np.arange(0, 361, 30)
    labels = []
    for at_deg in ticks:
        hour = round(clock_hour(float(at_deg))) % 12 or 12
        word = direction_words(float(at_deg), finding.side) if at_deg % 90 == 0 else ""
        labels.append(f"{at_deg}°\n{hour} h\n{word}")
    axes.set_xticks(ticks, labels, fontsize=LOOK.small_pt, color=LOOK.ink)
    step = 0.25 if (scale.high_mm - scale.low_mm) * 4.0 < 14.0 else 0.5
    heights = np.arange(math.ceil(scale.low_mm / step), math.floor(scale.high_mm / step) + 1) * step
    axes.set_yticks(
        heights, [f"{h:.2f}".replace("-", "−") for h in heights], fontsize=LOOK.small_pt
    )
    axes.grid(True, color=LOOK.rule, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=LOOK.ink, length=3.0)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.set_ylabel("cover, mm (real, optic plane)", fontsize=LOOK.small_pt, color=LOOK.ink)
    for place, word in ((0.0, " covered ↑"), (0.0, " bare ↓")):
        above = "↑" in word
        axes.text(
            361.5, place, word, fontsize=LOOK.small_pt, color=LOOK.covered if above else LOOK.bare,
            va="bottom" if above else "top", fontweight="bold", clip_on=False,
        )  # fmt: skip
