"""The two drawings of a plan sheet: the surgeon's picture, and the eye from the side with rays."""

import io
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.records.eye_description import EyeDescription
from rimwise.records.plan import Plan
from rimwise.report.eye_drawing import draw_light, draw_surfaces
from rimwise.report.letters import keep_drawable
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.report.plan_drawing import CENTRE_LOOK
from rimwise.report.plan_view import PlanView, Seat, seat_frame, seen_through
from rimwise.report.plan_words import CENTRE_WORDS, judged_words
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import direction_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Label = tuple[tuple[float, float], str, str]
Held = Callable[[FloatArray], FloatArray]
_IRIS, _PUPIL = "#d9d3c4", "#6f6a63"
_LABELS_MM, _WIDE_MM = 7.1, 12.2
# Pale curves are seen on the pale iris too where something dark lies under them.
_CASING = {True: "white", False: LOOK.casing}
_ONE_SPOT_MM = 0.12  # a dot of the drawing
_SEAT_WORDS = {"head": "the patient's head", "side": "the patient's side"}


def draw_front(plan: Plan, view: PlanView, seat: Seat) -> bytes:
    """How will the plan look in the surgeon's picture?

    To scale in apparent mm at the limbus plane, turned for the surgeon's seat, everything named
    where it lies.

    Returns
    -------
    bytes
        SVG; the same bytes for the same plan.

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import CaseSheet, OpeningWish, PlannedImplant
    >>> lens, wish = PlannedImplant(6.0), OpeningWish(5.1, "lens")
    >>> plan = make_plan(CaseSheet("E-1", "left", "none", implant=lens, opening=wish))
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> told = describe_eye("E-1", eye_record(Known("left")))
    >>> from rimwise.report.plan_view import plan_view
    >>> b"<svg" in draw_front(plan, plan_view(plan, told, 4.9, None), "head")
    True
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.patches import Polygon  # noqa: PLC0415

    def held(points_mm: FloatArray) -> FloatArray:
        return seat_frame(seat, plan.side).picture_from_examiner(points_mm) * (1.0, -1.0)

    with rc_context(DRAWING_STYLE):
        figure, axes = _canvas((5.6, 4.15))
        axes.add_patch(
            Polygon(held(view.limbus_mm), facecolor=_IRIS, edgecolor=LOOK.ink, linewidth=0.9)
        )
        # A pupil that nobody measured dilated is no ground to draw an opening on.
        face, line = (_PUPIL, "-") if view.dilated else ("none", ":")
        axes.add_patch(
            Polygon(
                held(view.pupil_mm),
                facecolor=face,
                edgecolor=LOOK.ink,
                linewidth=0.9,
                linestyle=line,
            )
        )
        optic = held(view.optic_mm)
        axes.plot(*optic.T, color=LOOK.casing, linewidth=2.6, linestyle="-", alpha=0.55)
        axes.plot(*optic.T, color=LOOK.optic_curve, linewidth=1.6, linestyle=(0, (5, 2)))
        if view.marks_mm is not None:
            axes.plot(*held(view.marks_mm).T, color=LOOK.optic_curve, linewidth=1.1, marker="o",
                      markersize=4, markeredgecolor=LOOK.ink)  # fmt: skip
        for one in view.openings:
            edge, (colour, dash, _) = held(one.edge_mm), CENTRE_LOOK[one.plan.centre]
            if plan.chosen is not None:
                colour, dash = LOOK.opening_curve, "-"
            axes.plot(*edge.T, color=_CASING[plan.chosen is None], linewidth=2.8)
            axes.plot(*edge.T, color=colour, linewidth=1.2, linestyle=dash)
        labels = [*_curve_labels(plan, view, held), *_point_labels(axes, plan, view, held)]
        _draw_labels(axes, labels)
        _finish_front(axes, plan, seat, 0.5 * _width(view.limbus_mm))
        return _svg(figure, front_description(plan, seat))


def front_description(plan: Plan, seat: Seat) -> str:
    """What does the surgeon's picture show, for those who cannot see it?

    Examples
    --------
    >>> from rimwise.plan.make import make_plan
    >>> from rimwise.records.case import CaseSheet, OpeningWish, PlannedImplant
    >>> lens, wish = PlannedImplant(6.0), OpeningWish(5.1, "lens")
    >>> plan = make_plan(CaseSheet("E-1", "left", "none", implant=lens, opening=wish))
    >>> front_description(plan, "side")[:47]
    "The left eye as a surgeon at the patient's side"
    """
    openings = "; ".join(
        f"opening of {judged_words(plan, one)} on the {CENTRE_WORDS[one.centre]}"
        for one in (plan.centres if plan.chosen is None else (plan.chosen,))
    )
    return (
        f"The {plan.side} eye as a surgeon at {_SEAT_WORDS[seat]} sees it"
        f"{' through the cornea, fixating' if seen_through(plan) else ', in real mm'}: "
        f"limbus, pupil, optic of {plan.optic_diameter_mm:.2f} mm; {openings}."
    )


def draw_side(told: EyeDescription, depth_mm: Estimate | None) -> bytes:
    """How does light go through this eye with the planned implant? From above, to scale.

    Parameters
    ----------
    told : EyeDescription
        Of the eye with the implant.
    depth_mm : Estimate or None
        Of the implant's middle behind the corneal front.

    Returns
    -------
    bytes
        SVG; the same bytes for the same eye.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> told = describe_eye("E-1", eye_record(Known("left", "implant")))
    >>> b"<svg" in draw_side(told, Estimate(4.9, 0.2, "predicted"))
    True
    """
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late

    model = eye_model(told.record)
    with rc_context(DRAWING_STYLE):
        figure, axes = _canvas((4.1, 4.15))
        draw_light(axes, model)
        draw_surfaces(axes, model, told.record)
        back = model.retina_depth_mm or 12.0
        lens = told.record.value("lens_front_depth_mm") + told.record.value("lens_thickness_mm") / 2
        _point_at(axes, "cornea", (0.9, -4.0), (-3.4, -6.6))
        _point_at(axes, "iris", (model.stop_depth_mm, 4.0), (-1.2, 8.9))
        words = "implant" if depth_mm is None else f"implant\n{depth_mm.value:.2f} mm deep"
        if depth_mm is not None and depth_mm.sd:
            words += f"\n± {depth_mm.sd:.2f}"
        _point_at(axes, words, (lens, -2.9), (lens + 2.4, -7.4))
        _point_at(axes, "retina", (back, 0.3), (back - 3.6, 3.6))
        half = max(12.0, 0.5 * back + 0.5)  # the whole globe of a long eye
        axes.plot([-5.6, -0.6], [-11.7, -11.7], color=LOOK.ink, linewidth=2)
        axes.text(-3.1, -11.5, "5 mm", ha="center", va="bottom")
        up, down = (direction_words(angle, told.record.side) for angle in (0.0, 180.0))
        axes.text(-5.6, 11.6, up, va="top")
        axes.text(-5.6, -10.0, down, va="bottom")
        axes.set(xlim=(-6.2, back + 1.2), ylim=(-half - 0.4, half), aspect="equal")
        axes.axis("off")
        return _svg(figure, side_description(told, depth_mm))


def side_description(told: EyeDescription, depth_mm: Estimate | None) -> str:
    """What does the side view show, for those who cannot see it?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> told = describe_eye("E-1", eye_record(Known("left", "implant")))
    >>> side_description(told, None)[:45]
    'The left eye in section from above, to scale,'
    """
    deep = "" if depth_mm is None else f", its middle {depth_mm.value:.2f} mm deep"
    return (
        f"The {told.record.side} eye in section from above, to scale, with the implant{deep}, and "
        "parallel light traced through it to the retina."
    )


def _canvas(size: tuple[float, float]) -> "tuple[Figure, Axes]":
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    figure = Figure(figsize=size, facecolor="none")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    return figure, axes


def _svg(figure: "Figure", words: str) -> bytes:
    out = io.BytesIO()
    keep_drawable(figure)
    figure.savefig(out, format="svg", metadata={"Date": None, "Description": words})
    return out.getvalue()


def _curve_labels(plan: Plan, view: PlanView, held: Held) -> list[Label]:
    """Return the names of the curves, each with the point of the curve that it points at."""
    labels = [
        (_at_angle(held(view.limbus_mm), 28.0), "limbus", LOOK.quiet),
        (
            _at_angle(held(view.pupil_mm), 12.0),
            "pupil" if view.dilated else "pupil undilated,\nnot measured dilated",
            LOOK.quiet,
        ),
        (
            _at_angle(held(view.optic_mm), -32.0),
            f"optic {plan.optic_diameter_mm:.2f} mm" + _looks(plan, view.optic_mm),
            LOOK.covered,
        ),
    ]
    if view.marks_mm is not None and plan.toric is not None:
        ends = held(view.marks_mm)
        right = ends[int(np.argmax(ends[:, 0]))]
        words = f"toric marks along {plan.toric.axis_deg:.0f}°"
        labels.append(((float(right[0]), float(right[1])), words, LOOK.ink))
    if plan.chosen is not None:
        one = view.openings[0]
        short = "" if plan.diameter_mm is not None else ",\nthe smallest allowed"
        labels.append(
            (
                _at_angle(held(one.edge_mm), 50.0),
                f"opening {judged_words(plan, one.plan)}{short}" + _looks(plan, one.edge_mm),
                LOOK.ink,
            )
        )
    return labels


def _point_labels(axes: "Axes", plan: Plan, view: PlanView, held: Held) -> list[Label]:
    """Draw targets and reflexes, and return their names."""
    labels = []
    for centre, at in view.targets:
        if plan.chosen is not None and centre != plan.centre:
            continue
        x, y = held(np.array([at]))[0]
        colour, _, mark = CENTRE_LOOK[centre]
        axes.plot([x], [y], mark, color=colour, markeredgecolor="white", markersize=6, zorder=6)
        head = "centre: " if plan.chosen is not None else ""
        labels.append(((float(x), float(y)), f"{head}{CENTRE_WORDS[centre]}", colour))
    for names, at in _near(view.reflexes):
        x, y = held(np.array([at]))[0]
        words = f"reflex {names[0]}" if len(names) == 1 else f"reflexes {', '.join(names)}"
        labels.append(((float(x), float(y)), words, LOOK.ink))
    for _, at in view.reflexes:
        x, y = held(np.array([at]))[0]
        axes.plot([x], [y], "o", color="white", markeredgecolor=LOOK.ink, markersize=3.4, zorder=7)
    return labels


def _near(
    reflexes: tuple[tuple[str, tuple[float, float]], ...],
) -> list[tuple[list[str], tuple[float, float]]]:
    """Join reflexes that lie on each other at the size of the drawing."""
    groups: list[tuple[list[str], tuple[float, float]]] = []
    for name, at in reflexes:
        beside = next(
            (names for names, place in groups if np.hypot(*np.subtract(place, at)) < _ONE_SPOT_MM),
            None,
        )
        if beside is None:
            groups.append(([name], at))
        else:
            beside.append(name)
    return groups


def _at_angle(curve: FloatArray, angle_deg: float) -> tuple[float, float]:
    """Return the curve's point nearest to this direction from its middle."""
    away = curve - curve[:-1].mean(axis=0)
    turn = np.degrees(np.angle(np.exp(1j * (np.arctan2(away[:, 1], away[:, 0])))))
    k = int(np.argmin(np.abs(turn - angle_deg)))
    return float(curve[k, 0]), float(curve[k, 1])


def _looks(plan: Plan, curve: FloatArray) -> str:
    return f",\nlooks {_width(curve):.2f} mm" if seen_through(plan) else ""


def _width(curve: FloatArray) -> float:
    """Return the diameter of the circle of equal area."""
    x, y = curve[:-1].T
    area = 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))
    return float(2.0 * np.sqrt(area / np.pi))


def _draw_labels(axes: "Axes", labels: list[Label]) -> None:
    """Write the names in a column at the right, in the order of what they point at."""
    ordered = sorted(labels, key=lambda one: one[0][1])
    heights = np.linspace(-5.4, 5.4, len(ordered))
    for (at, words, colour), height in zip(ordered, heights, strict=True):
        axes.annotate(
            words,
            at,
            (_LABELS_MM, height),
            color=colour,
            va="center",
            zorder=8,
            arrowprops={"arrowstyle": "-", "color": LOOK.ink, "linewidth": 0.45, "shrinkB": 2},
        )


def _finish_front(axes: "Axes", plan: Plan, seat: Seat, limbus_mm: float) -> None:
    away_mm = limbus_mm + 0.35
    frame = seat_frame(seat, plan.side)
    east, west = (direction_words(angle, plan.side) for angle in (0.0, 180.0))
    for angle, word in ((0.0, east), (90.0, "superior"), (180.0, west), (270.0, "inferior")):
        turn = np.radians(frame.picture_deg(angle))
        x, y = away_mm * np.cos(turn), away_mm * np.sin(turn)
        upright = abs(x) > abs(y)
        axes.text(
            x, y, word, rotation=90 if upright else 0, ha="center", va="center", zorder=9
        ).set_bbox({"facecolor": "white", "alpha": 0.75, "linewidth": 0, "pad": 0.6})
    axes.plot([-6.7, -5.7], [-6.6, -6.6], color=LOOK.ink, linewidth=2, solid_capstyle="butt")
    axes.text(-6.2, -6.5, "1 mm", ha="center", va="bottom")
    axes.text(0.0, -away_mm - 0.45, f"surgeon at {_SEAT_WORDS[seat]}", ha="center", va="top")
    axes.set(xlim=(-7.0, _WIDE_MM), ylim=(-7.5, 6.9), aspect="equal")
    axes.axis("off")


def _point_at(
    axes: "Axes", words: str, at: tuple[float, float], place: tuple[float, float]
) -> None:
    axes.annotate(
        words,
        at,
        place,
        ha="center",
        va="center",
        zorder=8,
        arrowprops={"arrowstyle": "-", "color": LOOK.ink, "linewidth": 0.45},
    )
