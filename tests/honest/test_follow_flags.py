"""Flags over many simulated courses of known truth: what is found, and what is cried in vain.

Own simulation: laws of contraction, turn and cover are round figures (common practice, no source);
measurements scatter as much as the program claims of ordinary photographs.
"""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rimwise.follow.flags import flags_of
from rimwise.records.healing import Change, Visit
from rimwise.terms.estimate import Estimate

DAYS = np.array([7.0, 30.0, 90.0, 365.0])
AREA_SD, TURN_SD, COVER_SD_MM = 1.2, 0.45, 0.02
CODES = ("contraction", "implant-turned", "cover-low", "fast-loss")
SERIES = 4000


@dataclass(frozen=True)
class Population:
    """Eyes that heal alike; ``settle_log`` is the logarithm of the days in which they settle."""

    area_percent: float = 9.0
    turn_deg: float = 2.5
    cover_mm: float = 0.3
    cover_change_mm: float = 0.02
    settle_log: float = 3.2
    seen: float = 1.0  # how much worse than ordinary pictures the measurements are


POPULATIONS = {
    "ordinary": Population(),
    "little contraction, steady implants": Population(area_percent=4.0, turn_deg=1.0, cover_mm=0.5),
    "strong contraction": Population(area_percent=18.0, settle_log=3.8),
    "implants that turn": Population(turn_deg=5.0),
    "openings near the size of the optic": Population(cover_mm=0.1),
    "late and losing cover": Population(cover_change_mm=-0.1, settle_log=4.2),
    "poorer pictures": Population(seen=1.5),
}


def course(rng: np.random.Generator, eyes: Population) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """True area change (%), turn (degrees) and least cover (mm) at each visit."""
    settled = -np.expm1(-DAYS / rng.lognormal(eyes.settle_log, 0.5))
    area = -rng.exponential(eyes.area_percent) * (settled - settled[0])
    turn = rng.normal(0.0, eyes.turn_deg) + np.cumsum(rng.normal(0.0, 1.0, 4))
    cover = (
        rng.normal(eyes.cover_mm, 0.2)
        + rng.normal(eyes.cover_change_mm, 0.15) * settled
        + rng.normal(0.0, 0.02, 4)
    )
    return area, turn, cover


def codes(told: tuple[np.ndarray, np.ndarray, np.ndarray], sds: tuple[float, ...]) -> set[str]:
    """Flags of a course with these values and their standard deviations."""
    visits = []
    for day, area, turn, cover in zip(DAYS, *told, strict=True):
        change = None
        if day > DAYS[0]:
            change = Change(
                Estimate(area, sds[0]), None, (), None, None, Estimate(turn, sds[1]), None, (),
                None, None,
            )  # fmt: skip
        least = SimpleNamespace(value=cover, sd=sds[2])
        finding: Any = SimpleNamespace(
            cover=SimpleNamespace(min_mm=least), implant_toric_axis_deg=Estimate(90.0, 0.2)
        )
        visits.append(Visit(int(day), finding, change))
    return {one.code for one in flags_of(tuple(visits), ())}


def told_of(eyes: Population) -> tuple[int, int, int, int]:
    """Events found, events, flags in vain, and what could have been flagged in vain."""
    rng = np.random.default_rng(20261126)
    sds = tuple(eyes.seen * sd for sd in (AREA_SD, TURN_SD, COVER_SD_MM))
    found = events = wolf = quiet = 0
    for _ in range(SERIES):
        true = course(rng, eyes)
        seen = tuple(row + sd * rng.normal(size=4) for row, sd in zip(true, sds, strict=True))
        happened = codes(true, (0.0, 0.0, 0.0))
        flagged = codes(seen, sds)
        found += len(happened & flagged)
        events += len(happened)
        wolf += len(flagged - happened)
        quiet += len(CODES) - len(happened)
    return found, events, wolf, quiet


@pytest.mark.parametrize("name", POPULATIONS)
def test_flags_find_nearly_all_and_seldom_cry_in_vain(name: str) -> None:
    found, events, wolf, quiet = told_of(POPULATIONS[name])
    assert events >= 50, "too few to tell"
    assert found / events >= 0.95
    assert wolf / quiet <= 0.03
