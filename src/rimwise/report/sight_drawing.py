"""A sight drawn: contrast and focus beside the ideal placement, and maps of other placements."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from rimwise.records.sight import PupilComparison, Sight
from rimwise.report.finished_drawing import drawing_bytes
from rimwise.report.look import DRAWING_STYLE, LOOK
from rimwise.report.sight_maps import MAPS_HIGH, draw_maps_in
from rimwise.report.sight_words import sight_sentences
from rimwise.terms.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_STYLE = DRAWING_STYLE | {"font.size": LOOK.text_pt - 1.0}
_SHOWN_MM = 4.0


def draw_sight(sight: Sight, kind: Literal["svg", "png"] = "svg") -> bytes:
    """How does a sight look, as one picture?

    Above, for the pupil of the maps (or the one nearest to 4 mm): the contrast of gratings here
    beside the ideal placement, and contrast through focus. Below, where there are maps: contrast,
    induced cylinder and coma at every shift and every tilt, the tolerance circle, and where this
    implant stands.

    Raises
    ------
    ValueError
        If the sight was refused: there is nothing to draw.

    Examples
    --------
    >>> draw_sight(Sight("E-1", "right", "refused", ()))
    Traceback (most recent call last):
    ...
    ValueError: a refused sight has nothing to draw; show its reasons instead
    """
    if not sight.pupils:
        raise ValueError("a refused sight has nothing to draw; show its reasons instead")
    from matplotlib import rc_context  # noqa: PLC0415 - takes a second, so late
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(_STYLE):
        mapped = sight.sensitivity
        height = 4.4 if mapped is None else 4.4 + MAPS_HIGH
        figure = Figure(figsize=(9.6, height), facecolor=LOOK.paper)
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            1, 2, left=0.08, right=0.97, wspace=0.24, top=1.0 - 0.4 / height,
            bottom=1.0 - 3.35 / height,
        )  # fmt: skip
        pupil = _shown(sight)
        _draw_contrast(figure.add_subplot(grid[0, 0]), pupil, sight.judged_cpd)
        _draw_focus(figure.add_subplot(grid[0, 1]), pupil)
        if mapped is not None:
            draw_maps_in(figure, mapped, sight.side, (0.65, 0.65 + MAPS_HIGH))
        figure.text(0.02, 0.34 / height, _not_in_it(sight), fontsize=6.5)
        figure.text(0.02, 0.14 / height, CAUTIONS[0], fontsize=6.5)
        title = f"Expected sight, {sight.code}"
        return drawing_bytes(figure, title, sight_description(sight), kind)


def sight_description(sight: Sight) -> str:
    """What does the picture show, for those who can't see it?

    Examples
    --------
    >>> sight_description(Sight("E-1", "right", "refused", ()))
    'Nothing could be predicted.'
    """
    return " ".join(sight_sentences(sight)) or "Nothing could be predicted."


def _shown(sight: Sight) -> PupilComparison:
    wanted = _SHOWN_MM if sight.sensitivity is None else sight.sensitivity.pupil_mm
    return min(sight.pupils, key=lambda one: abs(one.pupil_mm - wanted))


def _not_in_it(sight: Sight) -> str:
    return sight_sentences(sight)[-1] if sight.here is not None else ""


def _draw_contrast(axes: "Axes", pupil: PupilComparison, judged_cpd: float) -> None:
    here, ideal = pupil.here.with_glasses, pupil.ideal.with_glasses
    f = np.array(here.frequency_cpd)
    mean = np.array([one.value for one in here.mean])
    low, high = np.array(here.mean_95).T
    axes.fill_between(f, low, high, color=LOOK.covered, alpha=0.22, linewidth=0.0)
    axes.plot(f, [one.value for one in ideal.mean], "--", color=LOOK.quiet, label="ideal placement")
    axes.plot(f, mean, color=LOOK.covered, linewidth=1.8, label="here, all directions (95 %)")
    along, across = ([one.value for one in row] for row in (here.tangential, here.sagittal))
    axes.plot(f, along, ":", color=LOOK.ink, label=f"here, along {here.tangential_deg % 180:.0f}°")
    axes.plot(f, across, "-.", color=LOOK.ink, linewidth=0.8, label="here, across it")
    axes.axvline(judged_cpd, color=LOOK.rule, zorder=0)
    axes.set(
        xlim=(0, f[-1]), ylim=(0, 1), xlabel="grating, cycles per degree", ylabel="contrast kept"
    )
    axes.set_title(f"Contrast behind the same glasses, pupil {pupil.pupil_mm:g} mm", fontsize=9)
    axes.legend(frameon=False, fontsize=7.5)


def _draw_focus(axes: "Axes", pupil: PupilComparison) -> None:
    here, ideal = pupil.here.through_focus, pupil.ideal.through_focus
    axes.plot(ideal.lens_dpt, ideal.contrast, "--", color=LOOK.quiet, label="ideal placement")
    axes.plot(here.lens_dpt, here.contrast, color=LOOK.covered, linewidth=1.8, label="here")
    axes.axvline(0.0, color=LOOK.rule, zorder=0)
    top = max(*here.contrast, *ideal.contrast)
    axes.set(
        xlim=(here.lens_dpt[0], here.lens_dpt[-1]), ylim=(0.0, 1.1 * top),
        xlabel="lens added to the glasses, dpt",
        ylabel=f"contrast at {here.frequency_cpd:g} cycles per degree",
    )  # fmt: skip
    axes.set_title(f"Through focus, pupil {pupil.pupil_mm:g} mm", fontsize=9)
    axes.legend(frameon=False, fontsize=7.5)
