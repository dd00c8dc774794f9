"""What lies in front of and behind the edges in a real photograph: haptics, folds, marks, lamps."""

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from rimwise.demo.paint import blend, clouds, enlarge, inside, line
from rimwise.demo.scene import (
    Lamp,
    PhotoLook,
    PhotoScene,
    PlaneMap,
    RoundShape,
    TracedShape,
    iris_map,
    optic_map,
)
from rimwise.terms.arrays import FloatArray

WHITE = (255.0, 250.0, 244.0)
_ARM_REACH_PX = 20.0  # 13 sd of the blur at an arm's root
_LAMP_REACH = 8.0  # haze widths, after which nothing is left of a lamp


@dataclass(frozen=True, slots=True)
class Window:
    """The pixels being painted: their columns and rows as arrays."""

    u: FloatArray
    v: FloatArray

    @classmethod
    def of(cls, left: int, top: int, width: int, height: int) -> "Window":
        """Return the window of these pixels."""
        u, v = np.meshgrid(np.arange(left, left + width), np.arange(top, top + height))
        return cls(u.astype(np.float64), v.astype(np.float64))

    def part(self, near: tuple[slice, slice]) -> "Window":
        """Return the window of these rows and columns of it."""
        return Window(self.u[near], self.v[near])


def paint_haptics(
    colour: FloatArray, scene: PhotoScene, window: Window, off_px: FloatArray
) -> FloatArray:
    """Paint the two arms that hold the optic: a pale band with dark borders beyond its rim."""
    if scene.haptic_axis_deg is None:
        return colour
    # Nothing of an arm shows inside of the rim: only what lies outside is reckoned.
    beyond = np.flatnonzero(off_px > -_ARM_REACH_PX)
    out_px = off_px.ravel()[beyond]
    at_px = np.stack([window.u.ravel()[beyond], window.v.ravel()[beyond]], axis=-1)
    mm = optic_map(scene).mm(at_px)
    radius = np.hypot(mm[..., 0], mm[..., 1])
    around_deg = np.degrees(np.arctan2(mm[..., 1], mm[..., 0]))
    rim_mm = scene.optic_diameter_mm / 2.0
    colour = np.array(colour)
    flat = colour.reshape(-1, 3)
    for root_deg in (scene.haptic_axis_deg, scene.haptic_axis_deg + 180.0):
        along_deg = (around_deg - root_deg + 180.0) % 360.0 - 180.0
        arm = np.flatnonzero(np.abs(along_deg - 40.0) < 48.0)
        middle_mm = rim_mm - 0.2 + 0.026 * along_deg[arm]
        across_px = (radius[arm] - middle_mm) * scene.px_per_mm * 0.86
        window_share = inside(out_px[arm] * -1.0, 1.5)
        half_px = 0.17 * scene.px_per_mm
        body = inside(np.abs(across_px) - half_px, 1.5) * window_share
        border = line(np.abs(across_px) - half_px, 1.6) * window_share
        painted = blend(flat[beyond[arm]], scene.look.capsule_rgb, 0.22 * body)
        flat[beyond[arm]] = painted * (1.0 - 0.30 * border)[..., None]
    return colour


def paint_folds(
    colour: FloatArray, scene: PhotoScene, window: Window, rng: np.random.Generator
) -> FloatArray:
    """Paint folds of the rear capsule: straight lines, bright on one side and dark on the other."""
    cx, cy = scene.optic_centre_px
    for _ in range(scene.look.folds):
        turn_rad, off_px = rng.uniform(0.0, math.pi), rng.normal(0.0, 110.0)
        across = (
            (window.u - cx) * math.cos(turn_rad) + (window.v - cy) * math.sin(turn_rad) - off_px
        )
        along = (window.v - cy) * math.cos(turn_rad) - (window.u - cx) * math.sin(turn_rad)
        reach = line(along - rng.normal(0.0, 80.0), rng.uniform(90.0, 240.0))
        profile = line(across - 2.0, 2.2) - line(across + 2.0, 2.2)
        colour = colour * (1.0 + rng.uniform(0.05, 0.10) * profile * reach)[..., None]
    return colour


def paint_spots(
    colour: FloatArray, scene: PhotoScene, window: Window, rng: np.random.Generator
) -> FloatArray:
    """Paint dust (small, dark) and pearls (rings with a bright side)."""
    reach_mm = scene.optic_diameter_mm / 2.0
    plane = optic_map(scene)
    for kind, count in (("dust", scene.look.dust), ("pearl", scene.look.pearls)):
        lump = rng.normal(0.0, 0.5 * reach_mm, 2)
        for _ in range(count):
            place = rng.uniform(-1.0, 1.0, 2) * reach_mm
            if kind == "pearl":
                place = lump + rng.normal(0.0, 0.35, 2)
            _stamp(colour, window, plane.px(place), rng.uniform(2.0, 4.0), kind == "pearl")
    return colour


def _around(
    window: Window, at_px: FloatArray, reach_px: int
) -> tuple[tuple[slice, slice], FloatArray, FloatArray]:
    """Return the pixels near a place, and their columns and rows counted from it."""
    column = round(float(at_px[0] - window.u[0, 0]))
    row = round(float(at_px[1] - window.v[0, 0]))
    near = (
        slice(max(row - reach_px, 0), max(row + reach_px, 0)),
        slice(max(column - reach_px, 0), max(column + reach_px, 0)),
    )
    return near, window.u[near] - at_px[0], window.v[near] - at_px[1]


def _stamp(
    colour: FloatArray, window: Window, at_px: FloatArray, size_px: float, pearl: bool
) -> None:
    """Paint one small spot in place, touching only the pixels around it."""
    near, du, dv = _around(window, at_px, math.ceil(5.0 * size_px))
    away = np.hypot(du, dv)
    if pearl:
        change = 0.10 * line(away - 2.0 * size_px, 1.4) * (du - dv) / np.maximum(away, 1.0)
        change -= 0.05 * inside(away - 2.0 * size_px, 1.0)
    else:
        change = -0.40 * line(away, 0.7 * size_px)
    colour[near] *= (1.0 + change)[..., None]


def paint_toric_marks(colour: FloatArray, scene: PhotoScene, window: Window) -> FloatArray:
    """Paint the rows of dots that show the implant's weak meridian."""
    if scene.toric_axis_deg is None:
        return colour
    plane = optic_map(scene)
    for end_deg in (scene.toric_axis_deg, scene.toric_axis_deg + 180.0):
        unit = np.array([math.cos(math.radians(end_deg)), math.sin(math.radians(end_deg))])
        for place in range(scene.toric_marks_per_end):
            at_mm = (scene.optic_diameter_mm / 2.0 - 0.28 - 0.24 * place) * unit
            near, du, dv = _around(window, plane.px(at_mm), 16)
            away = np.hypot(du, dv)
            change = 0.12 * line(away - 7.5, 1.3) - 0.2 * inside(away - 5.5, 1.2)
            colour[near] *= (1.0 + change)[..., None]
    return colour


def lamp_share(lamp: Lamp, scene: PhotoScene, window: Window) -> FloatArray:
    """How strongly does a lamp's image cover each pixel?"""
    at_px = iris_map(scene).px(np.array(lamp.place_mm))
    du, dv = window.u - at_px[0], window.v - at_px[1]
    if lamp.style == "slit":
        outside = np.hypot(np.maximum(np.abs(dv) - 3.0 * lamp.radius_px, 0.0), du) - lamp.radius_px
    else:
        outside = np.hypot(du, dv) - lamp.radius_px
    share = inside(outside, lamp.haze_px)
    if lamp.style == "ring":
        share = share - inside(outside + 0.42 * lamp.radius_px, lamp.haze_px)
    return np.asarray(np.clip(share * lamp.strength, 0.0, 1.0))


def lamp_box(lamp: Lamp, scene: PhotoScene, window: Window) -> tuple[slice, slice]:
    """Return the rows and columns of a window outside of which a lamp covers nothing."""
    column, row = iris_map(scene).px(np.array(lamp.place_mm)) - [window.u[0, 0], window.v[0, 0]]
    wide = lamp.radius_px + _LAMP_REACH * (lamp.haze_px + 1.0)
    high = wide + (3.0 * lamp.radius_px if lamp.style == "slit" else 0.0)
    return (
        slice(max(math.floor(row - high), 0), max(math.ceil(row + high), 0)),
        slice(max(math.floor(column - wide), 0), max(math.ceil(column + wide), 0)),
    )


@dataclass(frozen=True, slots=True)
class Ground:
    """What surrounds the pupil: a limbus in its plane, how that is seen, and how it looks."""

    size_px: tuple[int, int]
    plane: PlaneMap
    limbus: RoundShape | TracedShape
    px_per_mm: float
    look: PhotoLook


def iris_and_sclera(scene: PhotoScene, rng: np.random.Generator) -> FloatArray:
    """Paint what surrounds the pupil of a photograph."""
    return paint_ground(
        Ground(scene.size_px, iris_map(scene), scene.limbus, scene.px_per_mm, scene.look), rng
    )


def paint_ground(ground: Ground, rng: np.random.Generator) -> FloatArray:
    """Paint iris and sclera at half resolution: the limbus, the only edge there, is soft.

    Its half level lies on the ground's own curve.
    """
    width, height = -(-ground.size_px[0] // 2), -(-ground.size_px[1] // 2)
    columns, rows = np.meshgrid(np.arange(width) * 2.0 + 0.5, np.arange(height) * 2.0 + 0.5)
    limbus, look = ground.limbus, ground.look
    away = ground.plane.mm(np.stack([columns, rows], axis=-1)) - limbus.centre_mm
    x, y = np.moveaxis(away, -1, 0)
    radius_mm, around_rad = np.hypot(x, y), np.arctan2(y, x)
    fine = _spokes(rng, around_rad, radius_mm, 420) + 0.7 * _spokes(rng, around_rad, radius_mm, 130)
    ring = line(radius_mm - 0.62 * limbus.radius_mm, 0.35)
    iris = 1.0 + look.texture * (0.075 * fine + 0.06 * ring + 0.09 * clouds(rng, x.shape, 45.0))
    iris *= 0.72 + 0.38 * np.clip(radius_mm / limbus.radius_mm, 0.0, 1.0) ** 2
    white = 1.0 + 0.05 * look.texture * clouds(rng, x.shape, 110.0)
    sclera = _with_vessels(np.asarray(look.sclera_rgb) * white[..., None], ground, rng)
    outside_px = (radius_mm - limbus.radius_at(around_rad)) * ground.px_per_mm
    colour = blend(
        sclera, np.asarray(look.iris_rgb) * iris[..., None], inside(outside_px, look.limbus_blur_px)
    )
    return np.stack([enlarge(colour[..., c], 2 * width, 2 * height) for c in range(3)], axis=-1)


def _spokes(
    rng: np.random.Generator, around_rad: FloatArray, radius_mm: FloatArray, count: int
) -> FloatArray:
    """Draw radial fibres: fine around, stretched along the radius."""
    table = rng.standard_normal((count, 11))
    place = (around_rad / (2.0 * math.pi) % 1.0) * count
    ring = np.clip(radius_mm * 1.6 + 0.5 * np.sin(3.0 * around_rad), 0.0, 9.99)
    a, r = place.astype(np.int64), ring.astype(np.int64)
    fa, fr = place - a, ring - r
    fa = fa * fa * (3.0 - 2.0 * fa)
    here, after = a % count * 11 + r, (a + 1) % count * 11 + r
    flat, back = table.ravel(), 1 - fa
    low = flat[here] * back + flat[after] * fa
    high = flat[here + 1] * back + flat[after + 1] * fa
    return np.asarray(low * (1.0 - fr) + high * fr)


def _with_vessels(colour: FloatArray, ground: Ground, rng: np.random.Generator) -> FloatArray:
    """Draw a few winding vessels on the white of the eye; they go with it and turn with it."""
    height, width = colour.shape[:2]
    turn = ground.plane.matrix / math.sqrt(abs(float(np.linalg.det(ground.plane.matrix))))
    middle = 0.5 * (ground.plane.px(np.array(ground.limbus.centre_mm)) + 0.5) - 0.5
    layer = Image.new("L", (width, height), 0)
    pen = ImageDraw.Draw(layer)
    for _ in range(16):
        heading = rng.uniform(0.0, 2.0 * math.pi) + np.cumsum(rng.normal(0.0, 0.22, 40))
        start = rng.uniform((0.0, 0.0), (width, height))
        step = 6.0 * np.stack([np.cos(heading), np.sin(heading)], axis=1)
        path = start + np.cumsum(step, axis=0) - (0.5 * width, 0.5 * height)
        path = middle + path @ turn.T
        ink = int(rng.integers(60, 190))
        pen.line(
            [(float(p[0]), float(p[1])) for p in path], fill=ink, width=int(rng.integers(1, 4))
        )
    share = gaussian_filter(np.asarray(layer, dtype=np.float64) / 255.0, 1.0)
    return blend(colour, (150.0, 52.0, 46.0), 0.55 * share)
