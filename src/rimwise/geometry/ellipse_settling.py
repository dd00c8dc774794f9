"""From a starting ellipse down to the one of least squares, and the points that it rests on."""

import math

import numpy as np

from rimwise.geometry.ellipse_shape import distances_and_slopes
from rimwise.geometry.robust import (
    MAD_TO_SD,
    SETTINGS,
    inliers,
    lone_points,
    robust_sd,
    tukey_cost,
    tukey_weights,
)
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import MeasurementRefused


def settled(
    points: FloatArray, sd: FloatArray, shape: FloatArray, robust: bool, compiled: bool
) -> tuple[FloatArray, BoolArray]:
    """Find the shape of least squares and the points that it rests on."""
    used: BoolArray = np.ones(len(points), dtype=np.bool_)
    if not robust:
        down = (
            _descend(points, sd, shape) if compiled else _descend_plainly(points, sd, shape, None)
        )
        return down, used
    if compiled:
        return _settle_compiled(points, sd, shape)
    floor = 1e-9 * float(shape[2] / sd.max())
    scale = robust_sd(distances_and_slopes(points, shape)[0] / sd, floor)
    shape = _descend_plainly(points, sd, shape, scale)
    scale = robust_sd(distances_and_slopes(points, shape)[0] / sd, floor)
    previous = None
    while previous is None or not np.array_equal(used, previous):
        distance, slopes = distances_and_slopes(points, shape)
        z, near = distance / sd, inliers(distance / sd, scale)
        previous, used = used, near & ~lone_points(slopes / sd[:, None], near)
        _check_enough(used)
        shape = _descend_plainly(points[used], sd[used], shape, None)
        kept = z[used]
        smaller = max(float(np.sqrt(kept @ kept / max(len(kept) - 5, 1))), floor)
        if smaller >= scale:
            break
        scale = smaller
    return shape, used


def _settle_compiled(
    points: FloatArray, sd: FloatArray, shape: FloatArray
) -> tuple[FloatArray, BoolArray]:
    from rimwise.geometry.compiled_ellipse import settle  # noqa: PLC0415 - half a second

    to = (MAD_TO_SD, SETTINGS.tukey, SETTINGS.inlier, SETTINGS.leverage)
    shape, used = settle(points, np.ascontiguousarray(sd), shape, to)
    _check_enough(used)
    return np.asarray(shape), np.asarray(used)


def _check_enough(used: BoolArray) -> None:
    if int(used.sum()) < 6:
        raise MeasurementRefused(
            "no-ellipse", "too few points agree on one ellipse; choose points along one outline"
        )


def _descend(points: FloatArray, sd: FloatArray, shape: FloatArray) -> FloatArray:
    """Follow the squared distances down to their least value with compiled code."""
    from rimwise.geometry.compiled_ellipse import descend  # noqa: PLC0415 - half a second

    return np.asarray(descend(points, np.ascontiguousarray(sd), shape, math.inf, 1e-9 * shape[2]))


def _descend_plainly(
    points: FloatArray, sd: FloatArray, shape: FloatArray, scale: float | None
) -> FloatArray:
    """Follow the (robust, where a scale is given) squared distances down to their least value."""
    # A robust round only has to tell good points from bad; the last least squares is exact.
    enough = 1e-9 * shape[2] if scale is None else 0.01 * scale * float(sd.min())

    def cost(z: FloatArray) -> float:
        return 0.5 * float(z @ z) if scale is None else tukey_cost(z, scale) * scale**2

    damping = 0.0
    distance, slopes = distances_and_slopes(points, shape)
    z, least = distance / sd, cost(distance / sd)
    for _ in range(40):
        weights = 1.0 if scale is None else tukey_weights(z, scale)[:, None]
        scaled = slopes / sd[:, None]
        normal = scaled.T @ (weights * scaled)
        pull = scaled.T @ (weights * z[:, None])[:, 0]
        # The least damping bends no step that matters and keeps the equations regular.
        normal[np.diag_indices(5)] += (damping + 1e-13) * np.trace(normal) + 1e-300
        step = -np.linalg.solve(normal, pull)
        trial, small = shape + step, np.abs(step).max() < enough
        if trial[2] - math.hypot(trial[3], trial[4]) > 1e-6 * abs(trial[2]):
            moved, turned = distances_and_slopes(points, trial)
            value = cost(moved / sd)
            if value <= least:
                gained, least = least - value, value
                shape, z, slopes = trial, moved / sd, turned
                damping *= 0.2
                if small or gained < 1e-12 * least:
                    break
                continue
        damping = max(10.0 * damping, 1e-4)
        # At the bottom rounding decides whether a step gains: no reason to try smaller ones.
        if small or damping > 1e6:
            break
    return shape
