"""Pictures as seen, here beside the ideal placement, with scale and assumptions in the picture."""

import io
import math
from typing import TYPE_CHECKING

import numpy as np

from rimwise.predict.chart import ROWS_LOGMAR, decimal_acuity
from rimwise.records.as_seen import Arcs, SeenPicture
from rimwise.report.letters import keep_drawable
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.terms.arrays import FloatArray
from rimwise.terms.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI = 100
_BAR_ARCMIN = 30.0
_DECADES = 5.0
_GAP_PX, _LEFT_PX, _TOP_PX, _BELOW_PX = 30, 76, 84, 190
NOT_IN_IT = (
    "Not in it: adaptation, retina and nerves, scatter (haze, cells, capsule), ghosts between "
    "surfaces, movement of eye and lids."
)
NOT_FOR_PATIENTS = "Not for showing to patients before surgery: no promise of what they will see."


def draw_seen(picture: SeenPicture) -> bytes:
    """What does one scene look like, here and with the implant where it should be? (a PNG)

    Parameters
    ----------
    picture : SeenPicture

    Returns
    -------
    bytes
        One place of the scene is one pixel of a chart and two of the lamps.

    Examples
    --------
    >>> from rimwise.records.as_seen import EdgeInPupil
    >>> edge = EdgeInPupil(3.0, 6.0, 2.0, (), None, 5.4)
    >>> page = np.ones((60, 90))
    >>> seen = SeenPicture("lamps", "photopic", 3.0, page, page, page, 0.5, 1.0, 1.0, edge)
    >>> draw_seen(seen)[1:4]
    b'PNG'
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    rows, columns = picture.here.shape
    times = 1 if picture.scene == "chart" else 2
    wide, high = columns * times, rows * times
    full = (_LEFT_PX + 2 * wide + 3 * _GAP_PX, _TOP_PX + high + _BELOW_PX)
    with rc_context(DRAWING_STYLE):
        sheet = Figure(figsize=(full[0] / DPI, full[1] / DPI), dpi=DPI, facecolor=LOOK.paper)
        FigureCanvasAgg(sheet)
        _write_head(sheet, picture, full)
        sides = (
            ("here", picture.here, picture.share_here),
            ("ideal placement", picture.ideal, picture.share_ideal),
        )
        for k, (name, light, share) in enumerate(sides):
            left = _LEFT_PX + k * (wide + _GAP_PX)
            box = (left / full[0], _BELOW_PX / full[1], wide / full[0], high / full[1])
            axes = sheet.add_axes(box)
            _show(axes, picture, light)
            label = f"{name} ({_share_words(share)} of the light within the window)"
            axes.set_title(label, loc="left", fontsize=LOOK.text_pt)
            if k == 0 and picture.scene == "chart":
                _name_rows(axes, picture)
        _write_foot(sheet, picture, full)
        sink = io.BytesIO()
        keep_drawable(sheet)
        sheet.savefig(sink, format="png", dpi=DPI, metadata={"Software": None})
    return sink.getvalue()


def edge_words(arcs_deg: Arcs) -> str:
    """How are arcs of the optic's edge told?

    Examples
    --------
    >>> edge_words(((350.0, 20.0),)), edge_words(((0.0, 360.0),))
    ('350° to 20°', 'all the way round')
    """
    if arcs_deg == ((0.0, 360.0),):
        return "all the way round"
    return ", ".join(f"{start:.0f}° to {end:.0f}°" for start, end in arcs_deg)


def edge_sentence(picture: SeenPicture) -> str:
    """What is said of light that meets the optic's edge?"""
    edge = picture.edge
    start = "no pupil up to 9 mm" if edge.from_pupil_mm is None else f"{edge.from_pupil_mm:.1f} mm"
    if not edge.arcs_deg:
        return f"All light of this pupil passes the optic; the edge is met from {start} on."
    bare = ""
    if edge.bare_arcs_deg is not None:
        bare = f"; bare there: {edge_words(edge.bare_arcs_deg) or 'nowhere'}"
    return (
        f"NOT MODELLED: light beside the optic or on its edge, {edge_words(edge.arcs_deg)} of the "
        f"examiner's directions{bare}. Drawn as if the optic went on; true from {start} down."
    )


def _show(axes: "Axes", picture: SeenPicture, light: FloatArray) -> None:
    rows, columns = light.shape
    half = 0.5 * np.array([columns, rows]) * picture.step_arcmin / 60.0
    extent = (-half[0], half[0], -half[1], half[1])
    if picture.scene == "chart":
        axes.imshow(light, cmap="gray", vmin=0.0, vmax=1.0, extent=extent, interpolation="none")
        axes.set_xticks([])
    else:
        shown = np.log10(np.maximum(light, 10.0**-_DECADES))
        axes.imshow(
            shown, cmap="gray", vmin=-_DECADES, vmax=0.0, extent=extent, interpolation="none"
        )
        ends = math.floor(half[0] * 2.0) / 2.0
        axes.set_xticks(np.arange(-ends, ends + 0.01, 0.5))
        axes.set_xticks(np.arange(-ends - 0.25, ends + 0.3, 0.25), minor=True)
        axes.set_xlim(-half[0], half[0])
        axes.set_xlabel("degrees of the visual field, the patient's right to the right")
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)


def _share_words(share: float) -> str:
    return f"{100.0 * share:.1f} %" if share < 0.999 else "over 99.9 %"


def _draw_greys(sheet: "Figure", full: tuple[int, int]) -> None:
    """Draw what the greys of the lamps stand for."""
    box = (1.0 - (240 + 2 * _GAP_PX) / full[0], 132 / full[1], 240 / full[0], 10 / full[1])
    axes = sheet.add_axes(box)
    axes.imshow(
        np.linspace(-_DECADES, 0.0, 240)[None], cmap="gray", aspect="auto",
        extent=(-_DECADES, 0.0, 0.0, 1.0),
    )  # fmt: skip
    axes.set_yticks([])
    ticks = np.arange(-_DECADES, 0.5)
    axes.set_xticks(ticks, [f"$10^{{{one:.0f}}}$" if one else "1" for one in ticks])
    axes.tick_params(length=2.0, pad=1.0, labelsize=7.0)


def _name_rows(axes: "Axes", picture: SeenPicture) -> None:
    """Write each row's size beside it, where the scene has its ink."""
    ink = picture.scene_light.min(axis=1) < 0.5
    starts = np.flatnonzero(ink & ~np.roll(ink, 1))
    ends = np.flatnonzero(ink & ~np.roll(ink, -1))
    rows = picture.scene_light.shape[0]
    for logmar, start, end in zip(ROWS_LOGMAR, starts, ends, strict=False):
        place = 1.0 - 0.5 * (start + end + 1) / rows
        axes.text(
            -0.012, place, f"{logmar:.1f}\n({decimal_acuity(logmar):.2f})",
            transform=axes.transAxes, ha="right", va="center", fontsize=LOOK.small_pt,
        )  # fmt: skip


def _write_head(sheet: "Figure", picture: SeenPicture, full: tuple[int, int]) -> None:
    name = "Chart of rings and letters" if picture.scene == "chart" else "Two lamps in the dark"
    title = f"{name} as this eye's optics pass it on, {picture.light} pupil {picture.pupil_mm:g} mm"
    sheet.text(_LEFT_PX / full[0], 1.0 - 26 / full[1], title, fontsize=LOOK.title_pt)
    what = "Rows: logMAR (decimal acuity); grey is light, straight, paper = 1."
    if picture.scene == "lamps":
        what = (
            f"Points of light 1° apart. Grey is the logarithm of light: white is all of a lamp's "
            f"light in one place, black {_DECADES:.0f} decades less."
        )
        _draw_greys(sheet, full)
    sheet.text(_LEFT_PX / full[0], 1.0 - 48 / full[1], what, color=LOOK.quiet)


def _write_foot(sheet: "Figure", picture: SeenPicture, full: tuple[int, int]) -> None:
    from matplotlib.lines import Line2D  # noqa: PLC0415 - late, as above

    times = 1 if picture.scene == "chart" else 2
    bar = _BAR_ARCMIN / picture.step_arcmin * times
    y = 134 / full[1]
    ends = [_LEFT_PX / full[0], (_LEFT_PX + bar) / full[0]]
    sheet.add_artist(Line2D(ends, [y, y], color=LOOK.ink, linewidth=3.0, solid_capstyle="butt"))
    long_mm = 1e3 * math.tan(math.radians(_BAR_ARCMIN / 60.0))
    scale = (
        f"{_BAR_ARCMIN / 60.0:g}° of the visual field ({_BAR_ARCMIN:.0f}'). True to scale where "
        f"this bar is {long_mm:.1f} mm long and seen from 1 m."
    )
    sheet.text(ends[1] + 10 / full[0], y, scale, va="center")
    met = bool(picture.edge.arcs_deg)
    lines = (
        (edge_sentence(picture), LOOK.bare if met else LOOK.ink),
        (
            "Both behind the glasses that suit the ideal placement for far through 3 mm. White "
            "light of equal energy, twelve wavelengths weighted as by day; a mesopic eye is only "
            "its larger pupil.",
            LOOK.ink,
        ),
        (NOT_IN_IT, LOOK.ink),
        (NOT_FOR_PATIENTS, LOOK.bare),
        (CAUTIONS[0], LOOK.quiet),
    )
    for k, (line, colour) in enumerate(lines):
        at = (_LEFT_PX / full[0], (104 - 20 * k) / full[1])
        sheet.text(*at, line, color=colour)
