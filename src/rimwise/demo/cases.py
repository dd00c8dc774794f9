"""Photographs of special cases: what looks like an opening's edge, or is one behind the optic."""

from dataclasses import replace
from typing import Literal

import numpy as np

from rimwise.demo.hardness import Difficulty
from rimwise.demo.photos import draw_eye, draw_scene, draw_sheet
from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoScene, PhotoTruth, RoundShape
from rimwise.picture.raster import UInt8Array
from rimwise.records.picture import PictureSheet

Case = Literal["diffractive", "laser", "captured", "monochrome"]
CASES: tuple[Case, ...] = ("diffractive", "laser", "captured", "monochrome")


def draw_case(
    rng: np.random.Generator,
    case: Case,
    edge_seen: bool = True,
    difficulty: Difficulty | int = "easy",
) -> tuple[UInt8Array, PhotoTruth, PictureSheet]:
    """What does a photograph of a special case look like, with its truth and its sheet?

    Parameters
    ----------
    rng : numpy.random.Generator
        Draws eye, camera and clutter.
    case : "diffractive", "laser", "captured" or "monochrome"
        Rings on the optic; an opening cut into the rear capsule; the optic standing before the
        opening; no colour.
    edge_seen : bool
        False: the opening's own edge cannot be seen, so that only the other curve is left.
    difficulty : "easy", "medium", "hard" or a level from 1 to 7
    """
    eye = draw_eye(rng, difficulty)
    scene = _with_case(rng, draw_scene(rng, eye, difficulty), case)
    if not edge_seen:
        look = replace(scene.look, opening_line=0.0, capsule_veil=0.0, fibrosis=0.0)
        scene = replace(scene, look=look)
    pixels, truth = render_photo(scene, rng)
    return pixels, truth, draw_sheet(rng, eye, scene)


def _with_case(rng: np.random.Generator, scene: PhotoScene, case: Case) -> PhotoScene:
    trouble = scene.look.trouble
    if case == "diffractive":
        # Zones of equal area, as a lens of diffracted light has them: radii grow as a square root.
        first_mm = float(rng.uniform(0.45, 0.6))
        radii = tuple(first_mm * float(np.sqrt(n)) for n in range(1, int(rng.integers(8, 20))))
        trouble = replace(trouble, ring_radii_mm=tuple(r for r in radii if r < 2.4))
    elif case == "laser":
        at = rng.normal(0.0, 0.2, 2)
        trouble = replace(
            trouble,
            laser_radius_mm=float(rng.uniform(1.6, 2.3)),
            laser_centre_mm=(float(at[0]), float(at[1])),
            mesh=float(rng.uniform(0.02, 0.05)),
        )
    elif case == "captured":
        trouble = replace(trouble, captured=True)
        scene = replace(scene, opening=_stretched(rng, scene), gap_mm=-scene.gap_mm)
        scene = replace(scene, opening_shift_mm=None)
    else:
        trouble = replace(trouble, monochrome=True)
    return replace(scene, look=replace(scene.look, trouble=trouble))


def _stretched(rng: np.random.Generator, scene: PhotoScene) -> RoundShape:
    """Return an opening drawn out along the haptics, whose edge passes behind the optic there."""
    rim_mm = 0.5 * scene.optic_diameter_mm
    short_mm, long_mm = rim_mm - float(rng.uniform(0.5, 0.8)), rim_mm + float(rng.uniform(0.0, 0.1))
    mean_mm, wave = 0.5 * (short_mm + long_mm), (long_mm - short_mm) / (long_mm + short_mm)
    twice_rad = 2.0 * np.radians(scene.haptic_axis_deg or 0.0)
    waves = ((2, wave * float(np.cos(twice_rad)), wave * float(np.sin(twice_rad))),)
    return RoundShape(mean_mm, (0.0, 0.0), waves)
