"""Where could the pupil be? Blobs of a small picture, the likeliest first."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rimwise.picture.planes import Float32Array, Planes

_SMALL_LONG_SIDE_PX = 180
_LARGEST_SHARE = 0.75  # of the picture; more is the picture itself
_SMALLEST_SHARE = 0.006
_FULL_CREDIT_RADIUS = 0.2  # of the shorter side; smaller blobs are more often reflections
_COLOUR_NEEDED_GREY = 12.0
_DARK_TRUST = 0.4


@dataclass(frozen=True, slots=True)
class Seed:
    """A blob that may be the pupil, in working pixels."""

    likeness: float
    u_px: float
    v_px: float
    radius_px: float


def pupil_seeds(planes: Planes) -> list[Seed]:
    """Which blobs could be the pupil, likeliest first?

    Several maps (redness, red, brightness, darkness) are cut at several levels; a blob is the
    likelier, the rounder, the more solid, the larger and the stronger its step is.
    """
    step = max(1.0, max(planes.height_px, planes.width_px) / _SMALL_LONG_SIDE_PX)
    size = (max(8, round(planes.width_px / step)), max(8, round(planes.height_px / step)))
    small = cv2.resize(planes.grey, size, interpolation=cv2.INTER_AREA)
    glare = cv2.resize(planes.glare, size, interpolation=cv2.INTER_AREA) > 0.1
    small = cv2.inpaint(small, glare.astype(np.uint8), 2, cv2.INPAINT_TELEA)
    smooth = cv2.GaussianBlur(small.astype(np.float32), (0, 0), 1.5)
    seeds = [
        replace(seed, likeness=seed.likeness * trust)
        for trust, plane in _maps(smooth)
        for level in _levels(plane)
        for seed in _blobs(plane, level)
    ]
    scale = planes.width_px / size[0]
    seeds.sort(key=lambda seed: -seed.likeness)
    return [
        Seed(
            seed.likeness,
            (seed.u_px + 0.5) * scale - 0.5,
            (seed.v_px + 0.5) * scale - 0.5,
            seed.radius_px * scale,
        )
        for seed in seeds
    ]


def _maps(smooth: Float32Array) -> list[tuple[float, Float32Array]]:
    """Return maps with the trust put in them: a dark disc may as well be the iris."""
    red, blue, grey = smooth[..., 0], smooth[..., 2], smooth.mean(axis=-1)
    colour = red - blue
    if float(np.ptp(colour)) > _COLOUR_NEEDED_GREY:
        return [(1.0, colour), (1.0, red), (1.0, grey), (_DARK_TRUST, -grey)]
    return [(1.0, grey), (_DARK_TRUST, -grey)]


def _levels(plane: Float32Array) -> list[float]:
    low, high = (float(q) for q in np.percentile(plane, [0.5, 99.5]))
    if high - low < 1e-3:
        return []
    bytes_ = np.clip((plane - low) / (high - low) * 255.0, 0.0, 255.0).astype(np.uint8)
    middle, _ = cv2.threshold(bytes_, 0, 255, cv2.THRESH_OTSU)
    cuts = (middle, 0.7 * middle, middle + 0.35 * (255.0 - middle))
    return [low + cut / 255.0 * (high - low) for cut in cuts]


def _blobs(plane: Float32Array, level: float) -> list[Seed]:
    binary = (plane > level).astype(np.uint8)
    contours, _ = cv2.findContours(binary, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    spread = float(plane.std()) + 1e-6
    found = [_blob(plane, contour, spread) for contour in contours]
    return [seed for seed in found if seed is not None]


def _blob(plane: Float32Array, contour: NDArray[np.int32], spread: float) -> Seed | None:
    area = float(cv2.contourArea(contour))
    if not _SMALLEST_SHARE * plane.size <= area <= _LARGEST_SHARE * plane.size:
        return None
    hull = cv2.convexHull(contour)
    hull_area = float(cv2.contourArea(hull))
    roundness = 4.0 * np.pi * hull_area / float(cv2.arcLength(hull, True)) ** 2
    mask = np.zeros(plane.shape, dtype=np.uint8)
    cv2.drawContours(mask, [contour], -1, 1, -1)
    kernel = np.ones((5, 5), dtype=np.uint8)
    rim_out = cv2.dilate(mask, kernel) > mask
    rim_in = mask > cv2.erode(mask, kernel)
    if not rim_out.any() or not rim_in.any():
        return None
    step = (float(plane[rim_in].mean()) - float(plane[rim_out].mean())) / spread
    radius = float(np.sqrt(hull_area / np.pi))
    credit = min(1.0, radius / (_FULL_CREDIT_RADIUS * min(plane.shape)))
    moments = cv2.moments(contour)
    return Seed(
        likeness=float(roundness**2 * (area / hull_area) ** 2 * np.tanh(step) * credit),
        u_px=moments["m10"] / area,
        v_px=moments["m01"] / area,
        radius_px=radius,
    )
