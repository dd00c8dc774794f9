"""Rings of a microscope's frame that are no pupil and no limbus, though as plain as they are.

The rim of an implant's optic and the capsule's opening within the pupil; in the iris the dark ring
inside of the limbus and the arcus, a pale ring of old corneas that is densest above and below.
"""

import math
from dataclasses import replace

import numpy as np

from rimwise.demo.clutter import Window
from rimwise.demo.frame_scene import FrameLook, FrameScene
from rimwise.demo.paint import blend, inside, line, signed_distance_px
from rimwise.demo.scene import PlaneMap, TracedShape
from rimwise.eye.seen import EyePlane
from rimwise.optics.pose import tilt_rotation
from rimwise.terms.arrays import FloatArray

_AS_STORED = PlaneMap(np.eye(2), np.zeros(2))
_OPTIC_MM = 3.0  # radius of an implant's optic, common practice
_CAPSULE = (176.0, 168.0, 158.0)
_ARCUS = (172.0, 170.0, 164.0)


def with_edges(rng: np.random.Generator, look: FrameLook, implant: bool) -> FrameLook:
    """Draw how plain these rings are; half of the eyes have an arcus, half a dark ring.

    Examples
    --------
    >>> look = with_edges(np.random.default_rng(1), FrameLook(), implant=False)
    >>> look.optic, 0.0 <= look.arcus <= 0.6
    (0.0, True)
    """
    optic, away = float(rng.uniform(0.1, 0.6)), 0.2 * rng.standard_normal(2)
    opening = float(rng.uniform(2.2, 2.8))
    arcus, dark = (float(max(0.0, rng.uniform(-0.6, 0.6))) for _ in range(2))
    return replace(
        look,
        optic=optic if implant else 0.0,
        opening_mm=(float(away[0]), float(away[1]), opening),
        arcus=arcus,
        limbal_ring=dark,
    )


def paint_optic(colour: FloatArray, scene: FrameScene, window: Window) -> FloatArray:
    """Paint the optic's rim and the capsule's opening: beyond the optic less light comes back."""
    strength, limits = scene.look.optic, scene.model.lens_limits_mm
    if strength <= 0.0 or limits is None:
        return colour
    x, y, radius = scene.look.opening_mm
    scale = scene.setup.camera.px_per_mm
    beyond = _beyond_px(scene, limits[0], (x, y, radius), window)
    share = 0.25 * strength * inside(-beyond, 1.0) + 0.5 * strength * line(beyond, 0.025 * scale)
    colour = blend(colour, _CAPSULE, np.clip(share, 0.0, 1.0))
    beyond = _beyond_px(scene, 0.5 * (limits[0] + limits[1]), (0.0, 0.0, _OPTIC_MM), window)
    colour = colour * (1.0 - 0.8 * strength * inside(-beyond, 1.0))[..., None]
    return blend(colour, _CAPSULE, 0.5 * strength * line(beyond, 0.03 * scale))


def _beyond_px(
    scene: FrameScene, depth_mm: float, ring_mm: tuple[float, float, float], window: Window
) -> FloatArray:
    """Return how far outside of a circle on the lens each pixel lies."""
    x, y, radius = ring_mm
    around = 2.0 * math.pi * np.arange(180) / 180.0
    own = np.column_stack([x + radius * np.cos(around), y + radius * np.sin(around), 0.0 * around])
    plane = EyePlane.of_lens(scene.model, depth_mm)
    points = np.array(plane.point_mm) + own @ tilt_rotation(*scene.model.lens.tilt_rad).T
    curve = TracedShape(scene.sight.project(points))
    return signed_distance_px(curve, _AS_STORED, window.u, window.v)


def paint_rings_of_iris(
    colour: FloatArray, scene: FrameScene, limbus_px: FloatArray, window: Window
) -> FloatArray:
    """Paint the dark ring inside of the limbus, and an arcus with its clear interval."""
    look, scale = scene.look, scene.setup.camera.px_per_mm
    if look.arcus <= 0.0 and look.limbal_ring <= 0.0:
        return colour
    inwards = -signed_distance_px(TracedShape(limbus_px), _AS_STORED, window.u, window.v) / scale
    dark = look.limbal_ring * line(inwards - _DARK_MM[0], _DARK_MM[1])
    colour = colour * (1.0 - np.where(inwards > 0.0, dark, dark * line(inwards, 0.1)))[..., None]
    away = np.stack([window.u, window.v], axis=-1) - limbus_px.mean(axis=0)
    x, y = np.moveaxis(scene.setup.camera.frame.examiner_from_picture(away.reshape(-1, 2)), -1, 0)
    upright = (np.abs(y) / np.maximum(np.hypot(x, y), 1.0)).reshape(inwards.shape)
    return blend(colour, _ARCUS, look.arcus * upright**2 * line(inwards - _PALE_MM[0], _PALE_MM[1]))


_DARK_MM, _PALE_MM = (0.3, 0.25), (0.7, 0.25)  # how far inside of the limbus, and how broad
