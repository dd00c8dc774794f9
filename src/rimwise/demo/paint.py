"""Soft edges, lines and random textures from which an invented photograph is put together."""

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.special import erfc

from rimwise.demo.scene import PlaneMap, RoundShape, TracedShape
from rimwise.terms.arrays import FloatArray

TABLE = 4096  # entries of the radius table: linear steps of 0.09°
_NOTHING_LEFT = 8.0  # erfc(8) is 1e-29: no colour is moved by it


def inside(distance_px: FloatArray, blur_px: float) -> FloatArray:
    """What share of each pixel lies inside an edge, seen through lens blur and the pixel itself?

    An edge blurred by a normal law is a normal distribution of the distance, so its half level
    lies exactly on the edge; a pixel's own width adds 1/12 px² to the variance.
    """
    total = math.hypot(blur_px, math.sqrt(1.0 / 12.0))
    away = np.asarray(distance_px / (total * math.sqrt(2.0)))
    share = (away < 0.0).astype(np.float64)
    near = np.flatnonzero(np.abs(away) < _NOTHING_LEFT)  # the rest is wholly inside or outside
    share.ravel()[near] = 0.5 * erfc(away.ravel()[near])
    return share


def line(distance_px: FloatArray, width_px: float) -> FloatArray:
    """How strong is a soft line of unit height along distance 0?"""
    return np.asarray(np.exp(-0.5 * (distance_px / width_px) ** 2))


def signed_distance_px(
    shape: RoundShape | TracedShape, plane: PlaneMap, u: FloatArray, v: FloatArray
) -> FloatArray:
    """How far, in pixels, does each pixel lie outside a curve? (negative inside)

    First order: exact on the curve and in slope across it, which is what edges need.
    """
    inverse = np.linalg.inv(plane.matrix)
    du, dv = u - plane.origin_px[0], v - plane.origin_px[1]
    x = inverse[0, 0] * du + inverse[0, 1] * dv - shape.centre_mm[0]
    y = inverse[1, 0] * du + inverse[1, 1] * dv - shape.centre_mm[1]
    radius = np.maximum(np.hypot(x, y), 1e-6)
    table_rad = np.linspace(-math.pi, math.pi, TABLE + 1)
    edge = shape.radius_at(table_rad)
    slope = np.gradient(edge, table_rad, edge_order=2)
    place = (np.arctan2(y, x) + math.pi) * (TABLE / (2.0 * math.pi))
    low = np.minimum(place.astype(np.int64), TABLE - 1)
    share = place - low
    rest = 1.0 - share
    if slope.any() or np.ptp(edge) > 0.0:
        edge_here = edge[low] * rest + edge[low + 1] * share
        tangential = -(slope[low] * rest + slope[low + 1] * share) / radius
        gx = (x - tangential * y) / radius
        gy = (y + tangential * x) / radius
    else:  # a circle: the same numbers without looking them up
        edge_here = edge[0] * rest + edge[0] * share
        gx, gy = x / radius, y / radius
    gu = inverse[0, 0] * gx + inverse[1, 0] * gy
    gv = inverse[0, 1] * gx + inverse[1, 1] * gy
    return np.asarray((radius - edge_here) / np.maximum(np.hypot(gu, gv), 1e-9))


def enlarge(small: FloatArray, width_px: int, height_px: int) -> FloatArray:
    """Enlarge a grid of values smoothly to a picture's size."""
    grid = Image.fromarray(small.astype(np.float32))
    return np.asarray(
        grid.resize((width_px, height_px), Image.Resampling.BICUBIC), dtype=np.float64
    )


def clouds(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> FloatArray:
    """Draw smooth random clouds, mean 0 and sd about 1, with lumps of ``cell_px``."""
    rows = max(2, math.ceil(shape[0] / cell_px) + 1)
    columns = max(2, math.ceil(shape[1] / cell_px) + 1)
    field = enlarge(rng.standard_normal((rows, columns)), shape[1], shape[0])
    return np.asarray((field - field.mean()) / max(float(field.std()), 1e-9))


def blend(
    under: FloatArray, over: FloatArray | tuple[float, float, float], share: FloatArray
) -> FloatArray:
    """Lay a colour over a picture, each pixel by its share in [0, 1]."""
    laid = np.asarray(over) - under
    for channel in range(laid.shape[-1]):  # three at a time are slower by half
        laid[..., channel] *= share
    laid += under
    return laid


def add_grain(colour: FloatArray, grain: NDArray[np.float32], noise: float) -> None:
    """Add a camera's noise in place, more where there is more light; ``grain`` has an sd of 1."""
    light = np.clip(colour, 0.0, 255.0)
    light /= 160.0
    light += 0.4
    np.sqrt(light, out=light)
    light *= noise * grain
    colour += light
