"""Synthetic truth recovered, and the claimed ± shown to be true, on our own renderer.

The renderer shares no code with the measuring; it shares the picture of what an edge looks like.
Pictures are drawn and measured in two processes: about 1 s of processor time each. Each trial is
kept, so that a long run may be broken off and taken up.
"""

import io
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pytest
from PIL import Image
from trials_kept import tried

from rimwise.demo.hardness import LEVELS
from rimwise.demo.photos import draw_photo
from rimwise.demo.trial import Trial, try_photo
from rimwise.measure.edges import find_edges
from rimwise.picture.raster import Raster

WORKERS = 2
FULL = 1000
# A smaller number gives a first look: RIMWISE_TRIALS=30 pytest -m slow tests/honest/test_measure.py
MANY = int(os.environ.get("RIMWISE_TRIALS", str(FULL)))
NAMES = (
    "least cover", "mean cover", "diameter", "area", "offset x", "offset y", "scale", "bare total",
)  # fmt: skip


@dataclass(frozen=True)
class Trials:
    """What came of many pictures of one level."""

    trials: tuple[Trial, ...]

    def pulls(self, name: str) -> np.ndarray:
        """Error over claimed sd of one number, wherever it was given."""
        return np.array([one.pulls[name] for one in self.trials if name in one.pulls])

    def told(self) -> Iterator[Trial]:
        """Pictures for which complete or not was told and the truth is not on the line."""
        return (one for one in self.trials if one.complete is not None and abs(one.least_mm) > 0.05)


def trials(levels: Iterable[int], count: int, first: int = 0, usual: bool = False) -> Trials:
    tasks = [(level, seed, usual) for level in levels for seed in range(first, first + count)]
    with ProcessPoolExecutor(WORKERS) as pool:
        return Trials(tuple(pool.map(tried, *zip(*tasks, strict=True), chunksize=4)))


def test_ten_easy_photographs_are_measured_within_their_sd():
    found = trials([1], 10, first=100)
    assert all(one.status != "refused" for one in found.trials)
    assert len(found.pulls("least cover")) >= 9
    told = list(found.told())
    assert all(one.complete == (one.least_mm > 0.0) for one in told)
    assert len(told) >= 7
    names = ("least cover", "mean cover", "diameter")
    rows = np.concatenate([found.pulls(name) for name in names])
    # 30 pulls: 95 % of a normal law is 28.5; three more may miss by chance (p < 0.02).
    assert np.mean(np.abs(rows) < 1.96) >= 0.85


def test_where_neither_rim_nor_edge_shows_no_shade_is_taken_for_an_edge():
    """A picture of level 4 whose lower left is veiled; a shade there is 0.3 mm off the edge."""
    told = try_photo(4, 1096)
    assert told.status == "partial"
    assert "diameter" not in told.pulls


def test_a_jpegs_blur_of_colour_does_not_move_the_edge():
    """Colour is halved and coarsely rounded in a JPEG, brightness is not (ITU-T T.81, 4:2:0)."""
    for seed in range(40, 44):
        pixels, _, sheet = draw_photo(np.random.default_rng([seed, 77]), 1)
        sink = io.BytesIO()
        Image.fromarray(pixels).save(sink, format="JPEG", quality=85, subsampling=2)
        plain, packed = (
            find_edges(Raster(one), sheet) for one in (pixels, np.array(Image.open(sink)))
        )
        both = plain.opening_plain & packed.opening_plain
        moved_px = np.median((packed.opening_px - plain.opening_px)[both])
        # 0.6 px are 0.006 mm, a third of the bar for easy pictures.
        assert abs(moved_px) < 0.6


def test_a_ring_that_a_fit_runs_away_from_is_none():
    """A picture of level 7 with so short an arc of a line that the ellipse through it collapses."""
    assert try_photo(7, 70743, usual=True).status == "refused"


def _inside(level: int) -> dict[str, float]:
    """Return which share of each number's errors lies within its 95 % interval."""
    found = trials([level], MANY, first=10_000 * level, usual=True)
    told = {name: found.pulls(name) for name in NAMES}
    inside = {
        name: round(float(np.mean(np.abs(pulls) < 1.96)), 3)
        for name, pulls in told.items()
        if len(pulls) >= MANY / 10
    }
    assert inside, "fewer than a tenth of the pictures were measured"
    return inside


# 93 to 97 % on the full number; fewer pictures scatter by chance (2.6 sd of a binomial law).
CHANCE = 0.0 if MANY >= FULL else 2.6 * float(np.sqrt(0.95 * 0.05 / MANY))


SELDOM = {
    4: "0.885 to 0.92 of 253 measured: beside a gap a stretch of 10 to 35 degrees of an edge that "
    "was found, and mostly not verified, follows something else in one picture of twenty",
    7: "0.923 of the scale, of 156 answered: arcs of a rim that are not the rim's",
}
# Too few are measured of these to show it on a smaller number.
EACH = [
    pytest.param(
        level,
        marks=[pytest.mark.xfail(strict=True, reason=SELDOM[level])]
        if level in SELDOM and MANY >= FULL
        else [],
    )
    for level in LEVELS
]


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("level", EACH)
def test_a_thousand_photographs_of_each_level_are_measured_within_their_sd(level):
    """Gap and view of the eyes scatter as the ± takes them to; the pictures are of the level."""
    inside = _inside(level)
    assert min(inside.values()) >= 0.93 - CHANCE, inside


WIDER = (
    "0.97 to 1.00 for covers, diameter, area, bare total and scale: own edges and rims lie nearer "
    "to their lines than those of the practice pictures, whose errors are as large as the ± says"
)


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.xfail(reason=WIDER, strict=False)  # how many fail depends on how many are asked
@pytest.mark.parametrize("level", LEVELS)
def test_no_interval_of_a_thousand_photographs_is_too_wide(level):
    inside = _inside(level)
    assert max(inside.values()) <= 0.97 + CHANCE, inside
    found = trials([level], MANY, first=10_000 * level, usual=True)
    for name in inside:
        # Half of a normal law's errors exceed 0.67 sd. A bare total is mostly 0 without error.
        assert np.median(np.abs(found.pulls(name))) >= 0.25 or name == "bare total", name


def test_a_few_degrees_where_the_edge_fades_are_no_bare_arc():
    """A picture of level 3, covered by 0.12 mm; the rim's inner side passes for an edge."""
    told = try_photo(3, 30028, usual=True)
    assert told.least_mm > 0.1
    assert told.complete is not False


@pytest.mark.parametrize(
    ("covered", "picked"),
    [
        (False, ((1, 30010), (1, 30014), (2, 30010), (3, 30010))),
        (True, ((1, 30000), (1, 30002), (2, 30001), (2, 30008))),
    ],
)
def test_complete_is_told_rightly_both_ways(covered, picked):
    """Picked by their truth, 0.1 mm and more from the line; a picture may stay silent, not err."""
    told = []
    for level, seed in picked:
        one = try_photo(level, seed)
        assert (one.least_mm > 0.0) == covered
        assert abs(one.least_mm) > 0.1
        told.append(one.complete)
    assert (not covered) not in told
    assert told.count(covered) >= 3


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_complete_is_told_rightly_both_ways_on_a_thousand_photographs():
    told = list(trials([1, 2, 3, 4, 5], MANY // 5, first=5000).told())
    for truth in (True, False):
        rows = [one.complete == truth for one in told if (one.least_mm > 0.0) == truth]
        assert len(rows) >= 20
        assert np.mean(rows) >= 0.97, (truth, len(rows), np.mean(rows))
