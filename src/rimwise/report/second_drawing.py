"""The runner-up for the opening's edge, drawn beside the one taken."""

import math
from typing import TYPE_CHECKING

import numpy as np

from rimwise.measure.curves import directions_of
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding, FoundSecond
from rimwise.report.look import LOOK
from rimwise.report.on_photo import draw_curve

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WORTH_DRAWING_DEG = 20  # less is a fold or a haptic's root that nobody would take for an edge


def _second(finding: CoverFinding) -> FoundSecond | None:
    second = None if finding.curves is None else finding.curves.second
    return second if second is not None and second.found_deg >= _WORTH_DRAWING_DEG else None


def draw_second(axes: "Axes", raster: Raster, finding: CoverFinding) -> None:
    """Draw the runner-up where it stands out, dash-dotted.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> axes = Figure().add_subplot()
    >>> draw_second(axes, black, CoverFinding("a.jpg", "", "left", "visit", "measured"))
    >>> len(axes.lines)
    0
    """
    second, curves = _second(finding), finding.curves
    if second is None or curves is None or curves.rim is None:
        return
    radii = np.array([math.nan if r is None else r for r in second.radius_px])
    centre = np.array([curves.rim.ellipse_px.cx, curves.rim.ellipse_px.cy])
    points = centre + radii[:, None] * directions_of(curves)
    draw_curve(axes, raster, np.vstack([points, points[:1]]), LOOK.paper, (0, (4, 2, 1, 2)))


def second_legend(finding: CoverFinding) -> str:
    """What does that line mean, in the foot of the drawing? Empty where there is none.

    Examples
    --------
    >>> second_legend(CoverFinding("a.jpg", "", "left", "visit", "measured"))
    ''
    """
    return "" if _second(finding) is None else " Dash-dotted: compared with it, and not taken."
