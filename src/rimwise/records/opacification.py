"""How opaque the rear capsule is within the opening."""

from dataclasses import dataclass

from rimwise.terms.estimate import Estimate


@dataclass(frozen=True, slots=True)
class OpacificationFinding:
    """Opacity of the rear capsule within the opening's edge, by shares of its area.

    Parameters
    ----------
    area_percent : Estimate
        Share of the area that is opaque at all: grade 1 and more.
    score : Estimate
        Σ grade × share of the area, 0 (clear) to 4 (all of grade 4).
    graded_percent : tuple of five floats
        Share of the area of each grade 0 to 4.
    masked_percent : float
        Share of the opening's area that reflexes hide; it is left out of the others.
    """

    area_percent: Estimate
    score: Estimate
    graded_percent: tuple[float, ...]
    masked_percent: float
