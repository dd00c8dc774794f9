"""An eye drawn to scale: its horizontal section from above, with traced rays, axes and reflexes."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.eye.model import EyeModel
from rimwise.optics.rays import rays
from rimwise.optics.trace import trace
from rimwise.records.eye import EyeRecord
from rimwise.records.eye_description import EyeDescription
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.look import LOOK
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.frames import direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FRONT_MM, RAYS, FINE = 6.0, 9, 121
_STYLE = {
    "svg.hashsalt": "rimwise",
    "svg.fonttype": "none",
    "font.family": LOOK.font,
    "font.size": LOOK.small_pt,
    "text.color": LOOK.ink,
}
# Axis, dash, colour: told apart without colour too.
_AXES = (
    ("visual axis", "visual_deg", "-", LOOK.covered),
    ("pupillary axis", "pupillary_deg", "--", LOOK.bare),
    ("corneal axis", None, ":", LOOK.quiet),
)


def draw_eye(told: EyeDescription, kind: Literal["svg", "png"] = "svg") -> bytes:
    """How does this eye look in section, with light going through it?

    The horizontal section through the corneal axis, seen from above, true to scale: parallel
    light of the pupil's width traced to the retina, axes, and where the reflexes of a far lamp
    on the corneal axis appear.

    Parameters
    ----------
    told : EyeDescription
    kind : "svg" or "png"

    Returns
    -------
    bytes
        The same bytes for the same eye.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> picture = draw_eye(describe_eye("E-1", eye_record(Known("right"))))
    >>> b"<svg" in picture
    True
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    model = eye_model(told.record)
    with rc_context(_STYLE):
        figure = Figure(figsize=(9.0, 7.2), facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.03, 0.09, 0.94, 0.82))
        draw_light(axes, model)
        draw_surfaces(axes, model, told.record)
        _draw_axes(axes, told)
        _draw_reflexes(axes, told)
        _finish(axes, figure, told, model)
        title = f"Eye {told.code}, {told.record.side}"
        return drawing_bytes(figure, title, eye_drawing_description(told), kind)


def eye_drawing_description(told: EyeDescription) -> str:
    """What does the drawing show, for those who cannot see it?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> eye_drawing_description(describe_eye("E-1", eye_record(Known("left"))))[:34]
    'Section of the left eye from above'
    """
    c = told.cardinal
    depths = ", ".join(f"{one.name} {-one.image_mm[2]:.1f} mm deep" for one in told.reflexes)
    return (
        f"Section of the {told.record.side} eye from above, to scale. Power {c.power_dpt:.1f} dpt, "
        f"focus {c.back_focus_mm:.2f} mm behind the corneal front. Reflexes: {depths}."
    )


def draw_light(axes: "Axes", model: EyeModel) -> None:
    """Draw rays of a far point on the corneal axis; one that fails ends where it failed."""
    x0, _ = model.pupil_mm
    half = 0.5 * model.pupil_diameter_mm * 1.1
    height = x0 + np.linspace(-half, half, RAYS)
    bundle = rays(np.column_stack([height, 0 * height, 0 * height + FRONT_MM]), [0.0, 0.0, -1.0])
    found = trace(model.whole, bundle, record=True, engine="numpy")
    if found.record is None:
        return
    for i, start in enumerate(bundle.positions_mm):
        points = np.vstack([start, found.record.points_mm[:, i]])
        points = points[np.isfinite(points).all(axis=1)]
        axes.plot(-points[:, 2], points[:, 0], color=LOOK.optic_curve, linewidth=0.9, zorder=2)
        axes.plot(-points[:, 2], points[:, 0], color=LOOK.covered, linewidth=0.4, zorder=3)


def draw_surfaces(axes: "Axes", model: EyeModel, record: EyeRecord) -> None:
    """Draw cornea, lens, iris and globe of the horizontal section, true to scale."""
    limbus = record.value("white_to_white_mm") / 2.0
    for part in model.placed:
        half = limbus
        if part.of_lens:
            half = min(part.surface.semi_diameter_mm, 4.5)
        elif part.role == "cornea back":
            half = 0.93 * limbus
        across = np.linspace(-half, half, FINE)
        sag = part.surface.sag_mm(across, 0 * across)
        line = part.surface.pose.outward(np.column_stack([across, 0 * across, sag]))
        axes.plot(-line[:, 2], line[:, 0], color=LOOK.ink, linewidth=1.4, zorder=4)
    _draw_iris(axes, model, limbus)
    if model.retina_depth_mm is not None:
        # The globe behind the limbus, drawn as a circle through the retina; for the eye only.
        sphere = 0.5 * (model.retina_depth_mm - 1.0)
        angle = np.radians(np.linspace(-137.0, 137.0, FINE))
        across = sphere * np.sin(angle)
        along = model.retina_depth_mm - sphere + sphere * np.cos(angle)
        front = -float(model.parts[0].rounded.surface.sag_mm(np.array(limbus), np.array(0.0)))
        along = np.concatenate([[front], along, [front]])
        across = np.concatenate([[-limbus], across, [limbus]])
        axes.plot(along, across, color=LOOK.quiet, linewidth=1.6, zorder=1)


def _draw_iris(axes: "Axes", model: EyeModel, limbus: float) -> None:
    """Draw the iris from the pupil to where it meets the cornea's back."""
    x0, radius = model.pupil_mm[0], model.pupil_diameter_mm / 2.0
    reach = 0.95 * limbus
    corneal = [part for part in model.parts if not part.of_lens]
    across = np.linspace(0.0, reach, FINE)
    sag = corneal[-1].surface.sag_mm(across, 0 * across) - corneal[-1].depth_mm
    behind = across[-sag < model.stop_depth_mm]
    reach = min(reach, float(behind[-1])) if len(behind) else reach
    for sign in (1.0, -1.0):
        ends = [x0 + sign * radius, sign * reach]
        axes.plot([model.stop_depth_mm] * 2, ends, color=LOOK.bare, linewidth=3.0, zorder=4)


def _draw_axes(axes: "Axes", told: EyeDescription) -> None:
    nodal, lines = told.cardinal.front_nodal_mm, []
    for name, field, dash, colour in _AXES:
        slope = 0.0 if field is None else np.tan(np.radians(getattr(told.axes, field)[0]))
        ends = np.array([-FRONT_MM, nodal])
        axes.plot(ends, (nodal - ends) * slope, dash, color=colour, linewidth=1.0, zorder=5)
        lines.append((float((nodal + FRONT_MM) * slope), name, colour))
    lines.sort()
    middle = 0.5 * (lines[0][0] + lines[-1][0])
    for k, (height, name, colour) in enumerate(lines):
        place = middle + 0.9 * (k - 0.5 * (len(lines) - 1))
        axes.annotate(
            name,
            (-FRONT_MM, height),
            (-FRONT_MM - 1.2, place),
            color=colour,
            ha="right",
            va="center",
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.5},
        )


def _draw_reflexes(axes: "Axes", told: EyeDescription) -> None:
    """Mark the images of the fixated lamp, at their depth and their place from P1."""
    for one in told.reflexes:
        place = told.from_p1_mm(one)
        if place is None:
            continue
        depth = -one.image_mm[2]
        axes.plot([depth], [place[0]], "o", color=LOOK.paper, markeredgecolor=LOOK.ink, zorder=6)
        below = one.name in {"P2", "P4"}
        axes.annotate(
            one.name,
            (depth, place[0]),
            (0, -6 if below else 6),
            "data",
            "offset points",
            ha="center",
            va="top" if below else "bottom",
            zorder=6,
        )


def _finish(axes: "Axes", figure: "Figure", told: EyeDescription, model: EyeModel) -> None:
    back = model.retina_depth_mm or 12.0
    axes.set(xlim=(-FRONT_MM - 4.5, back + 1.5), ylim=(-12.5, 12.5), aspect="equal")
    axes.axis("off")
    up, down = direction_words(0.0, told.record.side), direction_words(180.0, told.record.side)
    axes.text(-FRONT_MM, 11.8, up, va="top")
    axes.text(-FRONT_MM, -11.8, down, va="bottom")
    axes.plot([-FRONT_MM, -FRONT_MM + 5.0], [-10.4, -10.4], color=LOOK.ink, linewidth=2)
    axes.text(-FRONT_MM + 2.5, -10.2, "5 mm", ha="center", va="bottom")
    lens = {"natural": "natural lens", "implant": "implant", "none": "no lens"}[told.record.lens]
    axes.set_title(
        f"{told.code}: {told.record.side} eye from above, {lens}; reflexes as seen when fixating",
        fontsize=LOOK.text_pt,
    )
    figure.text(0.02, 0.02, CAUTIONS[0], fontsize=6.5)
