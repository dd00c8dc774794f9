"""The lamps' reflexes marked on a photograph: P1 by rings, P4 by triangles, with their names."""

from typing import TYPE_CHECKING

import numpy as np

from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding
from rimwise.records.implant_reflexes import MirrorName
from rimwise.report.look import LOOK
from rimwise.report.on_photo import casing
from rimwise.report.upright import upright_points

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MARKS: dict[MirrorName, str] = {"P1": "o", "P4": "^"}
_SIZE = 9.0


def draw_reflexes(axes: "Axes", raster: Raster, finding: CoverFinding) -> None:
    """Mark each reflex that was told, and name it beside the first of its kind.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> axes = Figure().add_subplot()
    >>> draw_reflexes(axes, black, CoverFinding("a.jpg", "", "left", "visit", "measured"))
    >>> len(axes.lines)
    0
    """
    if finding.reflexes is None:
        return
    for name, mark in _MARKS.items():
        mirror = finding.reflexes.mirrors.get(name)
        told = [] if mirror is None else [p for p in mirror.points_px if p is not None]
        if not told:
            continue
        points = upright_points(np.array(told), raster)
        for colour, width in ((LOOK.casing, 2.8), (LOOK.paper, 1.3)):
            axes.plot(points[:, 0], points[:, 1], mark, markersize=_SIZE, color=colour,
                      markerfacecolor="none", markeredgewidth=width)  # fmt: skip
        right = points[int(points[:, 0].argmax())]
        axes.annotate(name, right, (7.0, 0.0), textcoords="offset points", color=LOOK.paper,
                      fontsize=LOOK.small_pt, va="center", path_effects=casing())  # fmt: skip


def reflex_legend(finding: CoverFinding) -> str:
    """What do these marks mean, in the foot of the drawing? Empty where there are none.

    Examples
    --------
    >>> reflex_legend(CoverFinding("a.jpg", "", "left", "visit", "measured"))
    ''
    """
    seen = () if finding.reflexes is None else finding.reflexes.mirrors.values()
    if all(one is None for one in seen):
        return ""
    return " Reflexes of the lamps: ring P1 (cornea's front), triangle P4 (implant's back)."
