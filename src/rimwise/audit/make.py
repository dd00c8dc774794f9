"""The whole audit of a series, chapter by chapter."""

from collections.abc import Callable
from functools import partial

import numpy as np

from rimwise.audit.centring import PAIRS, centring_chapter
from rimwise.audit.chapters import cover_chapter, size_chapter, tilt_chapter, turning_chapter
from rimwise.audit.events import complications_chapter, laser_chapter, opacification_chapter
from rimwise.audit.refraction import acuity_chapter, astigmatism_chapter, refraction_chapter
from rimwise.audit.select import CHOICE_WORDS, EyesChoice, one_eye_each
from rimwise.audit.strips import strips_of
from rimwise.records.series import Audit, AuditPart, FlowStep, Series
from rimwise.stats.clustered import count_persons
from rimwise.terms.errors import MeasurementRefused

_KINDS = ("refractive", "corneal-before", "corneal-after", "induced")

CHAPTERS: tuple[Callable[[Series], AuditPart | None], ...] = (
    cover_chapter,
    size_chapter,
    *(partial(centring_chapter, pair=pair) for pair in PAIRS),
    tilt_chapter,
    turning_chapter,
    refraction_chapter,
    *(partial(astigmatism_chapter, kind=kind) for kind in _KINDS),
    acuity_chapter,
    opacification_chapter,
    laser_chapter,
    complications_chapter,
)


def audit_of(
    series: Series,
    flow: tuple[FlowStep, ...] = (),
    choice: EyesChoice = "both",
    rng: np.random.Generator | None = None,
    seed: int | None = None,
) -> Audit:
    """What does this series say, chapter by chapter, with who is in it and who is not?

    Parameters
    ----------
    series : Series
        Checked rows.
    flow : tuple of FlowStep
        What was left out before.
    choice : "both", "first" or "random"
        What to do about two eyes of one person.
    rng, seed : Generator and int, optional
        For "random": what draws, and what it was started with, for the record.

    Raises
    ------
    MeasurementRefused
        No chapter can be told.

    Examples
    --------
    >>> series = Series({"least_cover_mm": np.array([0.2, 0.1, 0.3, -0.1, 0.2])}, {}, np.arange(5))
    >>> [part.key for part in audit_of(series).parts]
    ['cover']
    """
    kept, step = one_eye_each(series, choice, rng)
    flow = flow if step is None else (*flow, step)
    parts = tuple(part for one in CHAPTERS if (part := one(kept)) is not None)
    strips = strips_of(kept)
    if not parts and strips is None:
        raise MeasurementRefused(
            "nothing-to-audit",
            "the table has none of the columns that an audit reads (cover, size, centring, "
            "refraction, acuity, events); see the list with rimwise audit --columns",
        )
    persons = count_persons(kept.person)
    return Audit(
        source=series.source,
        eyes=len(kept),
        persons=persons,
        eyes_choice=CHOICE_WORDS[choice],
        flow=flow,
        parts=parts,
        warnings=_warnings(kept, persons),
        methods=methods_words(len(kept), persons, choice),
        seed=seed,
        strips=strips,
    )


def _warnings(series: Series, persons: int) -> tuple[str, ...]:
    said = []
    if len(series) < 30:
        said.append(f"{len(series)} eyes are few: intervals are wide, and charts say little")
    if series.has("least_cover_mm") and not series.has("complete"):
        said.append("no column tells complete cover; its rate is not told from least cover alone")
    covered, bare = series.number("complete") > 0.5, series.number("least_cover_mm") < 0.0
    odd = int((covered & bare).sum())
    if odd:
        said.append(
            f"{odd} eye{'s' * (odd > 1)} told to be covered all round, with a least cover below 0 "
            "mm; both numbers are used as they stand: check these rows"
        )
    if persons == len(series) and len(series) > 1:
        said.append("every eye is another person's")
    return tuple(said)


def methods_words(eyes: int, persons: int, choice: EyesChoice) -> str:
    """Which sentences say in a paper how the numbers were made?

    Examples
    --------
    >>> "Wilson" in methods_words(10, 8, "both")
    True
    """
    pairs = (
        "Two eyes of a person were allowed for by generalized estimating equations with one "
        "exchangeable correlation and robust errors; where the fitted correlation was impossible, "
        "eyes were weighted alike with the same robust errors."
        if choice == "both"
        else f"{CHOICE_WORDS[choice].capitalize()}."
    )
    return (
        f"{eyes} eyes of {persons} persons were analysed. {pairs} Shares carry Wilson intervals on "
        "the number of separate eyes that the eyes are worth; medians intervals by order "
        "statistics; standard deviations intervals on the log scale that need no normal law. "
        "Centring and tilt are vectors in nasal and superior components; astigmatism is averaged "
        "on the double angle. Prediction error is achieved minus predicted spherical equivalent. "
        "All intervals are 95 %."
    )
