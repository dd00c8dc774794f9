"""How hard an invented photograph is to measure: seven levels, own settings.

Levels 1, 3 and 5 are the easy, medium and hard of a clinic's day; 7 is as bad as a picture gets
that somebody still tries to measure; even levels lie half-way.
"""

from dataclasses import dataclass, fields
from typing import Any, Literal

Difficulty = Literal["easy", "medium", "hard"]

LEVELS = (1, 2, 3, 4, 5, 6, 7)


@dataclass(frozen=True, slots=True)
class Hardness:
    """The ranges from which a photograph of one difficulty is drawn.

    ``gaze_deg`` is how far a patient's gaze strays from the camera; ``gap_mm`` how far the
    opening lies before the optic; ``missing`` up to how many arcs of its edge fade away.
    """

    pupil_mm: tuple[float, float]
    pupil_offset_mm: float
    gaze_deg: float
    gap_mm: tuple[float, float]
    offset_mm: float
    waves: float
    line: tuple[float, float]
    line_change: float
    veil: tuple[float, float]
    fibrosis: float
    opacity: tuple[float, float]
    clutter: int
    blur_px: tuple[float, float]
    noise: tuple[float, float]
    quality: tuple[int, int]
    second_rim: tuple[float, float]
    missing: int
    mesh: tuple[float, float]
    slope: float
    cast: float
    lamp_px: tuple[float, float]


EASY = Hardness(
    (3.35, 3.75), 0.05, 1.5, (0.05, 0.15), 0.12, 0.008, (0.12, 0.22), 0.2, (0.18, 0.30),
    0.10, (0.0, 0.0), 1, (0.9, 1.3), (1.0, 1.8), (90, 96),
    (0.0, 0.10), 0, (0.0, 0.01), 0.08, 0.02, (9.0, 18.0),
)  # fmt: skip
MEDIUM = Hardness(
    (3.10, 3.45), 0.12, 3.0, (0.08, 0.25), 0.22, 0.018, (0.08, 0.15), 0.4, (0.12, 0.22),
    0.25, (0.0, 0.35), 3, (1.0, 1.8), (1.4, 2.6), (84, 94),
    (0.05, 0.18), 1, (0.005, 0.02), 0.16, 0.05, (10.0, 22.0),
)  # fmt: skip
HARD = Hardness(
    (2.45, 3.15), 0.30, 4.0, (0.10, 0.30), 0.38, 0.035, (0.05, 0.11), 0.6, (0.06, 0.16),
    0.40, (0.2, 0.6), 6, (1.3, 2.6), (2.0, 4.0), (75, 90),
    (0.08, 0.22), 2, (0.01, 0.035), 0.26, 0.08, (12.0, 30.0),
)  # fmt: skip
WORST = Hardness(
    (2.20, 3.10), 0.40, 5.0, (0.10, 0.35), 0.45, 0.045, (0.02, 0.08), 0.8, (0.03, 0.12),
    0.60, (0.3, 0.8), 9, (1.8, 3.6), (3.0, 6.5), (55, 82),
    (0.12, 0.28), 3, (0.02, 0.06), 0.38, 0.12, (14.0, 40.0),
)  # fmt: skip
NAMED: dict[Difficulty, Hardness] = {"easy": EASY, "medium": MEDIUM, "hard": HARD}


def hardness_of(difficulty: Difficulty | int) -> Hardness:
    """Which ranges belong to a difficulty, by name or by level 1 to 7?

    Examples
    --------
    >>> hardness_of(3) == hardness_of("medium")
    True
    >>> hardness_of(2).line
    (0.1, 0.185)
    """
    if isinstance(difficulty, str):
        return NAMED[difficulty]
    anchors = (EASY, MEDIUM, HARD, WORST)
    below, between = divmod(difficulty - LEVELS[0], 2)
    if not between:
        return anchors[below]
    return _half_way(anchors[below], anchors[below + 1])


def _half_way(one: Hardness, other: Hardness) -> Hardness:
    middle: dict[str, Any] = {}
    for field in fields(Hardness):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, tuple):
            middle[field.name] = tuple(_mean(x, y) for x, y in zip(a, b, strict=True))
        else:
            middle[field.name] = _mean(a, b)
    return Hardness(**middle)


def _mean(a: float, b: float) -> float:
    return (a + b) // 2 if isinstance(a, int) else 0.5 * (a + b)
