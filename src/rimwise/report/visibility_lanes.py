"""Two lanes under the cover strip: where each edge is plain, faint or hidden."""

from typing import TYPE_CHECKING

import numpy as np

from rimwise.measure.visibility import FAINT, PLAIN, visibility
from rimwise.records.cover import CoverFinding
from rimwise.report.look import LOOK
from rimwise.report.strip import runs

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from rimwise.measure.visibility import EdgeName

HEIGHT_IN = 0.30
LANES_LEGEND = (
    "Lanes below the strip: thick where an edge is plain, thin and dotted where it is faint (no "
    "reader could verify it), blank where it is hidden."
)
_LANES: tuple[tuple["EdgeName", str], ...] = (("opening", "opening"), ("optic", "optic"))


def draw_lanes(axes: "Axes", finding: CoverFinding) -> None:
    """Draw both lanes over the directions of the strip above.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> axes = Figure().add_subplot()
    >>> draw_lanes(axes, CoverFinding("a.jpg", "", "left", "visit", "refused"))
    >>> axes.get_xlim() == (0.0, 360.0)
    True
    """
    axes.set_xlim(0.0, 360.0)
    axes.set_ylim(-0.5, len(_LANES) - 0.5)
    axes.set_axis_off()
    seen = visibility(finding.curves)
    for row, (edge, word) in enumerate(reversed(_LANES)):
        axes.text(-4.0, row, word, fontsize=LOOK.small_pt, color=LOOK.quiet, ha="right",
                  va="center", clip_on=False)  # fmt: skip
        grades = np.array(seen.get(edge, ()))
        for grade, width, line in ((PLAIN, 4.0, "solid"), (FAINT, 1.6, (0, (1.2, 1.2)))):
            for start, end in runs(grades == grade):
                axes.plot([start, end], [row, row], color=LOOK.ink, linewidth=width,
                          linestyle=line, solid_capstyle="butt", dash_capstyle="butt")  # fmt: skip
