"""The last eyes at a glance: how far off each opening was, and what they have in common."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

FRAME_MM = 1.0  # of the drawing, from its middle to each side
LEAST = 3  # eyes, below which a mean would only mislead


@dataclass(frozen=True, slots=True)
class Off:
    """One eye: nasal and superior of the opening from the optic, its diameter and what is least.

    Unknown is None. ``diameter_off_mm`` is made minus planned.
    """

    code: str
    side: str
    nasal_mm: float | None
    superior_mm: float | None
    diameter_mm: float | None
    diameter_off_mm: float | None
    least_mm: float | None


@dataclass(frozen=True, slots=True)
class Common:
    """Mean, scatter (SD) and standard error of one number over the eyes that have it."""

    key: str
    mean_mm: float
    sd_mm: float
    se_mm: float
    eyes: int

    @property
    def stands_out(self) -> bool:
        """Whether the mean is farther from none than two of its standard errors."""
        return abs(self.mean_mm) > 2.0 * self.se_mm


@dataclass(frozen=True, slots=True)
class Glance:
    """What the page shows."""

    eyes: tuple[Off, ...]
    common: tuple[Common, ...]


def glance_of(
    last: Sequence[tuple[str, str, Mapping[str, Any], Mapping[str, Any] | None]],
) -> Glance:
    """How far off were these openings, and what do they have in common?

    Parameters
    ----------
    last : sequence of (code, side, cover result, plan or None)
        Documents as they are kept.

    Examples
    --------
    >>> cover = {"opening": {"equivalent_diameter_mm": {"value": 5.2}}}
    >>> plan = {"opening": {"diameter_mm": 5.0}}
    >>> glance_of([("E-1", "left", cover, plan)]).eyes[0].diameter_off_mm
    0.2
    """
    eyes = tuple(_off(*one) for one in last)
    found = []
    for key in ("nasal_mm", "superior_mm", "diameter_off_mm"):
        values = [value for one in eyes if (value := getattr(one, key)) is not None]
        if len(values) >= LEAST:
            found.append(common_of(key, values))
    return Glance(eyes, tuple(found))


def _off(code: str, side: str, cover: Mapping[str, Any], plan: Mapping[str, Any] | None) -> Off:
    made = _value(cover, "opening", "equivalent_diameter_mm")
    wanted = _value(plan or {}, "opening", "diameter_mm")
    off = None if made is None or wanted is None else round(made - wanted, 4)
    return Off(
        code, side,
        _value(cover, "decentration", "opening-from-optic", "nasal_mm"),
        _value(cover, "decentration", "opening-from-optic", "superior_mm"),
        made, off, _value(cover, "cover", "min_mm"),
    )  # fmt: skip


def _value(document: Any, *keys: str) -> float | None:
    for key in keys:
        document = document.get(key) if isinstance(document, Mapping) else None
    if isinstance(document, Mapping):
        document = document.get("value")
    return float(document) if isinstance(document, int | float) else None


def common_of(key: str, values: Sequence[float]) -> Common:
    """What have these numbers in common: mean, SD, standard error?

    Examples
    --------
    >>> one = common_of("nasal_mm", [0.1, 0.2, 0.3])
    >>> round(one.mean_mm, 6), round(one.sd_mm, 6), one.eyes
    (0.2, 0.1, 3)
    """
    mean = sum(values) / len(values)
    sd = math.sqrt(sum((one - mean) ** 2 for one in values) / (len(values) - 1))
    return Common(key, mean, sd, sd / math.sqrt(len(values)), len(values))
