"""The picture unrolled around a centre: rows are radii, columns are directions.

Directions run counter-clockwise from picture right, column k of n at 360°·k/n.
"""

from functools import cache

import cv2
import numpy as np

from rimwise.picture.planes import Float32Array
from rimwise.terms.arrays import FloatArray


def directions_rad(count: int) -> FloatArray:
    """Which directions do the columns of a strip have?

    Examples
    --------
    >>> np.degrees(directions_rad(4)).round(9).tolist()
    [0.0, 90.0, 180.0, 270.0]
    """
    return 2.0 * np.pi * np.arange(count) / count


def unroll(plane: Float32Array, centre_px: tuple[float, float], radii_px: FloatArray) -> FloatArray:
    """What does the picture show at these radii around a centre?

    Parameters
    ----------
    plane : array (h, w) or (h, w, c) of float32
        One or more planes of the picture.
    centre_px : (float, float)
        Column and row of the centre.
    radii_px : array (rows, n)
        Radius of each sample.

    Returns
    -------
    array (rows, n) or (rows, n, c)
        Bilinear samples; outside the picture its border is repeated.

    Examples
    --------
    >>> ramp = np.tile(np.arange(9, dtype=np.float32), (9, 1))
    >>> unroll(ramp, (4.0, 4.0), np.full((1, 4), 2.0)).round(6).tolist()
    [[6.0, 4.0, 2.0, 4.0]]
    """
    return np.asarray(unrolled((plane,), centre_px, radii_px)[0], dtype=np.float64)


def unrolled(
    planes: tuple[Float32Array, ...], centre_px: tuple[float, float], radii_px: FloatArray
) -> list[Float32Array]:
    """Return what :func:`unroll` does for several planes, in the single precision they have.

    Examples
    --------
    >>> ramp = np.tile(np.arange(9, dtype=np.float32), (9, 1))
    >>> across, down = unrolled((ramp, ramp.T.copy()), (4.0, 4.0), np.full((1, 4), 2.0))
    >>> across.round(6).tolist(), down.round(6).tolist()
    ([[6.0, 4.0, 2.0, 4.0]], [[4.0, 2.0, 4.0, 6.0]])
    """
    cos, sin = _rays(radii_px.shape[1])
    u = (centre_px[0] + radii_px * cos).astype(np.float32)
    v = (centre_px[1] - radii_px * sin).astype(np.float32)
    way, border = cv2.INTER_LINEAR, cv2.BORDER_REPLICATE
    return [
        np.asarray(cv2.remap(plane, u, v, way, borderMode=border), dtype=np.float32)
        for plane in planes
    ]


@cache
def _rays(count: int) -> tuple[FloatArray, FloatArray]:
    """Return cosine and sine of the columns' directions."""
    theta = directions_rad(count)
    return np.cos(theta), np.sin(theta)


def inside_frame(
    shape: tuple[int, int], centre_px: tuple[float, float], radii_px: FloatArray
) -> FloatArray:
    """Which samples lie inside the picture (1) and which beyond its border (0)?

    Examples
    --------
    >>> inside_frame((20, 20), (9.0, 9.0), np.array([[5.0, 5.0], [12.0, 5.0]])).tolist()
    [[1.0, 1.0], [0.0, 1.0]]
    """
    to_border = min(
        centre_px[0] - 1, shape[1] - 2 - centre_px[0], centre_px[1] - 1, shape[0] - 2 - centre_px[1]
    )
    if max(float(radii_px.max()), -float(radii_px.min())) < to_border:
        return np.ones(radii_px.shape)  # mostly: nothing comes near the border
    cos, sin = _rays(radii_px.shape[1])
    u = centre_px[0] + radii_px * cos
    v = centre_px[1] - radii_px * sin
    return ((u > 1) & (u < shape[1] - 2) & (v > 1) & (v < shape[0] - 2)).astype(np.float64)


def smooth_along(strip: FloatArray, sd_columns: float) -> FloatArray:
    """Smooth a strip along its directions, which close upon themselves."""
    pad = min(strip.shape[1], int(4 * sd_columns) + 1)
    closed = np.hstack([strip[:, -pad:], strip, strip[:, :pad]])
    smooth = cv2.GaussianBlur(np.ascontiguousarray(closed), (0, 0), sigmaX=sd_columns, sigmaY=0.01)
    return np.asarray(smooth[:, pad:-pad])


def radial_mean(strip: FloatArray, first: int, last: int) -> FloatArray:
    """Return at each sample the mean over the rows from ``first`` to ``last`` away from it.

    Examples
    --------
    >>> radial_mean(np.array([[0.0], [1.0], [2.0], [3.0]]), 1, 2)[:2].ravel().tolist()
    [1.5, 2.5]
    """
    return radial_means(strip, (first, last))[0]


def radial_means(strip: FloatArray, *spans: tuple[int, int]) -> list[FloatArray]:
    """Return what :func:`radial_mean` does for several spans of one strip, which is summed once.

    Examples
    --------
    >>> inside, outside = radial_means(np.arange(4.0)[:, None], (-1, -1), (1, 1))
    >>> (outside - inside).ravel().tolist()
    [1.0, 2.0, 2.0, -2.0]
    """
    rows = strip.shape[0]
    before = max(0, -min(first for first, _ in spans))
    after = max(0, *(last + 1 for _, last in spans))
    # Sums of all rows above, gone on with at both ends so that each span is two parts of them.
    total = np.zeros((before + rows + 1 + after, strip.shape[1]))
    for row in range(rows):  # three times as quick as the library's running sum
        np.add(total[before + row], strip[row], out=total[before + row + 1])
    total[before + rows + 1 :] = total[before + rows]
    index = np.arange(rows)
    means = []
    for first, last in spans:
        low, high = before + first, before + last + 1
        mean = total[high : high + rows] - total[low : low + rows]
        count = np.minimum(index + last + 1, rows) - np.maximum(index + first, 0)
        mean /= np.maximum(count, 1)[:, None]
        means.append(mean)
    return means


def radius_about(
    curve_px: FloatArray, centre_px: tuple[float, float], theta_rad: FloatArray
) -> FloatArray:
    """How far is a star-shaped closed curve from a point, along given directions?

    Parameters
    ----------
    curve_px : array (m, 2)
        Points (column, row) in order around the curve.
    centre_px : (float, float)
        A point inside.
    theta_rad : array (n,)
        Directions counter-clockwise from picture right.

    Examples
    --------
    >>> square = np.array([[4.0, 2.0], [2.0, 0.0], [0.0, 2.0], [2.0, 4.0]])
    >>> radius_about(square, (2.0, 2.0), np.array([0.0, np.pi])).tolist()
    [2.0, 2.0]
    """
    du, dv = curve_px[:, 0] - centre_px[0], centre_px[1] - curve_px[:, 1]
    angle = np.arctan2(dv, du) % (2.0 * np.pi)
    order = np.argsort(angle)
    return np.asarray(
        np.interp(theta_rad, angle[order], np.hypot(du, dv)[order], period=2.0 * np.pi)
    )


def points_at(
    centre_px: tuple[float, float], theta_rad: FloatArray, radii_px: FloatArray
) -> FloatArray:
    """Return the points (n, 2) at these directions and radii from a centre."""
    return np.stack(
        [centre_px[0] + radii_px * np.cos(theta_rad), centre_px[1] - radii_px * np.sin(theta_rad)],
        axis=-1,
    )
