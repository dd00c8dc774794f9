"""Lines and letters on a photograph, cased so that they stay visible on bright and dark ground."""

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from rimwise.picture.raster import Raster, UInt8Array
from rimwise.records.cover import EllipsePx
from rimwise.report.look import LOOK
from rimwise.report.upright import shrink, upright_pixels, upright_points
from rimwise.terms.arrays import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def ellipse_points(ellipse: EllipsePx) -> FloatArray:
    """Which 361 points run once around an ellipse, closed?

    Examples
    --------
    >>> ellipse_points(EllipsePx(10.0, 20.0, 4.0, 2.0, 0.0))[[0, 90, 360]].round(6).tolist()
    [[14.0, 20.0], [10.0, 22.0], [14.0, 20.0]]
    """
    around = np.radians(np.arange(361.0))
    turn = math.radians(ellipse.angle_deg)
    x, y = ellipse.a * np.cos(around), ellipse.b * np.sin(around)
    u = ellipse.cx + x * math.cos(turn) - y * math.sin(turn)
    v = ellipse.cy + x * math.sin(turn) + y * math.cos(turn)
    return np.stack([u, v], axis=1)


def lay_photograph(axes: "Axes", raster: Raster) -> UInt8Array:
    """Lay the picture upright under everything else, in its own pixels; return it upright."""
    shown = upright_pixels(raster)
    small, factor = shrink(shown)
    right, down = small.shape[1] * factor - 0.5, small.shape[0] * factor - 0.5
    grey: dict[str, Any] = {"cmap": "gray", "vmin": 0, "vmax": 255} if small.ndim == 2 else {}
    axes.imshow(small, extent=(-0.5, right, down, -0.5), **grey)
    axes.set_xlim(-0.5, shown.shape[1] - 0.5)
    axes.set_ylim(shown.shape[0] - 0.5, -0.5)
    axes.set_axis_off()
    return shown


def draw_curve(axes: "Axes", raster: Raster, points: FloatArray, colour: str, dash: Any) -> None:
    """Draw a thin curve of the stored picture with a dark casing: the edge below stays visible."""
    shown = upright_points(points, raster)
    axes.plot(shown[:, 0], shown[:, 1], color=LOOK.casing, linewidth=2.2, alpha=0.45)
    axes.plot(shown[:, 0], shown[:, 1], color=colour, linewidth=1.1, linestyle=dash)


def casing() -> list[Any]:
    """Which dark border keeps light text legible on a photograph?"""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415

    return [withStroke(linewidth=2.4, foreground=LOOK.casing)]
