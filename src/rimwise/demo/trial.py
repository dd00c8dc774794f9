"""One invented photograph drawn, measured and held against its truth."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rimwise.demo.hardness import Difficulty
from rimwise.demo.photos import draw_eye, photograph_of
from rimwise.demo.scene import PhotoTruth
from rimwise.demo.usual_eyes import as_usual
from rimwise.journey import finding_of
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of one picture.

    Parameters
    ----------
    status : str
    least_mm : float
        The true least cover.
    complete : bool or None
        What was told.
    pulls : mapping
        Error over claimed sd of each number that was given.
    """

    status: str
    least_mm: float
    complete: bool | None
    pulls: Mapping[str, float]


def try_photo(difficulty: Difficulty | int, seed: int, usual: bool = False) -> Trial:
    """How well is one picture of this difficulty measured?

    Parameters
    ----------
    difficulty : "easy", "medium", "hard" or a level from 1 to 7
    seed : int
    usual : bool
        Whether gap and view of the eye scatter as a ± takes them to, not as the difficulty says.
    """
    rng = np.random.default_rng([seed, 77])
    eye = draw_eye(rng, difficulty)
    if usual:
        eye = as_usual(rng, eye)
    pixels, truth, sheet = photograph_of(rng, eye, difficulty)
    finding = finding_of(Raster(pixels), sheet, "", "")
    complete = None if finding.cover is None else finding.cover.complete
    return Trial(finding.status, truth.least_cover[0], complete, _pulls(finding, truth))


def _pulls(finding: CoverFinding, truth: PhotoTruth) -> dict[str, float]:
    """Return error over sd of what was given of the whole edge."""
    cover, opening = finding.cover, finding.opening
    offset = finding.decentration.get("opening-from-optic")
    pairs = [
        ("least cover", None if cover is None else cover.min_mm, truth.least_cover[0]),
        ("mean cover", None if cover is None else cover.mean_mm, float(truth.cover_mm.mean())),
        (
            "diameter",
            None if opening is None else opening.equivalent_diameter_mm,
            truth.equivalent_diameter_mm,
        ),
        ("offset x", None if offset is None else offset.x_mm, truth.decentration_mm[0]),
        ("offset y", None if offset is None else offset.y_mm, truth.decentration_mm[1]),
    ]
    rim = truth.optic_ellipse_px
    if finding.scale is not None and finding.optic is not None:
        scale = 2.0 * math.sqrt(rim.a * rim.b) / finding.optic.diameter_mm
        pairs.append(("scale", finding.scale.px_per_mm, scale))
    if cover is not None and opening is not None:
        bare_deg = float((truth.cover_mm < 0.0).sum())
        pairs.append(("bare total", cover.bare_total_deg, bare_deg))
        pairs.append(("area", opening.area_mm2, truth.area_mm2))
    return {
        name: (given.value - true) / given.sd
        for name, given, true in pairs
        if given is not None and given.sd
    }
