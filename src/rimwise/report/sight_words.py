"""A sight in words: a row a pupil, here beside the ideal placement."""

from rimwise.records.sight import Lens, PupilComparison, Sensitivity, Sight, Tolerance
from rimwise.report.place_words import shift_words
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, direction_words, nasal_superior

Row = tuple[str, ...]
# Orders that hold less are in the document only.
_TOLD_SHARE = 0.05
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
    tilt = nasal_superior(tilt_x, tilt_y, sight.side)
    ways = (("nasal", "temporal"), ("superior", "inferior"))
    tilts = [f"{abs(t):.1f}° {way[t < 0.0]}" for t, way in zip(tilt, ways, strict=True)]
    said = [
        f"The optic stands {shift_words((x, y), sight.side)} from the corneal axis; the "
        f"front of its axis points {' and '.join(tilts)}.",
    ]
    for one in sight.pupils:
        lost = one.contrast_lost
        low, high = (points_words(end) for end in one.contrast_lost_95)
        likely = f" (95 %: {low} to {high})" if lost.sd > 0.0 else ""
        astigmatism = lens_words(one.induced)
        said.append(
            f"Pupil {one.pupil_mm:g} mm: {points_words(lost.value)} ± {100 * lost.sd:.0f} points "
            f"of contrast lost{likely} at {sight.judged_cpd:g} cycles per degree; induced "
            f"{astigmatism}."
        )
    said += foci_sentences(sight)
    if sight.sensitivity is not None:
        said += sensitivity_sentences(sight.sensitivity, sight.side)
    if sight.glasses is not None:
        said.append(
            f"Both behind the glasses that suit the ideal placement: {lens_words(sight.glasses)}."
        )
    said.append(
        "Not in it: scatter, retina and adaptation; light that passes beside the optic or meets "
        "its bare edge. It is not for showing to patients before surgery."
    )
    return said


def points_words(share: float) -> str:
    """How are points of contrast told: whole, with their sign, nothing as 0?

    Examples
    --------
    >>> points_words(0.034), points_words(-0.004)
    ('+3', '0')
    """
    points = round(100.0 * share)
    return f"{points:+d}" if points else "0"


def foci_sentences(sight: Sight) -> list[str]:
    """Which sentences tell the foci of a diffractive profile?

    Examples
    --------
    >>> foci_sentences(Sight("E-1", "right", "refused", ()))
    []
    """
    if not sight.foci:
        return []
    told = [
        f"order {one.order}: {100 * one.efficiency:.0f} % of the light, sharp for far with "
        f"{one.lens_dpt:+.2f} dpt added to the glasses{_near_words(one.lens_dpt)}"
        for one in sight.foci
        if one.efficiency >= _TOLD_SHARE
    ]
    return [f"Foci of the profile: {'; '.join(told)}."]


def _near_words(lens_dpt: float) -> str:
    """Return where such a focus is sharp without that lens; nothing beyond four metres."""
    return f", so at {-100.0 / lens_dpt:.0f} cm without" if lens_dpt < -0.25 else ""


def sensitivity_sentences(found: Sensitivity, side: Side) -> list[str]:
    """Which sentences say what standing elsewhere would cost?

    Examples
    --------
    >>> circle = Tolerance(0.1, 0.5, "mm", Estimate(0.3, 0.05), True)
    >>> sensitivity_sentences(Sensitivity(4.0, 15.0, (), (circle,)), "right")[0][:52]
    'Pupil 4 mm, 15 cycles per degree: a tenth of the con'
    """
    said = []
    for one in found.tolerances:
        about = f"Pupil {found.pupil_mm:g} mm, {found.frequency_cpd:g} cycles per degree"
        said.append(f"{about}: {_circle_words(one)}")
    for plane in found.maps:
        step, unit = ("0.1 mm", "shift") if plane.unit == "mm" else ("1°", "tilt")
        direction, cost = max(plane.cost, key=lambda pair: pair[1])
        if cost <= 0.0:
            said.append(f"From here no {unit} of {step} takes any contrast.")
            continue
        said.append(
            f"From here {step} more {unit} costs at most {100 * cost:.1f} points of contrast, "
            f"towards {direction_words(direction, side)}."
        )
    return said


def _circle_words(one: Tolerance) -> str:
    unit = " mm" if one.unit == "mm" else "°"
    part = "a tenth" if one.loss == 0.1 else f"{100 * one.loss:g} %"
    what = "shift" if one.unit == "mm" else "tilt"
    stands = f"this implant has {one.here.value:.2f} ± {one.here.sd:.2f}{unit}"
    judged = {True: "within", False: "beyond", None: "within or beyond cannot be told"}[one.within]
    if one.radius is None:
        return f"{part} of the contrast is lost by no {what} on the map; {stands}."
    return (
        f"{part} of the contrast is lost from a {what} of {one.radius:.2f}{unit} on, in the worst "
        f"direction; {stands}: {judged}."
    )
