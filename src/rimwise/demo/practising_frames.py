"""A frame as a surgeon sees it before the opening is made, to practise on: its target is known."""

import math

import numpy as np

from rimwise.align.frame import align_frame
from rimwise.demo.frame_render import render_frame
from rimwise.demo.frames import FrameWish, draw_frame_scene
from rimwise.demo.hardness import NAMED, Difficulty
from rimwise.demo.photos import photo_jpeg
from rimwise.demo.practising import PractisePhoto
from rimwise.demo.scene import area_and_centroid
from rimwise.exchange.pictures import picture_from_bytes
from rimwise.eye.model import EyeModel
from rimwise.eye.seen import EyePlane
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.frames import examiner_from_nasal_superior

_NAME = "practise.jpg"
_STEPS = 360
# What is asked for lies inside the usual range of plans, in tenths of a millimetre.
_SMALLEST_MM, _LARGEST_MM = 4.8, 5.5


def draw_practice_frame(level: str, seed: int) -> tuple[PractisePhoto, float]:
    """Which frame is there to practise on, and how large is the opening to place on its lens?

    The truth is a circle of that real diameter in the plane of the lens's front, about the lens's
    pole, traced out through this eye's own cornea. ``measured_mm`` is how far off it the program's
    own target lies, with the standard deviation that it claims; None where it tells none.

    Parameters
    ----------
    level : "easy", "medium" or "hard"
        Anything else is medium.
    seed : int

    Returns
    -------
    PractisePhoto
    float
        Diameter asked for, real mm.

    Examples
    --------
    >>> frame, wanted_mm = draw_practice_frame("easy", 7)
    >>> frame.size_px, 4.8 <= wanted_mm <= 5.5
    ((1280, 960), True)
    """
    hard: Difficulty = next((one for one in NAMED if one == level), "medium")
    rng = np.random.default_rng(seed)
    scene, sheet = draw_frame_scene(rng, FrameWish(difficulty=hard, superior_deg=270.0))
    pixels, _ = render_frame(scene, rng)
    wanted_mm = round(float(rng.uniform(_SMALLEST_MM, _LARGEST_MM)), 1)
    ring_px = scene.sight.project(_ring_mm(scene.model, wanted_mm))
    area_px, centre = area_and_centroid(ring_px)
    diameter_px = math.sqrt(4.0 * abs(area_px) / math.pi)
    data = photo_jpeg(pixels, 88)
    mm_per_px = wanted_mm / diameter_px
    raster = picture_from_bytes(data, _NAME).raster
    try:
        found = align_frame(raster, sheet, _NAME).finding.targets.get("lens_pole")
    except MeasurementRefused:
        found = None
    off = None
    if found is not None:
        uu, vv, _ = found.spread_px
        away = math.dist(found.px, (float(centre[0]), float(centre[1])))
        off = (away * mm_per_px, math.sqrt(0.5 * (uu + vv)) * mm_per_px)
    ways = np.array(
        [examiner_from_nasal_superior(*way, sheet.side) for way in ((1.0, 0.0), (0.0, 1.0))]
    )
    nasal, superior = sheet.frame.picture_from_examiner(ways)
    photo = PractisePhoto(
        data, sheet.side, (pixels.shape[1], pixels.shape[0]),
        (float(centre[0]), float(centre[1])), diameter_px, mm_per_px,
        (float(nasal[0]), float(nasal[1])), (float(superior[0]), float(superior[1])), off,
    )  # fmt: skip
    return photo, wanted_mm


def _ring_mm(model: EyeModel, diameter_mm: float) -> FloatArray:
    """Return a circle about the lens's pole in the plane of its front, the eye's frame."""
    limits = model.lens_limits_mm
    assert limits is not None, "the eyes drawn here have their lens"
    plane = EyePlane.of_lens(model, limits[0])
    normal = np.array(plane.normal)
    across = np.cross([0.0, 1.0, 0.0], normal)
    across /= np.linalg.norm(across)
    up = np.cross(normal, across)
    angle = np.radians(np.arange(_STEPS))[:, None]
    return np.asarray(
        np.array(plane.point_mm) + 0.5 * diameter_mm * (np.cos(angle) * across + np.sin(angle) * up)
    )
