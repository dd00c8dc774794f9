"""What repeated pictures of the same eyes say about a measurement."""

from dataclasses import dataclass

from rimwise.stats.agreement import Limits, Repeatability
from rimwise.stats.correlation_within import IntraclassCorrelations

UNITS = {
    "least_cover_mm": "mm",
    "mean_cover_mm": "mm",
    "equivalent_diameter_mm": "mm",
    "area_mm2": "mm²",
    "opening_from_optic_nasal_mm": "mm",
    "opening_from_optic_superior_mm": "mm",
}

# What an eye can show: optics measure at most 7.5 mm, a capsular bag some 10 mm. Bare is negative.
ALLOWED = {
    "least_cover_mm": (-3.0, 3.75),
    "mean_cover_mm": (-3.0, 3.75),
    "equivalent_diameter_mm": (0.5, 10.0),
    "area_mm2": (0.2, 80.0),
    "opening_from_optic_nasal_mm": (-4.0, 4.0),
    "opening_from_optic_superior_mm": (-4.0, 4.0),
}


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two methods or two readers on the same eyes: first minus second."""

    first: str
    second: str
    limits: Limits


@dataclass(frozen=True, slots=True)
class StudyOfNumber:
    """One number in a study.

    Parameters
    ----------
    name : str
        A key of ``UNITS``.
    method : str
        By which method the repeats were made.
    repeatability : Repeatability or None
        None where no eye was measured twice.
    reliability : IntraclassCorrelations or None
        None where the eyes have unequal numbers of repeats, or fewer than two.
    agreements : tuple of Agreement
        Against the other methods of the study.
    eyes_needed : int or None
        How many eyes, repeated as here, fix the within-subject sd to 20 %.
    """

    name: str
    method: str
    repeatability: Repeatability | None
    reliability: IntraclassCorrelations | None
    agreements: tuple[Agreement, ...]
    eyes_needed: int | None
