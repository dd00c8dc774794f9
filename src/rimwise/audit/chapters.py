"""Cover, size, tilt and turning over a series: the chapters that need one column each."""

import math

import numpy as np

from rimwise.audit.summaries import mean, median, scatter, share
from rimwise.records.series import AuditPart, Ellipse, Figure, Series
from rimwise.stats.bivariate import EllipseKind, ScatterEllipse, ellipse_of, vector_mean
from rimwise.stats.circular import mean_axis, mean_direction, rayleigh
from rimwise.stats.clustered import count_persons
from rimwise.terms.arrays import BoolArray, FloatArray

_CLOUD = 4000
_FEWEST = 5  # eyes for an ellipse


def known(*columns: FloatArray) -> BoolArray:
    """In which rows are all these columns known?

    Examples
    --------
    >>> known(np.array([1.0, np.nan])).tolist()
    [True, False]
    """
    rows = np.isfinite(columns[0])
    for column in columns[1:]:
        rows = rows & np.isfinite(column)
    return np.asarray(rows)


def left_out(rows: BoolArray, lack: str) -> tuple[str, ...]:
    """Which sentence says how many eyes are not in a chapter?

    Examples
    --------
    >>> left_out(np.array([True, False]), "no least cover")
    ('1 of 2 eyes left out: no least cover',)
    """
    out = int((~rows).sum())
    return (f"{out} of {len(rows)} eyes left out: {lack}",) if out else ()


def cover_chapter(series: Series) -> AuditPart | None:
    """How often is the optic covered all round, and by how much at the least?

    Eyes whose picture could not tell stand beside the rate, with the rate if all of them were
    covered and if none were.

    Examples
    --------
    >>> columns = {"complete": np.array([1.0, 1.0, 0.0, np.nan])}
    >>> part = cover_chapter(Series(columns, {}, np.arange(4)))
    >>> [(one.count, one.n) for one in part.figures[:4]]
    [(2, 3), (1, 4), (2, 4), (3, 4)]
    """
    complete, least = series.number("complete"), series.number("least_cover_mm")
    if not (series.has("complete") or series.has("least_cover_mm")):
        return None
    figures: list[Figure] = []
    if series.has("complete"):
        told = known(complete)
        covered = complete > 0.5
        people = series.person
        figures = [
            share("complete cover, where told", covered[told], people[told]),
            share("the picture cannot tell it", ~told, people),
            share("complete cover, if none of the untold", covered & told, people),
            share("complete cover, if all of the untold", covered | ~told, people),
        ]
    rows = known(least)
    if rows.any():
        values, people = least[rows], series.person[rows]
        figures += [
            median("least cover, median", values, people, "mm"),
            mean("least cover, mean", values, people, "mm"),
            scatter("least cover, scatter", values, people, "mm"),
            share("least cover below 0 mm", values < 0.0, people),
        ]
    lack = left_out(rows, "no least cover") if series.has("least_cover_mm") else ()
    return AuditPart("cover", "Cover of the optic (capsule overlap)", tuple(figures), (), (), lack)


def size_chapter(series: Series) -> AuditPart | None:
    """How large are the openings, and how far from what was wanted?

    Examples
    --------
    >>> size_chapter(Series({}, {}, np.arange(3))) is None
    True
    """
    made, wanted = series.number("diameter_mm"), series.number("target_diameter_mm")
    if not series.has("diameter_mm"):
        return None
    rows = known(made)
    people = series.person[rows]
    figures = [
        mean("diameter of the opening, mean", made[rows], people, "mm"),
        scatter("diameter of the opening, scatter", made[rows], people, "mm"),
    ]
    both = known(made, wanted)
    if both.any():
        error, people = (made - wanted)[both], series.person[both]
        figures += [
            mean("made less wanted diameter, mean", error, people, "mm"),
            scatter("made less wanted diameter, scatter", error, people, "mm"),
            share("within 0.25 mm of the wanted diameter", np.abs(error) <= 0.25, people),
        ]
    lack = left_out(rows, "no diameter of the opening")
    return AuditPart("size", "Size of the opening", tuple(figures), (), (), lack)


def turning_chapter(series: Series) -> AuditPart | None:
    """How far did toric implants turn from their intended axis?

    Signed turns are averaged as axes, which have a period of 180°; sizes by their median.

    Examples
    --------
    >>> columns = {"rotation_deg": np.array([1.0, -2.0, 3.0, 179.0, -1.0])}
    >>> part = turning_chapter(Series(columns, {}, np.arange(5)))
    >>> part.figures[1].name, part.figures[1].value
    ('turn, size', 1.0)
    """
    turn = series.number("rotation_deg")
    rows = known(turn)
    if not rows.any():
        return None
    people = series.person[rows]
    # An axis that turned by 179° turned by -1°.
    signed = (turn[rows] + 90.0) % 180.0 - 90.0
    axes = mean_axis(turn[rows])
    middle = None
    if axes.mean_deg is not None:
        middle = axes.mean_deg - 180.0 if axes.mean_deg > 90.0 else axes.mean_deg
    half = axes.half_width_deg
    low = None if middle is None or half is None else middle - half
    high = None if middle is None or half is None else middle + half
    figures = (
        Figure(
            "turn, mean (counter-clockwise is +)",
            middle,
            low,
            high,
            "deg",
            len(signed),
            count_persons(people),
            "axial mean, large samples; eyes taken as separate",
        ),
        median("turn, size", np.abs(signed), people, "deg"),
        share("turned by more than 5°", np.abs(signed) > 5.0, people),
        share("turned by more than 10°", np.abs(signed) > 10.0, people),
        share("turned by more than 30°", np.abs(signed) > 30.0, people),
    )
    return AuditPart(
        "turning", "Turn of toric implants", figures, (), (), left_out(rows, "no turn")
    )


def tilt_chapter(series: Series) -> AuditPart | None:
    """How far are implants tilted, and is there a common direction?

    Examples
    --------
    >>> tilt_chapter(Series({}, {}, np.arange(3))) is None
    True
    """
    nasal, superior = series.number("tilt_nasal_deg"), series.number("tilt_superior_deg")
    rows = known(nasal, superior)
    if not rows.any():
        return None
    people = series.person[rows]
    size = np.hypot(nasal[rows], superior[rows])
    pointing = np.degrees(np.arctan2(superior[rows], nasal[rows]))
    way = mean_direction(pointing)
    note = f"no common direction is shown (Rayleigh p = {rayleigh(pointing):.3g})"
    if rayleigh(pointing) < 0.05:
        note = f"Rayleigh p = {rayleigh(pointing):.2g}; 0° nasal, 90° superior"
    figures = (
        median("tilt, size", size, people, "deg"),
        mean("tilt towards nasal", nasal[rows], people, "deg"),
        mean("tilt towards superior", superior[rows], people, "deg"),
        scatter("tilt towards nasal, scatter", nasal[rows], people, "deg"),
        scatter("tilt towards superior, scatter", superior[rows], people, "deg"),
        Figure(
            "direction of tilt",
            way.mean_deg,
            None,
            None,
            "deg",
            way.n,
            count_persons(people),
            note=note,
        ),
    )
    return AuditPart(
        "tilt",
        "Tilt of the implant",
        figures,
        ellipses_of(nasal[rows], superior[rows]),
        cloud_of(nasal[rows], superior[rows]),
        left_out(rows, "no tilt"),
        ("nasal (deg)", "superior (deg)"),
    )


def ellipses_of(x: FloatArray, y: FloatArray) -> tuple[Ellipse, ...]:
    """Which ellipses hold the mean of vectors, and 95 % of eyes? None of fewer than five eyes.

    Examples
    --------
    >>> ellipses_of(np.zeros(3), np.zeros(3))
    ()
    """
    if len(x) < _FEWEST:
        return ()
    summary = vector_mean(np.stack([x, y], axis=1))
    kinds: tuple[EllipseKind, ...] = ("confidence of the mean", "tolerance")
    return tuple(_told(ellipse_of(summary, kind)) for kind in kinds)


def _told(ellipse: ScatterEllipse) -> Ellipse:
    kind = ellipse.kind if ellipse.kind != "tolerance" else "tolerance: 95 % of eyes"
    return Ellipse(
        kind,
        ellipse.center,
        ellipse.semi_major,
        ellipse.semi_minor,
        ellipse.angle_deg,
        ellipse.level,
    )


def cloud_of(x: FloatArray, y: FloatArray) -> tuple[tuple[float, float], ...]:
    """Which points does a drawing show: all, or evenly picked where they are too many?

    Examples
    --------
    >>> len(cloud_of(np.zeros(10000), np.zeros(10000))) <= 4000
    True
    """
    step = max(1, math.ceil(len(x) / _CLOUD))
    return tuple(zip(x[::step].tolist(), y[::step].tolist(), strict=True))
