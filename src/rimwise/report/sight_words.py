"""A sight in words: a row a pupil, here beside the ideal placement."""

from rimwise.records.sight import Lens, PupilComparison, Sight
from rimwise.report.place_words import shift_words
from rimwise.terms.estimate import Estimate

Row = tuple[str, ...]
HEADER = ("pupil", "", "refraction", "contrast 5 / 15 / 30 cpd", "visual Strehl")


def lens_words(lens: Lens) -> str:
    """How is a refraction told: sphere, minus cylinder, axis?

    Examples
    --------
    >>> one = Estimate(-0.5, 0.0)
    >>> lens_words(Lens(one, one, one, -0.25, -0.5, 90.0))
    '-0.25 -0.50 x 90°'
    """
    sphere = f"{lens.sphere_dpt:+.2f}"
    if lens.axis_deg is None or lens.cylinder_dpt > -0.005:
        return f"{sphere} dpt"
    return f"{sphere} {lens.cylinder_dpt:.2f} x {round(lens.axis_deg) or 180}°"


def sight_rows(sight: Sight) -> list[Row]:
    """Which rows tell a sight, two a pupil?

    Examples
    --------
    >>> sight_rows(Sight("E-1", "right", "refused", ()))
    []
    """
    return [row for pupil in sight.pupils for row in _pupil_rows(pupil)]


def _pupil_rows(pupil: PupilComparison) -> list[Row]:
    rows: list[Row] = []
    for name, one in (("here", pupil.here), ("ideal", pupil.ideal)):
        curve = one.with_glasses
        at = [curve.mean[curve.frequency_cpd.index(f)] for f in (5.0, 15.0, 30.0)]
        rows.append(
            (
                f"{pupil.pupil_mm:g} mm" if name == "here" else "",
                name,
                f"{lens_words(one.best_contrast)} (± {one.best_contrast.m_dpt.sd:.2f})",
                " / ".join(_share(value) for value in at),
                _share(curve.visual_strehl),
            )
        )
    return rows


def _share(one: Estimate) -> str:
    return f"{one.value:.2f} ± {one.sd:.2f}"


def sight_sentences(sight: Sight) -> list[str]:
    """Which sentences say where the implant stands and what it costs?

    Examples
    --------
    >>> sight_sentences(Sight("E-1", "right", "refused", ()))
    []
    """
    if sight.here is None or not sight.pupils:
        return []
    x, y = (one.value for one in sight.here.shift_mm)
    tilt_x, tilt_y = (one.value for one in sight.here.tilt_deg)
    said = [
        f"The optic stands {shift_words((x, y), sight.side)} from the corneal axis, tilted by "
        f"{tilt_x:+.1f}° and {tilt_y:+.1f}° (x, y).",
    ]
    for one in sight.pupils:
        lost = one.contrast_lost
        astigmatism = lens_words(one.induced)
        said.append(
            f"Pupil {one.pupil_mm:g} mm: {100 * lost.value:+.0f} ± {100 * lost.sd:.0f} points of "
            f"contrast lost at {sight.judged_cpd:g} cycles per degree; induced {astigmatism}."
        )
    if sight.glasses is not None:
        said.append(
            f"Both behind the glasses that suit the ideal placement: {lens_words(sight.glasses)}."
        )
    said.append(
        "Not in it: scatter, retina and adaptation; light that passes beside the optic or meets "
        "its bare edge. It is not for showing to patients before surgery."
    )
    return said
