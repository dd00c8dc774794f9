"""The project's renderer, second kind of picture: the frame of an operating microscope.

Paint, ground and soft edges are those of the photographs; where things stand comes from the exact
trace of the eye's model, so that a test on these pictures says nothing about that model (the
practice pictures, traced by another program, do; docs/accuracy.md).
"""

import math
from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.ndimage import gaussian_filter

from rimwise.demo.clutter import Ground, Window, paint_ground
from rimwise.demo.frame_clutter import (
    lit_px,
    mm_map,
    paint_lashes,
    paint_lids,
    paint_under,
    tool_cover,
    white_over,
)
from rimwise.demo.frame_edges import paint_optic, paint_rings_of_iris
from rimwise.demo.frame_scene import FrameScene, FrameTruth, frame_truth
from rimwise.demo.paint import add_grain, blend, clouds, inside, line, signed_distance_px
from rimwise.demo.scene import PhotoLook, PlaneMap, TracedShape
from rimwise.picture.raster import UInt8Array
from rimwise.records.eye import Reflex
from rimwise.terms.arrays import FloatArray

GREY_WEIGHTS = (0.30, 0.59, 0.11)
Profile = Callable[[FloatArray], FloatArray]
AS_STORED = PlaneMap(np.eye(2), np.zeros(2))
# Grey levels of light scattered about a lamp's image, of its own peak, near and far.
_HALO = ((0.006, 9.0), (0.0012, 38.0))


def render_frame(scene: FrameScene, rng: np.random.Generator) -> tuple[UInt8Array, FrameTruth]:
    """What does an operating microscope see of this scene, and what is the exact answer?

    Parameters
    ----------
    scene : FrameScene
    rng : numpy.random.Generator
        Draws texture and noise; no place depends on it.

    Returns
    -------
    pixels : array of uint8, shape (height, width, 3)
    truth : FrameTruth

    Examples
    --------
    >>> from rimwise.demo.frames import FrameWish, draw_frame_scene
    >>> scene, _ = draw_frame_scene(np.random.default_rng(1), FrameWish(size_px=(320, 240)))
    >>> pixels, truth = render_frame(scene, np.random.default_rng(2))
    >>> pixels.shape, len(truth.points_px("P1"))
    ((240, 320, 3), 2)
    """
    truth = frame_truth(scene)
    look, (width, height) = scene.look, scene.size_px
    window = Window.of(0, 0, width, height)
    colour = _ground(scene, truth, rng)
    colour = _pupil(colour, scene, truth, (window, rng))
    middle = truth.pupil_px.mean(axis=0)
    mm = mm_map(scene, middle, window)
    light = lit_px(scene, mm) + reflex_light(scene, truth, window)
    light = light * (1.0 - tool_cover(scene, mm))
    colour = paint_under(colour, scene, mm)
    colour = paint_lids(white_over(colour, light), scene, mm, rng)
    colour = paint_lashes(colour, scene, mm, rng)
    if look.vignette_px is not None:
        aside, below = look.vignette_off_px
        away = np.hypot(window.u - 0.5 * width - aside, window.v - 0.5 * height - below)
        colour *= inside(away - look.vignette_px, 6.0)[..., None]
    return _exposed(colour, scene, rng), truth


def _exposed(colour: FloatArray, scene: FrameScene, rng: np.random.Generator) -> UInt8Array:
    look = scene.look
    colour = gaussian_filter(colour, (look.blur_px, look.blur_px, 0.0))
    colour *= look.exposure
    if look.grey:
        colour = np.repeat((colour @ np.array(GREY_WEIGHTS))[..., None], 3, axis=-1)
    grain = rng.standard_normal(colour.shape[:2] if look.grey else colour.shape, dtype=np.float32)
    if look.grey:
        grain = grain[..., None]
    add_grain(colour, grain, look.noise)
    np.rint(colour, out=colour)
    return np.clip(colour, 0.0, 255.0, out=colour).astype(np.uint8)


def _ground(scene: FrameScene, truth: FrameTruth, rng: np.random.Generator) -> FloatArray:
    """Paint iris and sclera about the limbus as it is seen."""
    look, camera = scene.look, scene.setup.camera
    width, height = scene.size_px
    to_picture = camera.px_per_mm * camera.frame.picture_from_examiner(np.eye(2)).T
    plane = PlaneMap(to_picture, truth.limbus_px.mean(axis=0))
    photo = PhotoLook(
        iris_rgb=look.iris_rgb,
        sclera_rgb=look.sclera_rgb,
        texture=look.texture,
        limbus_blur_px=look.limbus_blur_px,
    )
    limbus = TracedShape(plane.mm(truth.limbus_px))
    ground = Ground(scene.size_px, plane, limbus, camera.px_per_mm, photo)
    colour = paint_ground(ground, rng)[:height, :width]
    colour = paint_rings_of_iris(colour, scene, truth.limbus_px, Window.of(0, 0, width, height))
    if look.blood > 0.0:
        pools = np.clip(clouds(rng, (height, width), 1.5 * camera.px_per_mm) - 0.6, 0.0, 1.0)
        colour = blend(colour, _BLOOD, look.blood * pools)
    return colour


_BLOOD = (128.0, 22.0, 18.0)


def _pupil(
    colour: FloatArray,
    scene: FrameScene,
    truth: FrameTruth,
    of: tuple[Window, np.random.Generator],
) -> FloatArray:
    """Paint the pupil: cloudy, black or lit from behind, the red light as a crescent."""
    (whole, rng), look = of, scene.look
    shape = TracedShape(truth.pupil_px)
    radius, ruff_px = shape.radius_mm, _RUFF_MM * scene.setup.camera.px_per_mm
    level = 1.0 + look.unevenness * clouds(rng, whole.u.shape, 0.6 * radius)
    lit_deg = float(rng.uniform(0.0, 360.0))
    middle = truth.pupil_px.mean(axis=0)
    # Beyond ten widths of its border nothing of the pupil shows.
    near = _box(truth.pupil_px, 10.0 * (ruff_px + 1.0))
    window = whole.part(near)
    edge_px = signed_distance_px(shape, AS_STORED, window.u, window.v)
    towards = (window.u - middle[0]) * math.cos(math.radians(lit_deg)) + (
        window.v - middle[1]
    ) * math.sin(math.radians(lit_deg))
    level = level[near] + look.crescent * np.clip(towards / radius, -1.0, 1.0)
    level = level * (1.0 - 0.25 * line(edge_px, 0.12 * radius))
    seen = np.asarray(look.pupil_rgb) * np.clip(level, 0.2, 2.5)[..., None]
    seen = paint_optic(seen, scene, window)
    painted = blend(colour[near], seen, inside(edge_px, 0.8))
    colour[near] = painted * (1.0 - look.ruff * line(edge_px, ruff_px))[..., None]
    return colour


def _box(points_px: FloatArray, beyond_px: float) -> tuple[slice, slice]:
    """Return the rows and columns that hold these points and what lies so far beyond."""
    low, high = points_px.min(axis=0) - beyond_px, points_px.max(axis=0) + beyond_px
    (left, top), (right, bottom) = np.floor(low).astype(int), np.ceil(high).astype(int)
    return slice(max(top, 0), max(bottom, 0)), slice(max(left, 0), max(right, 0))


_RUFF_MM = 0.03


def reflex_light(scene: FrameScene, truth: FrameTruth, window: Window) -> FloatArray:
    """How bright are the lamps' mirror images, grey levels, before any clipping?

    Examples
    --------
    >>> from rimwise.demo.frames import FrameWish, draw_frame_scene
    >>> scene, _ = draw_frame_scene(np.random.default_rng(1), FrameWish(size_px=(320, 240)))
    >>> bool(reflex_light(scene, frame_truth(scene), Window.of(0, 0, 320, 240)).max() > 255.0)
    True
    """
    light = np.zeros(window.u.shape)
    for one in truth.reflexes:
        if (one.name, one.lamp) in truth.painted:
            _add_spot(light, scene, one)
    return light


def _add_spot(light: FloatArray, scene: FrameScene, one: Reflex) -> None:
    """Lay one lamp's image down: a disc of its size, softened by its own defocus.

    Light is conserved: what defocus spreads grows dimmer.
    """
    camera, look = scene.setup.camera, scene.look
    per_mm = camera.px_per_mm * camera.focus_mm / one.distance_mm
    radius = max(0.4, scene.lamp_radius_mm * abs(one.magnification) * per_mm)
    # A blur disc of diameter b spreads like a normal law of sd b / 4.
    soft = math.hypot(0.6, 0.25 * (one.blur_px or 0.0))
    if one.name in ("P3", "P4"):
        soft = math.hypot(soft, {"P3": 0.15, "P4": 0.015}[one.name] * camera.px_per_mm)
    share = {"P3": 0.6, "P4": 1.0 - look.veil}.get(one.name, 1.0)
    peak = look.gain * one.light * share * radius**2 / (radius**2 + 2.0 * soft**2)
    reach = radius + 5.0 * soft
    _stamp(light, one.px, reach, partial(_disc, (peak, radius, soft)))
    if one.name == "P1":
        for strength, sd in _HALO:
            glow = look.bloom * strength * min(peak, 8000.0)
            _stamp(light, one.px, 4.0 * sd, partial(_glow, (glow, sd)))


def _stamp(light: FloatArray, px: tuple[float, float], reach: float, shape: Profile) -> None:
    """Add what shines around a place, told by its distance, to the pixels within reach."""
    height, width = light.shape
    left, top = max(0, math.floor(px[0] - reach)), max(0, math.floor(px[1] - reach))
    right, bottom = min(width, math.ceil(px[0] + reach)), min(height, math.ceil(px[1] + reach))
    if left >= right or top >= bottom:
        return
    rows, columns = np.mgrid[top:bottom, left:right]
    light[top:bottom, left:right] += shape(np.hypot(columns - px[0], rows - px[1]))


def _disc(of: tuple[float, float, float], away: FloatArray) -> FloatArray:
    peak, radius, soft = of
    return peak * inside(away - radius, soft)


def _glow(of: tuple[float, float], away: FloatArray) -> FloatArray:
    peak, sd = of
    return peak * line(away, sd)
