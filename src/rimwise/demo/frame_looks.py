"""Other looks of frames: flash photographs, and theatres of several kinds, with their troubles.

What is drawn follows a list of what real pictures do: skin and wet sclera brighter than any reflex,
a red reflex as a crescent or none, white, grey and black pupils, an off-centre lit disc whose rim
is plainer than the limbus, blood, drapes, writing over the picture, interlace, broken bands, JPEG.
"""

import io
import math
from dataclasses import replace

import cv2
import numpy as np
from PIL import Image

from rimwise.demo.frame_scene import Clutter, FrameLook, Rgb
from rimwise.picture.raster import UInt8Array

_FLASH_PUPILS: tuple[Rgb, ...] = ((14.0, 11.0, 10.0), (26.0, 22.0, 22.0), (150.0, 44.0, 26.0))
_FLASH_IRISES: tuple[Rgb, ...] = (
    (58.0, 40.0, 28.0), (34.0, 26.0, 22.0), (96.0, 112.0, 122.0), (92.0, 96.0, 70.0),
)  # fmt: skip
_THEATRE_PUPILS: tuple[Rgb, ...] = (
    (196.0, 104.0, 40.0), (120.0, 62.0, 34.0), (128.0, 124.0, 120.0), (206.0, 200.0, 190.0),
    (20.0, 18.0, 18.0),
)  # fmt: skip
_FACES: tuple[Rgb, ...] = ((206.0, 164.0, 142.0), (150.0, 106.0, 84.0), (98.0, 66.0, 50.0))


def flash_look(rng: np.random.Generator, look: FrameLook) -> FrameLook:
    """Draw how a flash photograph of an eye shows it: lids, lashes, wet and white sclera."""
    return replace(
        look,
        iris_rgb=_one_of(rng, _FLASH_IRISES),
        pupil_rgb=_one_of(rng, _FLASH_PUPILS),
        sclera_rgb=(212.0, 200.0, 196.0),
        skin_rgb=_one_of(rng, _FACES),
        crescent=float(rng.uniform(0.0, 0.8)),
        lids_mm=(float(rng.uniform(3.2, 6.5)), float(rng.uniform(4.2, 7.5))),
        speculum=False,
        lashes=int(rng.integers(0, 30)),
        vignette_px=None,
        texture=1.4,
    )


def theatre_look(rng: np.random.Generator, look: FrameLook, width_px: int) -> FrameLook:
    """Draw how another theatre shows an eye: any pupil, blood, a lit disc that is off-centre."""
    disc = float(rng.uniform(0.3, 0.5)) * width_px if rng.random() < 0.5 else None
    away = rng.uniform(-0.08, 0.08, 2) * width_px
    return replace(
        look,
        pupil_rgb=_one_of(rng, _THEATRE_PUPILS),
        sclera_rgb=(196.0, 168.0, 156.0) if rng.random() < 0.5 else (150.0, 138.0, 128.0),
        crescent=float(rng.uniform(0.0, 0.9)),
        blood=float(rng.uniform(0.0, 0.8)),
        vignette_px=disc,
        vignette_off_px=(float(away[0]), float(away[1])),
        exposure=float(rng.uniform(0.7, 1.35)),
    )


def wet_highlights(rng: np.random.Generator, most: int) -> tuple[Clutter, ...]:
    """Draw glints of lids, drape and wet sclera: larger and brighter than any reflex."""
    found = []
    for _ in range(int(rng.integers(1, most + 1))):
        far, at = float(rng.uniform(5.5, 10.0)), float(rng.uniform(0.0, 2.0 * math.pi))
        place = far * math.cos(at), far * math.sin(at)
        turn = math.degrees(at)
        found.append(Clutter("glint", place, float(rng.uniform(0.3, 1.1)), turn))
    return tuple(found)


def _one_of(rng: np.random.Generator, colours: tuple[Rgb, ...]) -> Rgb:
    return colours[int(rng.integers(len(colours)))]


def spoilt(pixels: UInt8Array, rng: np.random.Generator) -> UInt8Array:
    """What do recorders make of a frame: interlace, writing, a broken band, coarse JPEG?

    Parameters
    ----------
    pixels : array of uint8, shape (height, width, 3)
    rng : numpy.random.Generator

    Examples
    --------
    >>> spoilt(np.full((120, 160, 3), 90, dtype=np.uint8), np.random.default_rng(3)).shape
    (120, 160, 3)
    """
    seen = pixels.copy()
    height, width = seen.shape[:2]
    if rng.random() < 0.3:
        seen[1::2] = np.roll(seen[1::2], int(rng.integers(1, 3)), axis=1)
    if rng.random() < 0.4:
        where = (round(0.03 * width), round(float(rng.uniform(0.06, 0.95)) * height))
        size = width / 1280.0
        cv2.putText(seen, "REC 00:12:47  x0.6", where, 0, 1.1 * size, (250, 250, 250), 2)
    if rng.random() < 0.3:
        top, tall = int(rng.integers(0, height - 24)), int(rng.integers(8, 24))
        seen[top : top + tall] = np.roll(seen[top : top + tall], width // 3, axis=1)[..., ::-1]
    sink = io.BytesIO()
    Image.fromarray(seen).save(sink, format="JPEG", quality=int(rng.integers(25, 90)))
    return np.asarray(Image.open(sink), dtype=np.uint8)
