"""Draws an invented eye, the photograph of it and the sheet that a user would write for it."""

import io
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from PIL import Image

from rimwise.demo.hardness import Difficulty, Hardness, hardness_of
from rimwise.demo.render import render_photo
from rimwise.demo.scene import (
    Lamp,
    PhotoLook,
    PhotoScene,
    PhotoTruth,
    RoundShape,
    area_and_centroid,
)
from rimwise.demo.trouble import Arc, Trouble
from rimwise.eye.camera import Camera
from rimwise.eye.schematic import schematic_model
from rimwise.eye.seen import Sight
from rimwise.optics.pose import tilt_rotation
from rimwise.picture.raster import UInt8Array
from rimwise.published.eyes import schematic_eye
from rimwise.records.eye import EyePose
from rimwise.records.picture import CorneaSheet, PictureLengths, PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import PictureFrame, Side, examiner_from_nasal_superior

AQUEOUS_INDEX = 1.336  # convention 13
# A patient who looks at the camera turns the eye's axis some 5° temporal, of which a little less is
# left inside the eye, and implants tilt the same way (common practice, no source).
AXIS_TEMPORAL_DEG, AXIS_SD_DEG = 4.4, 1.5
LEFT_INSIDE = (
    0.88  # of an eye's turn, between line of sight and axis at the rim's depth (own trace)
)
TILT_TEMPORAL_DEG, TILT_SD_DEG = 2.5, 1.5


@dataclass(frozen=True, slots=True)
class PhotographedEye:
    """The body of an invented eye with an implant, as far as a photograph depends on it.

    ``tilt_deg`` is where the optic's axis points from the view, inside the eye; ``lens_tilt_deg``
    that part of it which is the implant's own.
    """

    side: Side
    opening: RoundShape
    optic_diameter_mm: float = 6.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    lens_tilt_deg: tuple[float, float] = (0.0, 0.0)
    gap_mm: float = 0.15
    corneal_radius_mm: float = 7.7
    optic_depth_mm: float = 4.5
    white_to_white_mm: float = 11.7
    working_distance_mm: float = 105.0


IRISES = ((84.0, 92.0, 100.0), (62.0, 52.0, 40.0), (74.0, 76.0, 58.0), (46.0, 38.0, 32.0))
REFLEXES = ((184.0, 92.0, 44.0), (198.0, 108.0, 52.0), (170.0, 74.0, 48.0), (188.0, 116.0, 74.0))


def draw_photo(
    rng: np.random.Generator, difficulty: Difficulty | int
) -> tuple[UInt8Array, PhotoTruth, PictureSheet]:
    """What would a photograph of an invented eye look like, with its truth and its sheet?

    Parameters
    ----------
    rng : numpy.random.Generator
        Draws eye, camera and clutter.
    difficulty : "easy", "medium", "hard" or a level from 1 to 7

    Returns
    -------
    pixels : array of uint8, shape (1050, 1400, 3)
    truth : PhotoTruth
    sheet : PictureSheet
        What a user would know, with the error a user would have.
    """
    return photograph_of(rng, draw_eye(rng, difficulty), difficulty)


def photograph_of(
    rng: np.random.Generator, eye: PhotographedEye, difficulty: Difficulty | int
) -> tuple[UInt8Array, PhotoTruth, PictureSheet]:
    """What would a photograph of this eye look like, with its truth and its sheet?"""
    scene = draw_scene(rng, eye, difficulty)
    pixels, truth = render_photo(scene, rng)
    return pixels, truth, draw_sheet(rng, eye, scene)


def photo_jpeg(pixels: UInt8Array, quality: int) -> bytes:
    """Which bytes does a camera write for these pixels?"""
    sink = io.BytesIO()
    words = b"invented picture of an eye that never existed"
    Image.fromarray(pixels).save(sink, format="JPEG", quality=quality, subsampling=0, comment=words)
    return sink.getvalue()


def draw_waves(rng: np.random.Generator, size: float) -> tuple[tuple[int, float, float], ...]:
    """Draw the waves of a hand-made curve: smaller for higher orders."""
    return tuple(
        (
            order,
            float(rng.normal(0.0, size / (order - 1))),
            float(rng.normal(0.0, size / (order - 1))),
        )
        for order in (2, 3, 4, 5)
    )


def draw_eye(rng: np.random.Generator, difficulty: Difficulty | int) -> PhotographedEye:
    """Draw an eye with an implant behind a hand-made opening."""
    hard = hardness_of(difficulty)
    optic_mm = float(rng.choice((5.5, 6.0, 6.0, 6.5)))
    centre = rng.normal(0.0, hard.offset_mm, 2)
    side: Side = "right" if rng.random() < 0.5 else "left"
    opening = RoundShape(
        float(rng.normal(optic_mm / 2.0 - 0.36, 0.10)),
        (float(centre[0]), float(centre[1])),
        draw_waves(rng, hard.waves),
    )
    view, tilt = _draw_view(rng, side, hard.gaze_deg)
    return PhotographedEye(
        side=side,
        opening=opening,
        optic_diameter_mm=optic_mm,
        tilt_deg=view,
        lens_tilt_deg=tilt,
        gap_mm=float(rng.uniform(*hard.gap_mm)),
        corneal_radius_mm=float(rng.normal(7.7, 0.2)),
        optic_depth_mm=float(rng.normal(4.5, 0.25)),
        white_to_white_mm=float(rng.normal(11.7, 0.3)),
        working_distance_mm=float(rng.uniform(95.0, 115.0)),
    )


def draw_view_deg(rng: np.random.Generator, side: Side, gaze_deg: float) -> tuple[float, float]:
    """Draw where the optic's axis points from the view, examiner's (x, y): usually temporal.

    Axis and tilt of each eye scatter, and the gaze strays by ``gaze_deg`` in both directions.
    """
    return _draw_view(rng, side, gaze_deg)[0]


def _draw_view(
    rng: np.random.Generator, side: Side, gaze_deg: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Draw where the optic's axis points from the view, and the implant's own part of that."""
    axis = rng.normal(AXIS_TEMPORAL_DEG, AXIS_SD_DEG)
    tilt = rng.normal(TILT_TEMPORAL_DEG, TILT_SD_DEG)
    stray = rng.normal(0.0, gaze_deg)
    tilt_up, stray_up = rng.normal(0.0, TILT_SD_DEG), rng.normal(0.0, gaze_deg)
    view = examiner_from_nasal_superior(
        -float(axis + tilt + stray), float(tilt_up + stray_up), side
    )
    return view, examiner_from_nasal_superior(-float(tilt), float(tilt_up), side)


def apparent_scale(depth_mm: float, eye: PhotographedEye) -> float:
    """How large does a plane inside the eye appear to the camera? (relative units)

    One refracting surface between air and aqueous: object vergence -n/d, image vergence
    (n - 1)/R - n/d; the picture's scale is the magnification over the distance of the image
    (paraxial optics, any textbook).
    """
    power = (AQUEOUS_INDEX - 1.0) / eye.corneal_radius_mm
    towards = AQUEOUS_INDEX / depth_mm
    magnification = towards / (towards - power)
    return magnification / (eye.working_distance_mm + 1.0 / (towards - power))


def opening_against_optic(eye: PhotographedEye) -> float:
    """How much larger than the optic's rim does the opening appear, each at its own radius?

    Traced exactly: the nearer plane is enlarged less, but the cornea enlarges a rim that lies
    farther out less as well, so that the two nearly cancel; on the axis alone they would not. A
    schematic eye's cornea is taken, grown to this eye's radius.

    Examples
    --------
    >>> round(opening_against_optic(PhotographedEye("right", RoundShape(2.6))), 3)
    1.001
    """
    model = schematic_model(schematic_eye("navarro1985"))
    schematic_mm = -1.0 / model.cornea.steps[0].surface.curvature_x_per_mm
    grown = eye.corneal_radius_mm / schematic_mm
    edge_mm, rim_mm = eye.opening.radius_mm, 0.5 * eye.optic_diameter_mm
    depth_mm = eye.optic_depth_mm
    rings = np.array([[edge_mm, 0.0, eye.gap_mm - depth_mm], [rim_mm, 0.0, -depth_mm]]) / grown
    sight = Sight(model, EyePose(), Camera.in_front(eye.working_distance_mm / grown))
    edge_px, at_rim_px = sight.project(rings)[:, 0]
    return float((edge_px / edge_mm) / (at_rim_px / rim_mm))


def opening_seen(eye: PhotographedEye) -> tuple[float, tuple[float, float]]:
    """How large and how far aside is the opening shown, measured by the rim's ellipse?

    Traced like :func:`opening_against_optic`, but with the eye turned, the implant tilted and the
    opening off the middle as they are.

    Returns
    -------
    magnification : float
        Of its area, as a root, over that of the rim.
    shift_mm : (float, float)
        Its centre as shown less where it lies, examiner's (x, y) in the optic's plane.

    Examples
    --------
    >>> eye = PhotographedEye("right", RoundShape(2.6), tilt_deg=(-7.0, 0.0))
    >>> enlarged, (x, y) = opening_seen(eye)
    >>> round(enlarged, 3), round(x, 3), abs(round(y, 3))
    (1.001, -0.015, 0.0)
    """
    rim = _ring(0.5 * eye.optic_diameter_mm, (0.0, 0.0), 0.0)
    edge = _ring(eye.opening.radius_mm, eye.opening.centre_mm, eye.gap_mm)
    at_rim, at_edge = _projected(eye, rim), _projected(eye, edge)
    # What is linear over the rim is the picture's own scale and foreshortening.
    terms = np.column_stack([np.ones(len(rim)), rim[:, :2]])
    flat = np.linalg.lstsq(terms, at_rim, rcond=None)[0]
    shown = np.linalg.solve(flat[1:].T, (at_edge - at_rim.mean(axis=0)).T).T
    area, centre = area_and_centroid(shown)
    rim_area, middle = area_and_centroid(
        np.linalg.solve(flat[1:].T, (at_rim - at_rim.mean(axis=0)).T).T
    )
    size = math.sqrt(area / rim_area) * 0.5 * eye.optic_diameter_mm / eye.opening.radius_mm
    x, y = centre - middle - np.asarray(eye.opening.centre_mm)
    return size, (float(x), float(y))


def _ring(radius_mm: float, centre_mm: tuple[float, float], before_mm: float) -> FloatArray:
    around = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
    x = centre_mm[0] + radius_mm * np.cos(around)
    return np.column_stack(
        [x, centre_mm[1] + radius_mm * np.sin(around), np.full(len(around), before_mm)]
    )


def _projected(eye: PhotographedEye, points_mm: FloatArray) -> FloatArray:
    """Return where points (n, 3) of the optic's frame are seen, right and up."""
    model = schematic_model(schematic_eye("navarro1985"))
    schematic_mm = -1.0 / model.cornea.steps[0].surface.curvature_x_per_mm
    grown = eye.corneal_radius_mm / schematic_mm
    tilt_rad, view_rad = np.radians(eye.lens_tilt_deg), np.radians(eye.tilt_deg)
    turn_x, turn_y = (view_rad - tilt_rad) / LEFT_INSIDE
    placed = points_mm @ tilt_rotation(*tilt_rad).T - [0.0, 0.0, eye.optic_depth_mm]
    camera = Camera.in_front(eye.working_distance_mm / grown)
    sight = Sight(model, EyePose((float(turn_x), float(turn_y))), camera)
    return np.asarray(sight.project(placed / grown) * [1.0, -1.0])


def draw_scene(
    rng: np.random.Generator, eye: PhotographedEye, difficulty: Difficulty | int
) -> PhotoScene:
    """Draw camera, light, pupil and clutter for an eye."""
    hard = hardness_of(difficulty)
    px_per_mm = float(rng.uniform(97.0, 114.0))
    shift = rng.normal(0.0, 28.0, 2)
    away = rng.normal(0.0, hard.pupil_offset_mm, 2)
    pupil = RoundShape(
        float(rng.uniform(*hard.pupil_mm)),
        (float(away[0]), float(away[1])),
        draw_waves(rng, 0.5 * hard.waves),
    )
    optic = apparent_scale(eye.optic_depth_mm, eye)
    enlarged, aside_mm = opening_seen(eye)
    limbus_mm = 0.5 * eye.white_to_white_mm / (optic * (eye.working_distance_mm + 3.0))
    toric = rng.random() < 0.4
    return PhotoScene(
        side=eye.side,
        frame=PictureFrame(90.0),
        px_per_mm=px_per_mm,
        optic_centre_px=(700.0 + float(shift[0]), 525.0 + float(shift[1])),
        optic_diameter_mm=eye.optic_diameter_mm,
        tilt_deg=eye.tilt_deg,
        gap_mm=eye.gap_mm,
        opening_magnification=enlarged,
        opening_shift_mm=aside_mm,
        opening=eye.opening,
        pupil=pupil,
        limbus=RoundShape(limbus_mm, (0.6 * float(away[0]), 0.6 * float(away[1]))),
        lid_mm=float(rng.uniform(2.6, 3.4)) if hard.clutter > 4 and rng.random() < 0.3 else None,
        haptic_axis_deg=float(rng.uniform(0.0, 180.0)),
        toric_axis_deg=float(rng.uniform(0.0, 180.0)) if toric else None,
        toric_marks_per_end=3 if toric else 0,
        look=_draw_look(rng, hard),
    )


def _draw_look(rng: np.random.Generator, hard: Hardness) -> PhotoLook:
    """Draw light, contrast and clutter."""
    iris = IRISES[int(rng.integers(len(IRISES)))]
    return PhotoLook(
        iris_rgb=iris,
        reflex_rgb=REFLEXES[int(rng.integers(len(REFLEXES)))],
        capsule_veil=float(rng.uniform(*hard.veil)),
        opening_line=float(rng.uniform(*hard.line)),
        opening_line_change=hard.line_change,
        fibrosis=float(rng.uniform(0.0, hard.fibrosis)),
        optic_line=float(rng.uniform(0.16, 0.36)) * (0.8 if hard.clutter > 4 else 1.0),
        optic_shade_deg=float(rng.uniform(0.0, 360.0)),
        opacity=float(rng.uniform(*hard.opacity)),
        folds=int(rng.integers(0, hard.clutter + 1)),
        pearls=int(rng.integers(0, 4 * hard.clutter)) if hard.clutter > 1 else 0,
        dust=int(rng.integers(3, 12)),
        blur_px=float(rng.uniform(*hard.blur_px)),
        limbus_blur_px=float(rng.uniform(6.0, 14.0)),
        noise=float(rng.uniform(*hard.noise)),
        exposure=float(rng.uniform(0.85, 1.1)),
        lamps=_draw_lamps(rng, hard),
        jpeg_quality=int(rng.integers(*hard.quality)),
        trouble=_draw_trouble(rng, hard),
    )


def _draw_trouble(rng: np.random.Generator, hard: Hardness) -> Trouble:
    """Draw missing and whitened arcs, a second rim, texture, odd light and the camera's cast."""
    gaps = tuple(
        Arc(float(rng.uniform(0.0, 360.0)), float(rng.uniform(5.0, 22.0)))
        for _ in range(int(rng.integers(0, hard.missing + 1)))
    )
    white = Arc(float(rng.uniform(0.0, 360.0)), float(rng.uniform(40.0, 150.0)))
    cast = np.exp(rng.normal(0.0, hard.cast, 3))
    return Trouble(
        gaps=gaps,
        fibrosis_arc=white if rng.random() < 0.6 else None,
        second_rim=float(rng.uniform(*hard.second_rim)),
        second_rim_px=float(rng.uniform(6.0, 14.0)),
        mesh=float(rng.uniform(*hard.mesh)),
        slope=float(rng.uniform(-hard.slope, hard.slope)),
        gains_rgb=(float(cast[0]), float(cast[1]), float(cast[2])),
        compressed=hard.missing > 0,
    )


def _draw_lamps(rng: np.random.Generator, hard: Hardness) -> tuple[Lamp, ...]:
    """Draw the lamp's sharp image in the cornea and its hazy one in the implant."""
    style: Literal["disc", "slit", "ring"] = ("disc", "slit", "ring")[int(rng.integers(3))]
    bright = rng.normal(0.0, 0.35, 2)
    size_px = float(rng.uniform(*hard.lamp_px)) * (1.7 if style == "ring" else 1.0)
    cornea = Lamp(style, (float(bright[0]), float(bright[1])), size_px)
    if rng.random() < 0.3:
        return (cornea,)
    far = rng.normal(0.0, 0.9, 2)
    haze_px = float(rng.uniform(3.0, 8.0 + 2.0 * hard.clutter))
    strength = float(rng.uniform(0.4, 1.0))
    behind = Lamp(
        style, (float(far[0]), float(far[1])), 1.4 * size_px, haze_px, strength, on_optic=True
    )
    return cornea, behind


def draw_sheet(rng: np.random.Generator, eye: PhotographedEye, scene: PhotoScene) -> PictureSheet:
    """Draw what the user knows about the picture: measured values with a user's errors."""
    return PictureSheet(
        side=eye.side,
        superior_deg=90.0,
        optic_diameter_mm=eye.optic_diameter_mm,
        optic_diameter_sd_mm=0.0,
        toric_marks_per_end=scene.toric_marks_per_end,
        working_distance_mm=round(eye.working_distance_mm + float(rng.normal(0.0, 2.0))),
        cornea=CorneaSheet(
            radius_mm=round(eye.corneal_radius_mm + float(rng.normal(0.0, 0.03)), 2)
        ),
        lengths=PictureLengths(
            white_to_white_mm=round(eye.white_to_white_mm + float(rng.normal(0.0, 0.1)), 1),
            lens_front_depth_mm=round(eye.optic_depth_mm + float(rng.normal(0.0, 0.05)), 2),
        ),
    )
