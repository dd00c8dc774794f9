"""Maps of other placements, drawn: contrast, induced cylinder and coma over shifts and tilts."""

import math
from typing import TYPE_CHECKING

import numpy as np

from rimwise.records.sight import Sensitivity, SightMap, Tolerance
from rimwise.report.look import LOOK
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import Side, direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MAPS_HIGH = 7.9
_SMALL = 7.0


def draw_maps_in(
    figure: "Figure", mapped: Sensitivity, side: Side, between_in: tuple[float, float]
) -> None:
    """Draw six maps into a figure: a row of shifts and a row of tilts.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    mapped : Sensitivity
    side : "right" or "left"
    between_in : (float, float)
        From where to where they stand, inches from the figure's lower edge.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> from rimwise.terms.estimate import Estimate
    >>> steps = (-1.0, 0.0, 1.0)
    >>> hill = ((0.1, 0.2, 0.1), (0.2, 0.4, 0.2), (0.1, 0.2, 0.1))
    >>> one = SightMap("mm", steps, hill, hill, hill, (0.2, 0.0), ())
    >>> circle = Tolerance(0.1, 0.5, "mm", Estimate(0.2, 0.0), True)
    >>> figure = Figure(figsize=(9.6, MAPS_HIGH))
    >>> draw_maps_in(figure, Sensitivity(4.0, 15.0, (one,), (circle,)), "right", (0.0, MAPS_HIGH))
    >>> [axes.get_title() for axes in figure.axes]
    ['contrast at 15 cycles per degree', 'induced cylinder, dpt', 'coma, µm']
    """
    high = figure.get_figheight()
    low, top = (one / high for one in between_in)
    grid = figure.add_gridspec(
        len(mapped.maps), 3, left=0.07, right=0.985, wspace=0.3, hspace=0.62,
        bottom=low + 0.75 / high, top=top - 0.65 / high,
    )  # fmt: skip
    best = max(max(row) for one in mapped.maps for row in one.contrast)
    for k, (one, circle) in enumerate(zip(mapped.maps, mapped.tolerances, strict=True)):
        row = [figure.add_subplot(grid[k, column]) for column in range(3)]
        told = (
            (f"contrast at {mapped.frequency_cpd:g} cycles per degree", one.contrast, best),
            ("induced cylinder, dpt", one.cylinder_dpt, None),
            ("coma, µm", one.coma_um, None),
        )
        for axes, (name, values, most) in zip(row, told, strict=True):
            _draw_values(axes, one, np.array(values), most)
            _draw_places(axes, one, circle)
            _name_map(axes, one, name, side)
        _name_row(row, one, mapped.pupil_mm)


def _draw_values(axes: "Axes", found: SightMap, values: FloatArray, most: float | None) -> None:
    """Draw one map; contrast, which has a most, gets its own colour, what spoils it another."""
    from matplotlib.colors import LinearSegmentedColormap  # noqa: PLC0415 - takes a second

    full = LOOK.covered if most is not None else LOOK.quiet
    shades = LinearSegmentedColormap.from_list("kept", [LOOK.paper, full])
    steps = np.array(found.steps)
    axes.pcolormesh(
        steps, steps, values, cmap=shades, vmin=0.0, vmax=most, shading="nearest", rasterized=True
    )
    if np.ptp(values) > 0.0:
        lines = axes.contour(steps, steps, values, levels=6, colors=LOOK.ink, linewidths=0.5)
        axes.clabel(lines, fontsize=6.0, fmt="%.2f")


def _draw_places(axes: "Axes", found: SightMap, circle: Tolerance) -> None:
    unit = " mm" if found.unit == "mm" else "°"
    axes.plot(0.0, 0.0, "+", color=LOOK.ink, markersize=9, label="ideal placement")
    if circle.radius is not None:
        lost = f"{100 * circle.loss:g} % of the contrast lost from {circle.radius:.2f}{unit} on"
        turn = np.linspace(0.0, 2.0 * math.pi, 121)
        round_it = (circle.radius * np.cos(turn), circle.radius * np.sin(turn))
        axes.plot(*round_it, "--", color=LOOK.bare, linewidth=1.6, label=lost)
    reach = found.steps[-1]
    x, y = found.here
    # An implant beyond the map is told at its rim, where it would be met.
    far = max(abs(x), abs(y))
    name = f"this implant, {math.hypot(x, y):.2f}{unit} off"
    if far > reach:
        x, y, name = x * reach / far, y * reach / far, f"{name}, beyond the map"
    axes.errorbar(
        x, y, xerr=circle.here.sd, yerr=circle.here.sd, fmt="D", color=LOOK.bare,
        markerfacecolor="none", markersize=6, linewidth=1.0, label=name,
    )  # fmt: skip
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach))


def _name_map(axes: "Axes", found: SightMap, name: str, side: Side) -> None:
    east, west = direction_words(0.0, side), direction_words(180.0, side)
    unit = "mm" if found.unit == "mm" else "°"
    ticks = [share * found.steps[-1] for share in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    axes.set(aspect="equal", xticks=ticks, yticks=ticks)
    axes.set_xlabel(f"{unit}, {west} to {east}", fontsize=_SMALL)
    axes.set_ylabel(f"{unit}, inferior to superior", fontsize=_SMALL)
    axes.tick_params(labelsize=_SMALL)
    axes.set_title(name, fontsize=8.0)


def _name_row(row: "list[Axes]", found: SightMap, pupil_mm: float) -> None:
    """Name a row above its first map, and put what the marks mean under the middle one."""
    what = "Shift of the optic" if found.unit == "mm" else "Tilt of the optic"
    row[0].text(
        0.0, 1.17, f"{what}, pupil {pupil_mm:g} mm, all else ideal", fontsize=9,
        transform=row[0].transAxes,
    )  # fmt: skip
    row[1].legend(
        loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=3, frameon=False, fontsize=6.5,
        handlelength=1.4, columnspacing=0.9,
    )  # fmt: skip
