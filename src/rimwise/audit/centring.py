"""How well openings and optics are centred: vectors, not magnitudes alone."""

import numpy as np

from rimwise.audit.chapters import cloud_of, ellipses_of, known, left_out
from rimwise.audit.summaries import mean, median, scatter
from rimwise.records.series import AuditPart, Figure, Series
from rimwise.stats.bivariate import VectorMean, hotelling, vector_mean
from rimwise.stats.clustered import count_persons
from rimwise.terms.errors import WrongInput

PAIRS: dict[str, str] = {
    "opening_from_target": "opening from its target",
    "opening_from_optic": "opening from optic centre",
    "optic_from_rest": "optic from its resting place",
    "opening_from_visual_axis": "opening from visual axis",
    "optic_from_pupil": "optic from pupil centre",
    "optic_from_limbus": "optic from limbus centre",
}
_FEWEST = 5


def centring_chapter(series: Series, pair: str) -> AuditPart | None:
    """What are bias and scatter of this pair of centres, in nasal and superior components?

    Parameters
    ----------
    series : Series
        With the columns ``PAIR_nasal_mm`` and ``PAIR_superior_mm``.
    pair : str
        A key of ``PAIRS``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> columns = {"opening_from_optic_nasal_mm": rng.normal(0.1, 0.2, 40),
    ...     "opening_from_optic_superior_mm": rng.normal(0.0, 0.2, 40)}
    >>> part = centring_chapter(Series(columns, {}, np.arange(40)), "opening_from_optic")
    >>> [one.name for one in part.figures][:2]
    ['bias towards nasal', 'bias towards superior']
    """
    nasal = series.number(f"{pair}_nasal_mm")
    superior = series.number(f"{pair}_superior_mm")
    rows = known(nasal, superior)
    if not rows.any():
        return None
    people = series.person[rows]
    x, y = nasal[rows], superior[rows]
    figures: list[Figure] = [
        mean("bias towards nasal", x, people, "mm"),
        mean("bias towards superior", y, people, "mm"),
        scatter("scatter towards nasal", x, people, "mm"),
        scatter("scatter towards superior", y, people, "mm"),
        median("distance", np.hypot(x, y), people, "mm", "a distance is never 0; see the bias"),
    ]
    if len(x) >= _FEWEST:
        summary = vector_mean(np.stack([x, y], axis=1))
        figures.append(_bias_test(summary, count_persons(people)))
    return AuditPart(
        f"centring:{pair}",
        f"Centring: {PAIRS[pair]}",
        tuple(figures),
        ellipses_of(x, y),
        cloud_of(x, y),
        left_out(rows, f"no {PAIRS[pair]}"),
        ("nasal (mm)", "superior (mm)"),
    )


def _bias_test(summary: VectorMean, persons: int) -> Figure:
    try:
        p = hotelling(summary)[1]
    except WrongInput as error:
        return Figure(
            "chance of so large a bias if there were none",
            None,
            None,
            None,
            "1",
            summary.n,
            persons,
            note=error.sentence,
        )
    return Figure(
        "chance of so large a bias if there were none",
        p,
        None,
        None,
        "1",
        summary.n,
        persons,
        "Hotelling; eyes taken as separate",
    )
