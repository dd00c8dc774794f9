"""Paints what makes photographs hard: rear capsule, rings of the optic, laser opening, camera."""

import io
import math

import numpy as np
from PIL import Image

from rimwise.demo.clutter import Window
from rimwise.demo.paint import blend, clouds, inside, line, signed_distance_px
from rimwise.demo.scene import PhotoScene, RoundShape, optic_map
from rimwise.demo.trouble import Trouble
from rimwise.picture.raster import UInt8Array
from rimwise.terms.arrays import FloatArray

HAZE_RGB = (176.0, 158.0, 146.0)
LASER_WAVES = ((3, 0.05, 0.02), (5, -0.03, 0.03), (8, 0.02, -0.015))


def paint_rear_capsule(
    colour: FloatArray, scene: PhotoScene, window: Window, rng: np.random.Generator
) -> FloatArray:
    """Paint texture and opaque sectors of the rear capsule, and the opening a laser cut into it."""
    trouble = scene.look.trouble
    cleared = _laser_cleared(scene, window)
    if trouble.mesh > 0.0:
        fine = clouds(rng, window.u.shape, 7.0) + 0.8 * clouds(rng, window.u.shape, 19.0)
        colour = colour * (1.0 + trouble.mesh * fine * (1.0 - cleared))[..., None]
    if trouble.hazes:
        around_deg = _around_deg(scene, window)
        grain = 1.0 + 0.12 * clouds(rng, window.u.shape, 9.0)
        for haze in trouble.hazes:
            width_deg = (haze.to_deg - haze.from_deg) % 360.0 or 360.0
            within = (around_deg - haze.from_deg) % 360.0 < width_deg
            veil = np.clip(haze.veil * grain, 0.0, 0.95) * within * (1.0 - cleared)
            colour = blend(colour, HAZE_RGB, veil)
    if trouble.laser_radius_mm is not None:
        colour = _paint_laser_edge(colour, scene, window)
    return colour


def _around_deg(scene: PhotoScene, window: Window) -> FloatArray:
    away = np.stack([window.u, window.v], axis=-1) - np.array(scene.optic_centre_px)
    seen = scene.frame.examiner_from_picture(away)
    return np.asarray(np.degrees(np.arctan2(seen[..., 1], seen[..., 0])))


def _laser_px(trouble: Trouble, scene: PhotoScene, window: Window) -> FloatArray:
    shape = RoundShape(trouble.laser_radius_mm or 0.0, trouble.laser_centre_mm, LASER_WAVES)
    return signed_distance_px(shape, optic_map(scene), window.u, window.v)


def _laser_cleared(scene: PhotoScene, window: Window) -> FloatArray:
    """Return which share of each pixel has no rear capsule."""
    if scene.look.trouble.laser_radius_mm is None:
        return np.zeros_like(window.u)
    return inside(_laser_px(scene.look.trouble, scene, window), 2.0)


def _paint_laser_edge(colour: FloatArray, scene: PhotoScene, window: Window) -> FloatArray:
    edge_px = _laser_px(scene.look.trouble, scene, window)
    width_px = math.hypot(1.4, scene.look.blur_px)
    colour = blend(colour, HAZE_RGB, 0.20 * inside(-edge_px, 2.0))
    return np.asarray(colour * (1.0 - 0.22 * line(edge_px, width_px))[..., None])


def paint_optic_rings(colour: FloatArray, scene: PhotoScene, window: Window) -> FloatArray:
    """Paint the steps of a diffractive optic: concentric dark lines with a bright side."""
    plane = optic_map(scene)
    for radius_mm in scene.look.trouble.ring_radii_mm:
        away_px = signed_distance_px(RoundShape(radius_mm), plane, window.u, window.v)
        width_px = math.hypot(0.9, scene.look.blur_px)
        profile = line(away_px, width_px) - 0.5 * line(away_px - 2.5, width_px)
        colour = colour * (1.0 - 0.12 * profile)[..., None]
    return colour


def paint_second_rim(colour: FloatArray, rim_px: FloatArray, scene: PhotoScene) -> FloatArray:
    """Paint the second line of the optic's edge, inside the first."""
    trouble = scene.look.trouble
    if trouble.second_rim == 0.0:
        return colour
    width_px = math.hypot(1.4, scene.look.blur_px)
    second = trouble.second_rim * line(rim_px + trouble.second_rim_px, width_px)
    return np.asarray(colour * (1.0 - second)[..., None])


def red_reflex_slope(scene: PhotoScene, window: Window) -> FloatArray:
    """How bright is the red reflex across a pupil that is lit from one side? (1 in the middle)"""
    look = scene.look
    towards = math.radians(look.optic_shade_deg + 90.0)
    reach_px = scene.pupil.radius_mm * scene.px_per_mm
    u = (window.u - scene.optic_centre_px[0]) / reach_px
    v = (window.v - scene.optic_centre_px[1]) / reach_px
    return 1.0 + look.trouble.slope * (u * math.cos(towards) - v * math.sin(towards))


def finish_picture(colour: FloatArray, scene: PhotoScene) -> UInt8Array:
    """Which pixels does the camera keep: cast, grey and compression?"""
    trouble = scene.look.trouble
    colour = colour * np.asarray(trouble.gains_rgb)
    if trouble.monochrome:
        grey = colour @ np.array([0.299, 0.587, 0.114])
        colour = np.repeat(grey[..., None], 3, axis=-1)
    np.rint(colour, out=colour)
    pixels = np.clip(colour, 0.0, 255.0, out=colour).astype(np.uint8)
    if not trouble.compressed:
        return pixels
    sink = io.BytesIO()
    Image.fromarray(pixels).save(sink, format="JPEG", quality=scene.look.jpeg_quality)
    with Image.open(sink) as image:
        return np.array(image)
