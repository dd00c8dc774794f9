"""What lies over the eye in an operating microscope's frame: lids, tools, bubbles, highlights."""

import math

import numpy as np

from rimwise.demo.clutter import WHITE, Window
from rimwise.demo.frame_scene import Clutter, FrameScene
from rimwise.demo.paint import blend, clouds, inside, line
from rimwise.terms.arrays import FloatArray

STEEL = (172.0, 176.0, 180.0)
DRAPE = (70.0, 110.0, 128.0)


def mm_map(scene: FrameScene, middle_px: FloatArray, window: Window) -> FloatArray:
    """Return examiner's mm from the pupil's middle, (..., 2), of the window's pixels."""
    away = np.stack([window.u - middle_px[0], window.v - middle_px[1]], axis=-1)
    camera = scene.setup.camera
    return camera.frame.examiner_from_picture(away) / camera.px_per_mm


def paint_lids(
    colour: FloatArray, scene: FrameScene, mm: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Paint the lids' skin in place and, along their margins, the wires that hold them open."""
    look, scale = scene.look, scene.setup.camera.px_per_mm
    x, y = mm[..., 0], mm[..., 1]
    for free_mm, way in zip(look.lids_mm, (1.0, -1.0), strict=True):
        if free_mm is None:
            continue
        beyond_px = (way * y - free_mm + 0.035 * x**2) * scale
        grain = 1.0 + 0.10 * clouds(rng, x.shape, 60.0)
        # Whole rows from half a margin's wire and 13 widths of its blur before the margin on.
        rows = np.flatnonzero((beyond_px > -(0.6 * scale + 40.0)).any(axis=1))
        if not len(rows):
            continue
        near = slice(rows[0], rows[-1] + 1)
        beyond_px, under = beyond_px[near], colour[near]
        skin = np.asarray(look.skin_rgb) * grain[near][..., None]
        under = blend(under, skin, inside(-beyond_px, 3.0))
        if look.speculum:
            wire_px = np.abs(beyond_px + 0.25 * scale) - 0.35 * scale
            steel = np.asarray(STEEL) * (0.75 + 0.5 * line(beyond_px + 0.1 * scale, 0.12 * scale))[
                ..., None
            ]  # fmt: skip
            under = blend(under, steel, inside(wire_px, 1.5))
        colour[near] = under
    return colour


def paint_lashes(
    colour: FloatArray, scene: FrameScene, mm: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Paint dark lashes that hang from the upper lid over the eye."""
    free_mm, scale = scene.look.lids_mm[0], scene.setup.camera.px_per_mm
    if free_mm is None:
        return colour
    for _ in range(scene.look.lashes):
        root, length = float(rng.uniform(-7.0, 7.0)), float(rng.uniform(1.0, 3.5))
        lean, bend = (k * root + float(rng.uniform(-0.8, 0.8)) for k in (0.12, 0.05))
        down = (free_mm - 0.035 * root**2 - mm[..., 1]) / length
        off_mm = mm[..., 0] - root - lean * down - bend * down**2
        width_px = (0.02 + 0.05 * np.clip(1.0 - down, 0.0, 1.0)) * scale + 0.3
        cover = 0.8 * np.exp(-0.5 * (off_mm * scale / width_px) ** 2)
        colour = blend(colour, _LASH, np.where((down > -0.1) & (down < 1.0), cover, 0.0))
    return colour


_LASH = (38.0, 32.0, 30.0)


def paint_under(colour: FloatArray, scene: FrameScene, mm: FloatArray) -> FloatArray:
    """Paint what hides the eye without shining: tools, bubbles, folds of the drape."""
    scale = scene.setup.camera.px_per_mm
    for one in scene.clutter:
        along, across = _own(one, mm)
        if one.kind == "tool":
            shade = 0.45 + 0.75 * line(across - 0.2 * one.size_mm, 0.25 * one.size_mm)
            cover = _tool(one, mm, scale)
            colour = blend(colour, np.asarray(STEEL) * shade[..., None], cover)
        elif one.kind == "bubble":
            rim = line((np.hypot(along, across) - one.size_mm) * scale, 0.12 * one.size_mm * scale)
            colour = colour * (1.0 - 0.55 * one.strength * rim)[..., None]
        elif one.kind == "fold":
            beyond = inside((one.size_mm - across) * scale, 2.0)
            colour = blend(colour, DRAPE, one.strength * beyond)
    return colour


def _tool(one: Clutter, mm: FloatArray, scale: float) -> FloatArray:
    """Return the share of each pixel that a tool with a round, tapered tip hides."""
    along, across = _own(one, mm)
    half = one.size_mm * (0.35 + 0.65 * np.clip(along / 3.0, 0.0, 1.0))
    before_tip = np.hypot(along, across) - 0.35 * one.size_mm
    outside = np.where(along < 0.0, before_tip, np.abs(across) - half)
    return one.strength * inside(outside * scale, 1.5)


def tool_cover(scene: FrameScene, mm: FloatArray) -> FloatArray:
    """How much of the light behind them do tools and drape keep back?"""
    scale = scene.setup.camera.px_per_mm
    kept = np.zeros(mm.shape[:-1])
    for one in scene.clutter:
        if one.kind == "tool":
            kept = np.maximum(kept, _tool(one, mm, scale))
        elif one.kind == "fold":
            _, across = _own(one, mm)
            kept = np.maximum(kept, one.strength * inside((one.size_mm - across) * scale, 2.0))
    return kept


def lit_px(scene: FrameScene, mm: FloatArray) -> FloatArray:
    """How much light, in grey levels, do highlights that are no reflexes of lamps add?"""
    scale = scene.setup.camera.px_per_mm
    light = np.zeros(mm.shape[:-1])
    for one in scene.clutter:
        along, across = _own(one, mm)
        if one.kind == "tear":
            outside = np.hypot(0.5 * along, across) - one.size_mm
            light += 400.0 * one.strength * inside(outside * scale, 1.2)
        elif one.kind == "glint":
            wave = 0.25 * np.sin(3.0 * np.arctan2(across, along))
            outside = np.hypot(0.6 * along, across) - one.size_mm * (1.0 + wave)
            light += 700.0 * one.strength * inside(outside * scale, 3.0)
        elif one.kind == "bubble":
            # The lamps in a bubble's front: one small spot, away from its middle.
            spot = np.hypot(along - 0.45 * one.size_mm, across) - 0.10 * one.size_mm
            light += 300.0 * one.strength * inside(spot * scale, 1.0)
    return light


def _own(one: Clutter, mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mm along and across a thing's own direction."""
    turn_rad = math.radians(one.turn_deg)
    x, y = mm[..., 0] - one.place_mm[0], mm[..., 1] - one.place_mm[1]
    along = x * math.cos(turn_rad) + y * math.sin(turn_rad)
    return along, y * math.cos(turn_rad) - x * math.sin(turn_rad)


def white_over(colour: FloatArray, light: FloatArray) -> FloatArray:
    """Add light of a lamp's colour to a picture."""
    return np.asarray(colour + light[..., None] * (np.asarray(WHITE) / 255.0))
