"""Cover strips of a series over each other: every eye a line, the middle eye and most eyes."""

from typing import TYPE_CHECKING

import numpy as np

from rimwise.records.series import CoverStrips
from rimwise.report.finished_drawing import PRINT_DPI, Kind, drawing_bytes
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_NAMES = ("nasal", "superior", "temporal", "inferior", "nasal")


def strips_description(strips: CoverStrips) -> str:
    """What do the strips show, for those who cannot see them?

    Examples
    --------
    >>> blank = (None,) * 360
    >>> strips_description(CoverStrips(2, 2, (2,) * 360, (1,) + (0,) * 359, (blank,) * 5, ()))
    'Cover by direction of 2 eyes; bare most often at 0° (0° nasal, 90° superior): 1 of 2.'
    """
    if not strips.bare:
        return f"Cover by direction of {strips.eyes} eyes; bare eyes are withheld."
    shares = [b / n if n else 0.0 for b, n in zip(strips.bare, strips.seen, strict=True)]
    worst = int(np.argmax(shares))
    if not any(strips.bare):
        return f"Cover by direction of {strips.eyes} eyes; none is bare where it was seen."
    return (
        f"Cover by direction of {strips.eyes} eyes; bare most often at {worst}° (0° nasal, 90° "
        f"superior): {strips.bare[worst]} of {strips.seen[worst]}."
    )


def draw_strips(strips: CoverStrips, kind: Kind = "svg") -> bytes:
    """How does the cover of a series look by direction?

    Above every eye as a thin line, the middle eye as a thick one, half of the eyes in the dark
    band; below the share of eyes that are bare there.

    Examples
    --------
    >>> blank = (None,) * 360
    >>> draw_strips(CoverStrips(0, 0, (0,) * 360, (0,) * 360, (blank,) * 5, ()))[:5]
    b'<?xml'
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    with rc_context(DRAWING_STYLE):
        sheet = Sheet(figsize=(7.1, 4.1), facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        grid = sheet.add_gridspec(
            2, 1, height_ratios=(3.4, 1.0), left=0.1, right=0.97, top=0.93, bottom=0.14, hspace=0.12
        )
        above, below = sheet.add_subplot(grid[0]), sheet.add_subplot(grid[1])
        _draw_lines(above, strips)
        _draw_bare(below, strips)
        persons = f"{strips.eyes} eyes of {strips.persons} persons"
        above.set_title(f"Cover by direction, {persons}", fontsize=LOOK.small_pt, loc="left")
        sheet.text(0.02, 0.015, CAUTIONS[0], fontsize=6.0)
        return drawing_bytes(
            sheet, "Cover strips of the series", strips_description(strips), kind, PRINT_DPI
        )


def _closed(row: tuple[float | None, ...]) -> FloatArray:
    told = np.array([np.nan if one is None else one for one in row])
    return np.append(told, told[:1])


def _draw_lines(axes: "Axes", strips: CoverStrips) -> None:
    at = np.arange(361.0)
    for line in strips.lines_mm:
        axes.plot(at, _closed(line), color=LOOK.quiet, linewidth=0.5, alpha=0.35)
    _, q25, middle, q75, _ = (_closed(one) for one in strips.levels_mm)
    axes.fill_between(at, q25, q75, color=LOOK.covered, alpha=0.25, linewidth=0,
                      label="half of the eyes")  # fmt: skip
    axes.plot(at, middle, color=LOOK.covered, linewidth=2.2, label="median")
    ends = [_closed(one) for one in (strips.levels_mm[0], strips.levels_mm[-1])]
    for end, label in zip(ends, ("10 to 90 % of the eyes", None), strict=True):
        axes.plot(at, end, color=LOOK.covered, linewidth=0.9, linestyle="--", label=label)
    low, high = axes.get_ylim()
    if low < 0.0:
        axes.axhspan(low, 0.0, color=LOOK.bare, alpha=0.12, linewidth=0)
        axes.text(4.0, 0.5 * low, "bare", color=LOOK.bare, va="center")
        axes.set_ylim(low, high)
    axes.axhline(0.0, color=LOOK.ink, linewidth=0.9)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(range(0, 361, 90), [""] * 5)
    axes.set_ylabel("cover (mm)")
    axes.legend(fontsize=6.5, frameon=False, ncols=3, loc="upper right")


def _draw_bare(axes: "Axes", strips: CoverStrips) -> None:
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(range(0, 361, 90), _NAMES)
    axes.set_ylabel("bare (%\nof eyes)")
    if not strips.bare:
        axes.text(180.0, 0.5, "withheld", ha="center", va="center", color=LOOK.quiet)
        return
    seen = np.array(strips.seen, dtype=float)
    share = 100.0 * np.array(strips.bare) / np.maximum(seen, 1.0)
    share[seen == 0.0] = np.nan
    axes.fill_between(np.arange(361.0), 0.0, np.append(share, share[:1]), step="mid",
                      color=LOOK.bare, alpha=0.6, linewidth=0)  # fmt: skip
    top = float(np.nanmax(share, initial=0.0))
    axes.set_ylim(0.0, max(1.15 * top, 5.0))
