"""A photograph to practise on: drawn, measured, and its truth in pixels."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.demo.hardness import NAMED, Difficulty
from rimwise.demo.photos import draw_photo, photo_jpeg
from rimwise.demo.scene import area_and_centroid
from rimwise.exchange.pictures import picture_from_bytes
from rimwise.journey import finding_of
from rimwise.terms.frames import Side, examiner_from_nasal_superior

_NAME = "practise.jpg"


@dataclass(frozen=True, slots=True)
class PractisePhoto:
    """An invented photograph and the opening in it; px run right and down from the upper left.

    Parameters
    ----------
    data : bytes
        JPEG.
    side : str
    size_px : (width, height)
    centre_px, diameter_px : the opening's centroid and the diameter of a circle of its area
    mm_per_px : float
        Of the opening, so that its real diameter comes out.
    nasal, superior : pair of float
        Which way they lie in the picture, as unit vectors in px.
    measured_mm : pair of float or None
        The diameter that the program measures, and its standard deviation.
    """

    data: bytes
    side: Side
    size_px: tuple[int, int]
    centre_px: tuple[float, float]
    diameter_px: float
    mm_per_px: float
    nasal: tuple[float, float]
    superior: tuple[float, float]
    measured_mm: tuple[float, float] | None


def draw_practice(level: str, seed: int) -> PractisePhoto:
    """Which photograph of this level is there to practise on?

    Parameters
    ----------
    level : "easy", "medium" or "hard"
        Anything else is medium.
    seed : int

    Examples
    --------
    >>> draw_practice("easy", 7).size_px
    (1400, 1050)
    """
    hard: Difficulty = next((one for one in NAMED if one == level), "medium")
    pixels, truth, sheet = draw_photo(np.random.default_rng(seed), hard)
    data = photo_jpeg(pixels, 85)
    loaded = picture_from_bytes(data, _NAME)
    found = finding_of(loaded.raster, sheet, _NAME, loaded.sha256).opening
    measured = None if found is None else found.equivalent_diameter_mm
    area_px, centre = area_and_centroid(truth.opening_px)
    diameter_px = math.sqrt(4.0 * abs(area_px) / math.pi)
    ways = np.array(
        [examiner_from_nasal_superior(*way, sheet.side) for way in ((1.0, 0.0), (0.0, 1.0))]
    )
    nasal, superior = sheet.frame.picture_from_examiner(ways)
    return PractisePhoto(
        data, sheet.side, (pixels.shape[1], pixels.shape[0]),
        (float(centre[0]), float(centre[1])), diameter_px,
        truth.equivalent_diameter_mm / diameter_px,
        (float(nasal[0]), float(nasal[1])), (float(superior[0]), float(superior[1])),
        None if measured is None or measured.sd is None else (measured.value, measured.sd),
    )  # fmt: skip
