"""Refraction against prediction, vision and astigmatism, by the published reporting rules."""

import numpy as np

from rimwise.audit.chapters import cloud_of, known, left_out
from rimwise.audit.summaries import mean, median, root_mean_square, scatter, share
from rimwise.records.series import AuditPart, Ellipse, Figure, Series
from rimwise.stats.bivariate import ellipse_of, vector_mean
from rimwise.stats.clustered import count_persons
from rimwise.stats.trimmed import trimmed_mean
from rimwise.terms.arrays import FloatArray, IntArray

WITHIN_DPT = (0.25, 0.50, 0.75, 1.00)
_FEWEST = 5
_ROUND = 1e-9  # 0.25 of a decimal table is 0.25, whatever binary makes of it


def prediction_errors(series: Series) -> FloatArray:
    """By how much did the achieved refraction miss the predicted one (achieved - predicted)?

    The spherical equivalent is taken from ``achieved_dpt`` or from sphere and cylinder.

    Examples
    --------
    >>> columns = {"predicted_dpt": np.array([-0.25]), "sphere_dpt": np.array([0.0]),
    ...     "cylinder_dpt": np.array([-0.5])}
    >>> prediction_errors(Series(columns, {}, np.arange(1))).tolist()
    [0.0]
    """
    achieved = series.number("achieved_dpt")
    equivalent = series.number("sphere_dpt") + 0.5 * series.number("cylinder_dpt")
    achieved = np.where(np.isfinite(achieved), achieved, equivalent)
    return np.asarray(achieved - series.number("predicted_dpt"))


def error_figures(errors: FloatArray, person: IntArray, label: str) -> list[Figure]:
    """Which figures describe prediction errors: ME, SD, MAE, MedAE, RMS, shares within limits?

    Examples
    --------
    >>> errors = np.array([0.1, -0.3, 0.2, 0.6, -0.1, 0.0])
    >>> [round(one.value, 3) for one in error_figures(errors, np.arange(6), "as is")[:1]]
    [0.083]
    """
    size = np.abs(errors)
    figures = [
        mean(f"mean error, {label}", errors, person, "dpt"),
        scatter(f"standard deviation, {label}", errors, person, "dpt"),
        mean(f"mean absolute error, {label}", size, person, "dpt"),
        median(f"median absolute error, {label}", size, person, "dpt"),
        root_mean_square(f"root mean square error, {label}", errors, person, "dpt"),
    ]
    figures += [
        share(f"within {limit:.2f} dpt, {label}", size <= limit + _ROUND, person)
        for limit in WITHIN_DPT
    ]
    if len(errors) >= _FEWEST:
        figures.append(
            Figure(
                f"trimmed mean absolute error (20 %), {label}",
                trimmed_mean(size),
                None,
                None,
                "dpt",
                len(errors),
                count_persons(person),
            )
        )
    return figures


def refraction_chapter(series: Series) -> AuditPart | None:
    """How good were the predictions, as they stand and with the mean error set to zero?

    Examples
    --------
    >>> refraction_chapter(Series({}, {}, np.arange(3))) is None
    True
    """
    errors = prediction_errors(series)
    rows = known(errors)
    if not rows.any():
        return None
    kept, person = errors[rows], series.person[rows]
    figures = error_figures(kept, person, "as is")
    if len(kept) >= _FEWEST:
        figures += error_figures(kept - kept.mean(), person, "mean set to zero")
    return AuditPart(
        "refraction",
        "Refraction against prediction (achieved - predicted)",
        tuple(figures),
        (),
        (),
        left_out(rows, "no predicted or no achieved refraction"),
    )


def acuity_chapter(series: Series) -> AuditPart | None:
    """How well do the eyes see? Letters are averaged on the logMAR scale, categories counted.

    Counting fingers, hand motion, light and no light are no letters: they stand apart and are in
    no mean.

    Examples
    --------
    >>> columns = {"acuity_logmar": np.array([0.0, 0.1, np.nan])}
    >>> acuity_chapter(Series(columns, {}, np.arange(3))).figures[0].value
    0.05
    """
    letters = series.number("acuity_logmar")
    rows = known(letters)
    category = series.names.get("acuity_category")
    if not rows.any() and category is None:
        return None
    figures: list[Figure] = []
    if rows.any():
        values, person = letters[rows], series.person[rows]
        figures = [
            median("acuity, median", values, person, "logMAR"),
            mean("acuity, mean", values, person, "logMAR"),
            scatter("acuity, scatter", values, person, "logMAR"),
            share("acuity 0.00 logMAR or better", values <= _ROUND, person),
            share("acuity 0.30 logMAR or better", values <= 0.30 + _ROUND, person),
        ]
    if category is not None:
        told = rows | (category.codes >= 0)
        figures += [
            share(f"acuity: {name}", category.where(name)[told], series.person[told])
            for name in category.names
        ]
        rows = told
    return AuditPart("acuity", "Visual acuity", tuple(figures), (), (), left_out(rows, "no acuity"))


def astigmatism_chapter(series: Series, kind: str) -> AuditPart | None:
    """What are mean and scatter of an astigmatism, as vectors on the double angle?

    Parameters
    ----------
    series : Series
    kind : str
        "refractive" (cylinder and axis of the refraction), "corneal-before", "corneal-after"
        (cylinder and steep meridian), or "induced" (corneal after less before).

    Notes
    -----
    x = C cos 2α, y = C sin 2α with C positive along the steep meridian of the error (the axis of
    the minus cylinder); both ellipses are named. In a left eye nothing is mirrored.

    Examples
    --------
    >>> columns = {"cylinder_dpt": np.full(6, -0.5), "axis_deg": np.full(6, 180.0)}
    >>> part = astigmatism_chapter(Series(columns, {}, np.arange(6)), "refractive")
    >>> [round(one.value, 3) + 0.0 for one in part.figures[:2]]
    [0.5, 180.0]
    """
    vectors = _vectors(series, kind)
    rows = known(vectors[:, 0], vectors[:, 1])
    if not rows.any():
        return None
    x, y, person = vectors[rows, 0], vectors[rows, 1], series.person[rows]
    people = count_persons(person)
    middle = np.array([x.mean(), y.mean()])
    axis = np.degrees(0.5 * np.arctan2(middle[1], middle[0])) % 180.0
    figures = (
        Figure("centroid, size", float(np.hypot(*middle)), None, None, "dpt", len(x), people),
        Figure("centroid, axis", float(axis) or 180.0, None, None, "deg", len(x), people),
        mean("centroid along 0°/90°", x, person, "dpt"),
        mean("centroid along 45°/135°", y, person, "dpt"),
        mean("size, mean", np.hypot(x, y), person, "dpt", "a size is never 0; see the centroid"),
        median("size, median", np.hypot(x, y), person, "dpt"),
        share("size up to 0.50 dpt", np.hypot(x, y) <= 0.50 + _ROUND, person),
    )
    ellipses: tuple[Ellipse, ...] = ()
    if len(x) >= _FEWEST and len(np.unique(vectors[rows], axis=0)) >= _FEWEST:
        summary = vector_mean(np.stack([x, y], axis=1))
        ellipses = tuple(
            Ellipse(one.kind, one.center, one.semi_major, one.semi_minor, one.angle_deg, one.level)
            for one in (
                ellipse_of(summary, "confidence of the mean"),
                ellipse_of(summary, "prediction of one more"),
            )
        )
    return AuditPart(
        f"astigmatism:{kind}",
        f"Astigmatism: {kind.replace('-', ' ')} (double angle)",
        figures,
        ellipses,
        cloud_of(x, y),
        left_out(rows, f"no {kind} astigmatism"),
        ("0° - 90° (dpt)", "45° - 135° (dpt)"),
    )


def _vectors(series: Series, kind: str) -> FloatArray:
    if kind == "refractive":
        return _double(-series.number("cylinder_dpt"), series.number("axis_deg"))
    before = _double(series.number("before_cylinder_dpt"), series.number("before_steep_deg"))
    after = _double(series.number("after_cylinder_dpt"), series.number("after_steep_deg"))
    return {"corneal-before": before, "corneal-after": after, "induced": after - before}[kind]


def _double(size: FloatArray, axis_deg: FloatArray) -> FloatArray:
    # No cylinder needs no axis.
    doubled = np.radians(2.0 * np.where(size == 0.0, 0.0, axis_deg))
    return np.stack([size * np.cos(doubled), size * np.sin(doubled)], axis=1)
