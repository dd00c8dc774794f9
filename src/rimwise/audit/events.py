"""What happens to eyes with time: laser, opacification, complications."""

import numpy as np

from rimwise.audit.chapters import known, left_out
from rimwise.audit.summaries import mean, median, share
from rimwise.records.series import AuditPart, Figure, Series
from rimwise.stats.clustered import count_persons
from rimwise.stats.time_to_event import event_free
from rimwise.terms.arrays import FloatArray

_AT_DAYS = (365, 730, 1095)


def laser_chapter(series: Series) -> AuditPart | None:
    """Which share of eyes had a laser opening of the posterior capsule by one, two, three years?

    Parameters
    ----------
    series : Series
        With ``laser_day`` (empty where there was none) and ``followed_days``.

    Examples
    --------
    >>> columns = {"laser_day": np.array([200.0, np.nan]), "followed_days": np.array([900.0, 900])}
    >>> laser_chapter(Series(columns, {}, np.arange(2))).figures[0].value
    0.5
    """
    day, followed = series.number("laser_day"), series.number("followed_days")
    rows = known(day) | known(followed)
    if not (series.has("laser_day") and rows.any()):
        return None
    happened = np.isfinite(day[rows])
    time = np.where(happened, day[rows], followed[rows])
    rows_out = left_out(rows, "neither a day of laser nor a time followed")
    free = event_free(time, happened)
    people = count_persons(series.person[rows])
    figures = [_by_day(free.at(float(days)), days, time, people) for days in _AT_DAYS]
    figures.append(
        Figure("followed, median", float(np.median(time)), None, None, "d", len(time), people)
    )
    return AuditPart(
        "laser", "Laser opening of the posterior capsule", tuple(figures), (), (), rows_out
    )


def _by_day(free: tuple[float, float, float], days: int, time: FloatArray, people: int) -> Figure:
    watched = int((time >= days).sum())
    name = f"laser by {days} days"
    if watched == 0:
        return Figure(
            name, None, None, None, "1", len(time), people, note="no eye was watched so long"
        )
    value, low, high = free
    return Figure(
        name,
        1.0 - value,
        1.0 - high,
        1.0 - low,
        "1",
        len(time),
        people,
        "Kaplan-Meier, log-log interval; eyes taken as separate",
        note=f"{watched} eyes watched so long",
    )


def opacification_chapter(series: Series) -> AuditPart | None:
    """How opaque are the posterior capsules (graded score)?

    Examples
    --------
    >>> opacification_chapter(Series({}, {}, np.arange(3))) is None
    True
    """
    score = series.number("opacification_score")
    rows = known(score)
    if not rows.any():
        return None
    values, person = score[rows], series.person[rows]
    figures = (
        mean("opacification score", values, person, "1"),
        median("opacification score", values, person, "1"),
        share("opacification score 1 or more", values >= 1.0, person),
    )
    lack = left_out(rows, "no opacification score")
    return AuditPart(
        "opacification", "Opacification of the posterior capsule", figures, (), (), lack
    )


def complications_chapter(series: Series) -> AuditPart | None:
    """How often did which complication happen?

    Examples
    --------
    >>> complications_chapter(Series({}, {}, np.arange(3))) is None
    True
    """
    column, opening = series.names.get("complications"), series.names.get("opening")
    if column is None and opening is None:
        return None
    figures: list[Figure] = []
    everyone = series.person
    if opening is not None:
        told = opening.codes >= 0
        figures.append(share("opening torn", opening.where("torn")[told], everyone[told]))
    if column is not None:
        singles = sorted({one for name in column.names for one in _single(name)})
        for one in singles:
            having = [code for code, name in enumerate(column.names) if one in _single(name)]
            figures.append(share(one, np.isin(column.codes, having), everyone))
        figures.append(share("any complication", column.codes >= 0, everyone))
    return AuditPart("complications", "Complications", tuple(figures))


def _single(cell: str) -> set[str]:
    parts = {one.strip() for one in cell.replace("|", ";").split(";")}
    return {one for one in parts if one and one not in {"none", "-", "no"}}
