"""What an invented photograph shows, in exact numbers, and the truth that follows from them.

The implant's optic is a flat disc seen at a tilt (an ellipse); the opening lies a little in
front of it, so it is seen shifted and at a slightly different scale (parallax).
"""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from rimwise.demo.trouble import Trouble
from rimwise.records.cover import EllipsePx
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.frames import PictureFrame, Side

CURVE_SAMPLES = 7200  # 0.05° apart: chords leave a 4 mm curve by less than 1e-6 mm


@dataclass(frozen=True, slots=True)
class RoundShape:
    """A nearly round closed curve: mean radius and waves about its own centre.

    Parameters
    ----------
    radius_mm : float
        Mean radius, above 0.
    centre_mm : tuple of float
        Examiner's (x, y) from the optic's centre.
    waves : tuple of (order, cosine, sine)
        Relative radial waves of order 2 and more.

    Examples
    --------
    >>> RoundShape(2.5).radius_at(np.array([0.0, 1.0])).tolist()
    [2.5, 2.5]
    """

    radius_mm: float
    centre_mm: tuple[float, float] = (0.0, 0.0)
    waves: tuple[tuple[int, float, float], ...] = ()

    def radius_at(self, angle_rad: FloatArray) -> FloatArray:
        """Return the radius, mm, in these directions about the shape's own centre."""
        relative = np.ones_like(angle_rad)
        for order, cosine, sine in self.waves:
            relative += cosine * np.cos(order * angle_rad) + sine * np.sin(order * angle_rad)
        return self.radius_mm * relative

    def points_mm(self, samples: int = CURVE_SAMPLES) -> FloatArray:
        """Return points (samples, 2) along the curve, counter-clockwise."""
        angle_rad = np.linspace(0.0, 2.0 * math.pi, samples, endpoint=False)
        unit = np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=1)
        return np.asarray(self.centre_mm + self.radius_at(angle_rad)[:, None] * unit)


@dataclass(frozen=True, slots=True)
class TracedShape:
    """A nearly round closed curve through given points, such as one seen through a cornea.

    Parameters
    ----------
    points : array, shape (n, 2)
        Star-shaped about their mean, in the unit of the plane they lie in.

    Examples
    --------
    >>> around = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    >>> shape = TracedShape(np.column_stack([2.0 * np.cos(around), 2.0 * np.sin(around)]))
    >>> round(float(shape.radius_at(np.array([0.3]))[0]), 3)
    2.0
    """

    points: FloatArray

    @property
    def centre_mm(self) -> tuple[float, float]:
        """Mean of the points."""
        x, y = self.points.mean(axis=0)
        return float(x), float(y)

    @property
    def radius_mm(self) -> float:
        """Mean distance of the points from their mean."""
        return float(np.hypot(*(self.points - self.centre_mm).T).mean())

    def radius_at(self, angle_rad: FloatArray) -> FloatArray:
        """Return the distance from the mean in these directions."""
        return radius_about(self.points - self.centre_mm, angle_rad)


@dataclass(frozen=True, slots=True)
class Lamp:
    """A lamp's mirror image: ``haze_px`` softens it; ``on_optic`` clips it by the optic's rim."""

    style: Literal["disc", "slit", "ring"]
    place_mm: tuple[float, float]
    radius_px: float
    haze_px: float = 1.0
    strength: float = 1.0
    on_optic: bool = False


@dataclass(frozen=True, slots=True)
class PhotoLook:
    """How the photograph looks: contrast, colour, clutter, noise. Lengths in px of the picture."""

    iris_rgb: tuple[float, float, float] = (84.0, 92.0, 100.0)
    sclera_rgb: tuple[float, float, float] = (122.0, 110.0, 106.0)
    reflex_rgb: tuple[float, float, float] = (184.0, 92.0, 44.0)
    capsule_rgb: tuple[float, float, float] = (150.0, 118.0, 104.0)
    capsule_veil: float = 0.22
    opening_line: float = 0.10
    opening_line_change: float = 0.3
    fibrosis: float = 0.0
    optic_line: float = 0.30
    optic_shade: float = 0.18
    optic_shade_deg: float = 300.0
    optic_dim: float = 0.08
    rim_glow: float = 0.4
    pupil_shade: float = 1.0
    unevenness: float = 0.18
    texture: float = 1.0
    opacity: float = 0.0
    folds: int = 0
    pearls: int = 0
    dust: int = 8
    blur_px: float = 1.1
    limbus_blur_px: float = 9.0
    noise: float = 1.5
    exposure: float = 1.0
    lamps: tuple[Lamp, ...] = ()
    jpeg_quality: int = 92
    trouble: Trouble = field(default_factory=Trouble)


@dataclass(frozen=True, slots=True)
class PhotoScene:
    """Everything that an invented photograph shows.

    ``tilt_deg`` is where the anterior end of the optic's axis points relative to the view,
    (x, y) of the examiner; ``gap_mm`` is how far the opening lies in front of the optic plane;
    ``opening_magnification`` is its apparent scale relative to that of the optic plane, and
    ``opening_shift_mm`` how far aside it is shown there, where that was traced: else gap and tilt
    tell.
    Pupil and limbus are given at the scale of the optic plane.
    """

    side: Side
    frame: PictureFrame = field(default_factory=PictureFrame)
    size_px: tuple[int, int] = (1400, 1050)
    px_per_mm: float = 108.0
    optic_centre_px: tuple[float, float] = (700.0, 525.0)
    optic_diameter_mm: float = 6.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    gap_mm: float = 0.0
    opening_magnification: float = 1.0
    opening_shift_mm: tuple[float, float] | None = None
    opening: RoundShape = field(default_factory=lambda: RoundShape(2.6))
    pupil: RoundShape = field(default_factory=lambda: RoundShape(3.6))
    limbus: RoundShape = field(default_factory=lambda: RoundShape(4.9))
    lid_mm: float | None = None
    haptic_axis_deg: float | None = 90.0
    toric_axis_deg: float | None = None
    toric_marks_per_end: int = 0
    look: PhotoLook = field(default_factory=PhotoLook)


@dataclass(frozen=True, slots=True)
class PlaneMap:
    """From millimetres in a plane of the eye (examiner's frame) to pixels: px = origin + M·mm."""

    matrix: FloatArray
    origin_px: FloatArray

    def px(self, points_mm: FloatArray) -> FloatArray:
        """Return pixels (..., 2) of points (..., 2) in mm."""
        return np.asarray(points_mm @ self.matrix.T + self.origin_px)

    def mm(self, points_px: FloatArray) -> FloatArray:
        """Return millimetres (..., 2) of pixels (..., 2)."""
        return np.asarray((points_px - self.origin_px) @ np.linalg.inv(self.matrix).T)


def _tilt(scene: PhotoScene) -> tuple[FloatArray, FloatArray]:
    """Return the plane's foreshortening (2, 2) and the sideways shift per mm of depth."""
    slope = np.tan(np.radians(scene.tilt_deg))
    size = float(np.hypot(*slope))
    if size == 0.0:
        return np.eye(2), np.zeros(2)
    along = slope / size
    tilt_rad = math.atan(size)
    shrink = np.eye(2) - (1.0 - math.cos(tilt_rad)) * np.outer(along, along)
    return shrink, math.sin(tilt_rad) * along


def optic_map(scene: PhotoScene) -> PlaneMap:
    """How does the optic plane project into the picture?"""
    shrink, _ = _tilt(scene)
    to_picture = scene.px_per_mm * scene.frame.picture_from_examiner(np.eye(2)).T
    return PlaneMap(to_picture @ shrink, np.array(scene.optic_centre_px))


def opening_map(scene: PhotoScene) -> PlaneMap:
    """How does the opening plane project into the picture, with its parallax?"""
    optic = optic_map(scene)
    if scene.opening_shift_mm is not None:
        # The centre is shown at its own place and the shift, not drawn away by the enlargement.
        kept = (1.0 - scene.opening_magnification) * np.asarray(scene.opening.centre_mm)
        aside = optic.matrix @ (kept + scene.opening_shift_mm)
        return PlaneMap(optic.matrix * scene.opening_magnification, optic.origin_px + aside)
    _, shift_per_mm = _tilt(scene)
    to_picture = scene.px_per_mm * scene.frame.picture_from_examiner(np.eye(2)).T
    shift_px = to_picture @ (scene.gap_mm * shift_per_mm)
    return PlaneMap(optic.matrix * scene.opening_magnification, optic.origin_px + shift_px)


def iris_map(scene: PhotoScene) -> PlaneMap:
    """How do pupil and limbus project into the picture?"""
    to_picture = scene.px_per_mm * scene.frame.picture_from_examiner(np.eye(2)).T
    return PlaneMap(to_picture, np.array(scene.optic_centre_px))


def radius_about(points: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """How far from the origin does a closed curve cross these directions?

    The curve must be crossed once by each ray (star-shaped about the origin).
    """
    around = np.arctan2(points[:, 1], points[:, 0])
    order = np.argsort(around)
    radius = np.hypot(points[:, 0], points[:, 1])[order]
    return np.interp(angle_rad, around[order], radius, period=2.0 * math.pi)


def seen_by_direction(scene: PhotoScene, points_px: FloatArray) -> FloatArray:
    """Where does a curve cross the examiner's directions 0..359° about the optic's centre?"""
    centre = np.array(scene.optic_centre_px)
    seen = scene.frame.examiner_from_picture(points_px - centre)
    angle_rad = np.radians(np.arange(360.0))
    radius = radius_about(seen, angle_rad)[:, None]
    unit = np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=1)
    return np.asarray(centre + scene.frame.picture_from_examiner(radius * unit))


@dataclass(frozen=True, slots=True)
class PhotoTruth:
    """The exact answers to what a measurement of the photograph is asked.

    Arrays run over the examiner's directions 0..359° about the centre of the optic's ellipse.
    Visibility: 0 hidden or below threshold, 1 faint, 2 plain.
    """

    cover_mm: FloatArray
    opening_px: FloatArray
    opening_visible: IntArray
    optic_visible: IntArray
    optic_ellipse_px: EllipsePx
    px_per_mm: float
    equivalent_diameter_mm: float
    area_mm2: float
    decentration_mm: tuple[float, float]

    @property
    def least_cover(self) -> tuple[float, int]:
        """The smallest cover, mm, and its direction in whole degrees."""
        at_deg = int(np.argmin(self.cover_mm))
        return float(self.cover_mm[at_deg]), at_deg


def cover_profile_mm(scene: PhotoScene) -> FloatArray:
    """How wide is the cover in the examiner's directions 0..359°? (convention 8)

    The opening is carried to the optic plane along the optic's axis; a direction is one seen
    in the picture, so it is first carried back through the foreshortening.

    Examples
    --------
    >>> scene = PhotoScene("right", opening=RoundShape(2.5, (0.2, 0.0)))
    >>> cover = cover_profile_mm(scene)
    >>> [round(float(cover[d]), 6) for d in (0, 180)]
    [0.3, 0.7]
    """
    seen_rad = np.radians(np.arange(360.0))
    seen = np.stack([np.cos(seen_rad), np.sin(seen_rad)], axis=1)
    shrink, _ = _tilt(scene)
    in_plane = seen @ np.linalg.inv(shrink).T
    angle_rad = np.arctan2(in_plane[:, 1], in_plane[:, 0])
    return scene.optic_diameter_mm / 2.0 - radius_about(scene.opening.points_mm(), angle_rad)


def area_and_centroid(points: FloatArray) -> tuple[float, FloatArray]:
    """What are area and centroid of a closed polygon? (shoelace formulas, any textbook)"""
    following = np.roll(points, -1, axis=0)
    cross = points[:, 0] * following[:, 1] - following[:, 0] * points[:, 1]
    area = float(cross.sum() / 2.0)
    return area, ((points + following) * cross[:, None]).sum(axis=0) / (6.0 * area)


def optic_ellipse_px(scene: PhotoScene) -> EllipsePx:
    """Which ellipse in pixels is the optic's rim?"""
    matrix = optic_map(scene).matrix * scene.optic_diameter_mm / 2.0
    axes, size, _ = np.linalg.svd(matrix)
    angle_deg = math.degrees(math.atan2(axes[1, 0], axes[0, 0])) % 180.0
    cx, cy = scene.optic_centre_px
    return EllipsePx(cx, cy, float(size[0]), float(size[1]), angle_deg)
