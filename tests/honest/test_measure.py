"""Synthetic truth recovered, and the claimed ± shown to be true, on our own renderer.

The renderer shares no code with the measuring; it shares the picture of what an edge looks like.
"""

import numpy as np
import pytest

from rimwise.demo.photos import draw_photo
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster


def _pulls(levels, count, first):
    rows, wrong, told, refused = [], 0, 0, 0
    for level, number in levels:
        for seed in range(first, first + count):
            pixels, truth, sheet = draw_photo(np.random.default_rng([seed, number]), level)
            finding = measure_photograph(Raster(np.asarray(pixels)), sheet, picture="", sha256="")
            if finding.status != "measured":
                refused += finding.status == "refused"
                continue
            cover = np.asarray(truth.cover_mm)
            diameter = finding.opening.equivalent_diameter_mm
            rows.append(
                (
                    (finding.cover.min_mm.value - cover.min()) / finding.cover.min_mm.sd,
                    (finding.cover.mean_mm.value - cover.mean()) / finding.cover.mean_mm.sd,
                    (diameter.value - truth.equivalent_diameter_mm) / diameter.sd,
                )
            )
            if finding.cover.complete is not None and abs(cover.min()) > 0.05:
                told += 1
                wrong += finding.cover.complete != (cover.min() > 0.0)
    return np.array(rows), wrong, told, refused


def test_ten_easy_photographs_are_measured_within_their_sd():
    rows, wrong, told, refused = _pulls([("easy", 0)], 10, first=100)
    assert refused == 0
    assert len(rows) >= 9
    assert wrong == 0
    assert told >= 7
    # 30 pulls: 95 % of a normal law is 28.5; three more may miss by chance (p < 0.02).
    assert np.mean(np.abs(rows) < 1.96) >= 0.85


@pytest.mark.slow
def test_hundreds_of_photographs_are_measured_within_their_sd():
    rows, wrong, told, _ = _pulls([("easy", 0), ("medium", 1)], 150, first=1000)
    inside = np.mean(np.abs(rows) < 1.96, axis=0)
    assert (inside > 0.90).all(), inside
    assert wrong <= 0.03 * told
