"""The project's one renderer of photographs: the eye through a dilated pupil, lit from behind.

It shares no formula with the measuring steps beyond the frames; docs/accuracy.md says what a
test on its pictures can and cannot show. Sclera and iris are painted, edges are placed exactly.
"""

import math

import numpy as np

from rimwise.demo.clutter import (
    WHITE,
    Window,
    iris_and_sclera,
    lamp_box,
    lamp_share,
    paint_folds,
    paint_haptics,
    paint_spots,
    paint_toric_marks,
)
from rimwise.demo.paint import add_grain, blend, clouds, inside, line, signed_distance_px
from rimwise.demo.scene import (
    PhotoScene,
    PhotoTruth,
    RoundShape,
    area_and_centroid,
    cover_profile_mm,
    iris_map,
    opening_map,
    optic_ellipse_px,
    optic_map,
    seen_by_direction,
)
from rimwise.demo.trouble_paint import (
    finish_picture,
    paint_optic_rings,
    paint_rear_capsule,
    paint_second_rim,
    red_reflex_slope,
)
from rimwise.picture.raster import UInt8Array
from rimwise.terms.arrays import FloatArray, IntArray

LID_RGB = (120.0, 84.0, 70.0)
# Below 2 % an edge drowns in the noise of one picture; above 6 % anyone sees it. Own setting.
FAINT, PLAIN = 0.02, 0.06
GAP_BLUR_PX = 60.0


def render_photo(scene: PhotoScene, rng: np.random.Generator) -> tuple[UInt8Array, PhotoTruth]:
    """What does a camera see of this scene, and what is the exact answer?

    Parameters
    ----------
    scene : PhotoScene
        What the photograph shows.
    rng : numpy.random.Generator
        Draws texture and noise; the edges do not depend on it.

    Returns
    -------
    pixels : array of uint8, shape (height, width, 3)
    truth : PhotoTruth

    Examples
    --------
    >>> small = PhotoScene("right", size_px=(140, 105), px_per_mm=10.8, optic_centre_px=(70, 52))
    >>> pixels, truth = render_photo(small, np.random.default_rng(1))
    >>> pixels.shape, round(truth.least_cover[0], 3)
    ((105, 140, 3), 0.4)
    """
    width, height = scene.size_px
    full = Window.of(0, 0, width, height)
    colour = iris_and_sclera(scene, rng)[:height, :width]
    clarity = _edge_clarity(rng)
    _paint_pupil(colour, scene, clarity, rng)
    across, down = (full.u[:1] / width - 0.5) ** 2, (full.v[:, :1] / height - 0.5) ** 2
    colour *= (1.0 - 0.35 * (across + down))[..., None]
    colour *= scene.look.exposure
    if scene.lid_mm is not None:
        colour = blend(colour, LID_RGB, inside(_below_lid_px(scene, full), 5.0))
    for lamp in scene.look.lamps:
        if not lamp.on_optic:
            near = lamp_box(lamp, scene, full)
            _paint_lamp(colour[near], lamp_share(lamp, scene, full.part(near)))
    add_grain(colour, rng.standard_normal(colour.shape, dtype=np.float32), scene.look.noise)
    return finish_picture(colour, scene), _truth(scene, clarity)


def _edge_clarity(rng: np.random.Generator) -> FloatArray:
    """Draw how strongly the opening's edge shows by direction, sd about 1 (360)."""
    phase = rng.uniform(0.0, 2.0 * math.pi, 4)
    weight = rng.normal(0.0, 0.7, 4)
    angle_rad = np.radians(np.arange(360.0))
    return np.asarray(
        sum(
            w * np.cos((k + 1) * angle_rad + p)
            for k, (w, p) in enumerate(zip(weight, phase, strict=True))
        )
    )


def _paint_lamp(colour: FloatArray, share: FloatArray) -> None:
    """Lay a lamp's image over the picture in place."""
    hit = np.nonzero(share > 1e-3)
    colour[hit] += (np.asarray(WHITE) - colour[hit]) * share[hit][:, None]


def _pupil_box(scene: PhotoScene) -> tuple[slice, slice]:
    """Return the rows and columns that hold the pupil."""
    points = iris_map(scene).px(scene.pupil.points_mm(360))
    left, top = np.floor(points.min(axis=0)).astype(int) - 12
    right, bottom = np.ceil(points.max(axis=0)).astype(int) + 12
    width, height = scene.size_px
    return slice(max(top, 0), min(bottom, height)), slice(max(left, 0), min(right, width))


def _paint_pupil(
    colour: FloatArray, scene: PhotoScene, clarity: FloatArray, rng: np.random.Generator
) -> None:
    """Paint everything seen through the pupil, in place."""
    rows, columns = _pupil_box(scene)
    window = Window.of(
        columns.start, rows.start, columns.stop - columns.start, rows.stop - rows.start
    )
    iris_px = signed_distance_px(scene.pupil, iris_map(scene), window.u, window.v)
    seen = _red_reflex(scene, window, iris_px, rng)
    seen = paint_rear_capsule(seen, scene, window, rng)
    optic_px = _optic_px(scene, window)
    seen = _paint_optic_and_capsule(seen, scene, window, clarity, optic_px)
    seen = paint_folds(seen, scene, window, rng)
    seen = paint_spots(paint_toric_marks(seen, scene, window), scene, window, rng)
    for lamp in scene.look.lamps:
        if lamp.on_optic:
            near = lamp_box(lamp, scene, window)
            share = lamp_share(lamp, scene, window.part(near))
            _paint_lamp(seen[near], share * inside(optic_px[near], scene.look.blur_px))
    through = inside(iris_px, scene.look.blur_px)
    shade = 0.45 * scene.look.pupil_shade * line(iris_px - 4.0, 5.0)
    under = colour[rows, columns] * (1.0 - shade)[..., None]
    colour[rows, columns] = blend(under, seen, through)


def _red_reflex(
    scene: PhotoScene, window: Window, iris_px: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Paint the uneven red light that comes back from the eye's fundus."""
    look = scene.look
    spread_px = scene.pupil.radius_mm * scene.px_per_mm
    glow = np.array(scene.optic_centre_px) + rng.normal(0.0, 0.25 * spread_px, 2)
    away = np.hypot(window.u - glow[0], window.v - glow[1])
    level = 0.86 + 0.30 * line(away, 0.75 * spread_px)
    level += look.unevenness * 0.5 * clouds(rng, window.u.shape, 0.9 * spread_px)
    level *= 1.0 - 0.22 * look.pupil_shade * line(iris_px, 26.0)
    if look.trouble.slope != 0.0:
        level *= red_reflex_slope(scene, window)
    colour = np.asarray(look.reflex_rgb) * np.maximum(level, 0.35)[..., None]
    if look.opacity > 0.0:
        haze = np.clip(clouds(rng, window.u.shape, 150.0) - 0.5, 0.0, 1.2)
        haze *= 1.0 + 0.10 * clouds(rng, window.u.shape, 22.0)
        colour = blend(colour, (146.0, 112.0, 96.0), np.clip(look.opacity * haze, 0.0, 0.8))
    return colour


def _optic_px(scene: PhotoScene, window: Window) -> FloatArray:
    """Return the signed distance to the optic's rim."""
    rim = RoundShape(scene.optic_diameter_mm / 2.0)
    return signed_distance_px(rim, optic_map(scene), window.u, window.v)


def _direction_index(scene: PhotoScene, window: Window) -> IntArray:
    """Return the examiner's whole-degree direction of each pixel about the optic's centre."""
    away = np.stack([window.u, window.v], axis=-1) - np.array(scene.optic_centre_px)
    seen = scene.frame.examiner_from_picture(away)
    return np.asarray(np.degrees(np.arctan2(seen[..., 1], seen[..., 0])).astype(np.int64) % 360)


def _line_strength(scene: PhotoScene, clarity: FloatArray) -> FloatArray:
    """How dark is the opening's line by direction (360)?"""
    dark = scene.look.opening_line * (1.0 + scene.look.opening_line_change * clarity)
    return np.clip(dark, 0.0, 0.4) * scene.look.trouble.edge_left(np.arange(360.0))


def _shade_strength(scene: PhotoScene) -> FloatArray:
    """How dark is the optic's rim by direction (360)? One side is shaded more."""
    look = scene.look
    towards = np.cos(np.radians(np.arange(360.0) - look.optic_shade_deg))
    return look.optic_line + look.optic_shade * np.maximum(towards, 0.0) ** 2


def _paint_optic_and_capsule(
    colour: FloatArray,
    scene: PhotoScene,
    window: Window,
    clarity: FloatArray,
    rim_px: FloatArray,
) -> FloatArray:
    """Paint the optic and the capsule with its opening, what lies in front last."""
    at = _direction_index(scene, window)
    edge_px = signed_distance_px(scene.opening, opening_map(scene), window.u, window.v)
    dark = _line_strength(scene, clarity)[at]
    if scene.look.trouble.captured:
        colour = _paint_capsule(colour, scene, edge_px, dark, at)
        return _paint_optic(colour, scene, window, at, rim_px)
    colour = _paint_optic(colour, scene, window, at, rim_px)
    return _paint_capsule(colour, scene, edge_px, dark, at)


def _paint_optic(
    colour: FloatArray, scene: PhotoScene, window: Window, at: IntArray, rim_px: FloatArray
) -> FloatArray:
    """Paint the optic: its body, haptics, rings and the double line of its rim."""
    look = scene.look
    colour = colour * (1.0 - look.optic_dim * inside(-rim_px, look.blur_px))[..., None]
    colour = paint_haptics(colour, scene, window, rim_px)
    colour = paint_optic_rings(colour, scene, window)
    shade = _shade_strength(scene)[at]
    width_px = math.hypot(1.7, look.blur_px)
    colour *= (1.0 - shade * line(rim_px, width_px))[..., None]
    colour *= (1.0 + look.rim_glow * shade * line(rim_px + 7.5, 1.5 * width_px))[..., None]
    return paint_second_rim(colour, rim_px, scene)


def _paint_capsule(
    colour: FloatArray, scene: PhotoScene, edge_px: FloatArray, dark: FloatArray, at: IntArray
) -> FloatArray:
    """Paint the front capsule around its opening: veil, whitened band and line."""
    look, trouble = scene.look, scene.look.trouble
    degrees = np.arange(360.0)
    left = trouble.edge_left(degrees)[at]
    # Where the edge is missing the veil fades out too, over a width that shows no edge.
    outside = inside(-edge_px, look.blur_px)
    veil = left * outside
    if trouble.gaps:
        veil = veil + (1.0 - left) * inside(-edge_px, GAP_BLUR_PX)
    white = left if trouble.fibrosis_arc is None else left * trouble.fibrosis_arc.share(degrees)[at]
    band = white * outside * np.exp(-np.maximum(edge_px, 0.0) / 9.0)
    colour = blend(colour, look.capsule_rgb, look.capsule_veil * veil)
    colour = blend(colour, (214.0, 196.0, 180.0), look.fibrosis * band)
    colour *= (1.0 - dark * line(edge_px, math.hypot(1.1, look.blur_px)))[..., None]
    bright = 0.4 * dark * line(edge_px - 4.0, math.hypot(1.2, look.blur_px))
    colour *= (1.0 + bright)[..., None]
    return colour


def _below_lid_px(scene: PhotoScene, window: Window) -> FloatArray:
    """How far below the upper lid's margin does each pixel lie? (negative: hidden by the lid)"""
    mm = iris_map(scene).mm(np.stack([window.u, window.v], axis=-1))
    lid_mm = math.inf if scene.lid_mm is None else scene.lid_mm
    return np.asarray((lid_mm - 0.045 * mm[..., 0] ** 2 - mm[..., 1]) * scene.px_per_mm)


def _hidden(scene: PhotoScene, points_px: FloatArray) -> FloatArray:
    """Is each point of a curve hidden by iris, lid, lamp or the picture's border? (bool)"""
    window = Window(points_px[:, 0], points_px[:, 1])
    width, height = scene.size_px
    hidden = signed_distance_px(scene.pupil, iris_map(scene), window.u, window.v) > -1.5
    hidden |= (window.u < 2) | (window.v < 2) | (window.u > width - 3) | (window.v > height - 3)
    if scene.lid_mm is not None:
        hidden |= _below_lid_px(scene, window) < 8.0
    for lamp in scene.look.lamps:
        hidden |= lamp_share(lamp, scene, window) > 0.35
    return np.asarray(hidden)


def _grade(contrast: FloatArray, hidden: FloatArray) -> IntArray:
    """Grade how well an edge shows: 0 hidden or below threshold, 1 faint, 2 plain."""
    grade = (contrast >= FAINT).astype(np.int64) + (contrast >= PLAIN)
    return np.where(hidden, 0, grade)


def _truth(scene: PhotoScene, clarity: FloatArray) -> PhotoTruth:
    """Work out the exact answers for a scene."""
    opening_mm = scene.opening.points_mm()
    area_mm2, centroid = area_and_centroid(opening_mm)
    rim = RoundShape(scene.optic_diameter_mm / 2.0)
    optic_px = seen_by_direction(scene, optic_map(scene).px(rim.points_mm()))
    opening_px = seen_by_direction(scene, opening_map(scene).px(opening_mm))
    return PhotoTruth(
        cover_mm=cover_profile_mm(scene),
        opening_px=opening_px,
        opening_visible=_grade(_line_strength(scene, clarity), _hidden(scene, opening_px)),
        optic_visible=_grade(_shade_strength(scene), _hidden(scene, optic_px)),
        optic_ellipse_px=optic_ellipse_px(scene),
        px_per_mm=scene.px_per_mm,
        equivalent_diameter_mm=2.0 * math.sqrt(area_mm2 / math.pi),
        area_mm2=area_mm2,
        decentration_mm=(float(centroid[0]), float(centroid[1])),
    )
