"""Pictures of things that are no eye are refused, however round and dark the things are.

The pictures are those that come with scikit-image (a wheel, a cup, coins, a cat, textures), and
drawn buttons, balls and wheels.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skimage.data
from skimage.color import gray2rgb, rgb2gray
from skimage.io import imread
from skimage.util import img_as_ubyte

from rimwise.align.frame import align_frame, refused
from rimwise.align.plain_reflexes import as_large_as_foretold
from rimwise.align.settling import Found
from rimwise.demo.frames import LampKind, lamp_places_mm
from rimwise.picture.raster import Raster
from rimwise.records.picture import Lamps, PictureSheet
from rimwise.terms.errors import MeasurementRefused

FOLDER = Path(skimage.data.__file__).parent
NAMES = (
    "astronaut.png", "brick.png", "camera.png", "chelsea.png", "clock_motion.png", "coffee.png",
    "coins.png", "grass.png", "gravel.png", "hubble_deep_field.jpg", "moon.png",
    "motorcycle_left.png", "motorcycle_right.png", "page.png", "rocket.jpg", "text.png",
)  # fmt: skip
KINDS: tuple[LampKind, ...] = ("one", "pair", "triangle", "ring")
RADII = (None, 0.15, 0.28, 0.42)  # of a limbus that the scale would foretell, over the width


def shipped(name: str) -> list[np.ndarray]:
    """In colour, where it has any, and in grey."""
    pixels = imread(FOLDER / name)
    if pixels.ndim == 2:
        return [gray2rgb(pixels)]
    colour = np.ascontiguousarray(pixels[..., :3])
    return [colour, gray2rgb(img_as_ubyte(rgb2gray(colour)))]


def drawn(kind: str, radius: float) -> np.ndarray:
    """A thing with a dark disc, and what gleams on it."""
    rng = np.random.default_rng(3)
    v, u = np.indices((480, 640)).astype(float)
    far = np.hypot(u - 310.0, v - 235.0)
    grey = np.where(far < radius, 35.0, 150.0)
    if kind == "button":
        for a, b in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
            hole = np.hypot(u - 310.0 - 0.15 * a * radius, v - 235.0 - 0.15 * b * radius)
            grey[hole < 0.07 * radius] = 15.0
    if kind == "ball":
        gleam = np.hypot(u - 310.0 + 0.3 * radius, v - 235.0 + 0.35 * radius)
        grey += 255.0 * np.exp(-0.5 * (gleam / (0.03 * radius)) ** 2)
    noisy = grey[..., None] + 3.0 * rng.standard_normal((*grey.shape, 1))
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8), 3, axis=-1)


def told(pixels: np.ndarray, kinds=KINDS, radii=RADII) -> tuple[int, int]:
    """How often is an eye told, of how many sheets?"""
    claims = asked = 0
    for kind in kinds:
        for radius in radii:
            scale = None if radius is None else radius * pixels.shape[1] / 5.8
            lamps = Lamps(lamp_places_mm(kind))
            sheet = PictureSheet("left", "frame", "natural", px_per_mm=scale, lamps=lamps)
            asked += 1
            try:
                align_frame(Raster(pixels), sheet, "thing")
            except MeasurementRefused:
                continue
            claims += 1
    return claims, asked


@pytest.mark.parametrize("name", ["camera.png", "coins.png", "gravel.png"])
def test_no_eye_is_told_where_there_is_none_short(name):
    for pixels in shipped(name):
        assert told(pixels, radii=(None, 0.28))[0] == 0


@pytest.mark.slow
def test_no_eye_is_told_where_there_is_none():
    """At most one in a hundred of all sheets that a user might write: a choice."""
    found = np.array([told(pixels) for name in NAMES for pixels in shipped(name)])
    claims, asked = found.sum(axis=0)
    assert claims <= 0.01 * asked, found.tolist()


@pytest.mark.parametrize("kind", ["button", "ball", "disc"])
@pytest.mark.parametrize("radius", [90.0, 150.0])
def test_a_dark_disc_with_one_gleam_is_no_eye(kind, radius):
    assert told(drawn(kind, radius), kinds=("one",))[0] == 0


@pytest.mark.parametrize("radius", [60.0, 90.0])
def test_a_disc_that_mirrors_nothing_is_no_pupil(radius):
    """Rings are told in a refused frame too, but not where no lamp is mirrored in them."""
    pixels = drawn("disc", radius)
    sheet = PictureSheet("left", "frame", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    with pytest.raises(MeasurementRefused) as caught:
        align_frame(Raster(pixels), sheet, "disc")
    assert refused("disc", sheet, caught.value).pupil is None
    lit = pixels.copy()
    lit[230:236, 300:306] = 250
    with pytest.raises(MeasurementRefused) as caught:
        align_frame(Raster(lit), replace(sheet, lamps=None), "lit")
    assert refused("lit", sheet, caught.value).pupil is not None


def test_a_pattern_of_half_the_size_is_no_reflex_of_the_lamps():
    """Scale and cornea are known to a few percent where the sheet gives them."""
    pair = np.array([[-10.0, 0.0], [10.0, 0.0]])
    half = Found(pair, 99.0, 0.5, 3.0, 0.0, 99.0)
    assert not as_large_as_foretold(half, pair, 0.02)
    assert as_large_as_foretold(replace(half, size=1.1), pair, 0.02)
