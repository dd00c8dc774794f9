"""The pupil's margin beneath its dark pigment border.

The iris's pigment layer turns over at the margin and shows as a thin dark line, the ruff. A search
for the step between pupil and iris is drawn by that line to the brighter side; the line and the
step together tell where the margin is.
"""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.rings import Ring
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import FloatArray

_REACH, _SPACING = 0.075, 0.005  # of the radius
_MOVED = np.arange(-0.04, 0.0401, 0.0025)  # how far the margin may lie from the step found
_WIDTHS = np.array([0.007, 0.010, 0.014, 0.020])  # of the line, with the lens's blur
_LEAST_SEEN, _EVERY = 60, 2  # columns, and which of them are asked
_DEEPER, _LEAST_GREY = 4.0, 3.0  # times what the fit leaves over, and grey: less is no line


def on_margin(planes: FramePlanes, ring: Ring) -> Ring:
    """Where does the margin run, if a dark line lies on the step that was found?

    Parameters
    ----------
    planes : FramePlanes
    ring : Ring
        The pupil's, working pixels.

    Returns
    -------
    Ring
        All radii moved by one share; the same ring where no dark line is seen.

    Notes
    -----
    Own derivation: the profile across the margin, its median over all directions, is a step and a
    line at one place with an even slope to either side; place and width are tried on a grid, the
    rest by least squares in red, green and blue at once.

    Examples
    --------
    >>> from scipy.ndimage import gaussian_filter
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((480, 640))
    >>> far = np.hypot(u - 320.0, v - 240.0)
    >>> lined = np.where(far < 150.0, 60.0, 120.0) - 40.0 * (np.abs(far - 150.0) < 2.0)
    >>> planes = frame_planes(Raster(gaussian_filter(lined, 1.5).astype(np.uint8)))
    >>> seen, even = np.ones(180, dtype=bool), (4.0, 4.0, 4.0)
    >>> ring = Ring((320.0, 240.0), np.full(180, 153.0), seen, 0.3, 0.1, even, even)
    >>> round(on_margin(planes, ring).radius_px)
    150
    """
    if int(ring.seen.sum()) < _LEAST_SEEN:
        return ring
    moved = _offset(_profile(planes, ring))
    return ring if moved == 0.0 else replace(ring, radii_px=ring.radii_px * (1.0 + moved))


def _profile(planes: FramePlanes, ring: Ring) -> FloatArray:
    """Return the median grey value across the margin, (rows, 3)."""
    centre = 0.5 * ring.centre_px[0] - 0.25, 0.5 * ring.centre_px[1] - 0.25
    radii = 0.5 * ring.radii_px[::_EVERY] * (1.0 + _away()[:, None])
    seen = np.flatnonzero(ring.seen[::_EVERY])
    strip = unroll(planes.log_half, centre, radii)
    # Blur adds light, not logarithms.
    return np.asarray(np.exp(np.median(strip[:, seen], axis=1)))


def _away() -> FloatArray:
    return np.arange(-_REACH, _REACH + 0.5 * _SPACING, _SPACING)


@lru_cache(maxsize=1)
def _designs() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return for each place and width what is left by the fit, the line's row, and the places."""
    width, place = (one.ravel()[:, None] for one in np.meshgrid(_WIDTHS, _MOVED, indexing="ij"))
    away = _away()[None, :] - place
    x = away / width
    step, dark = 0.5 + 0.5 * _ERF(x / math.sqrt(2.0)), -np.exp(-0.5 * x**2)
    columns = [np.ones_like(x), step, dark, np.minimum(away, 0.0), np.maximum(away, 0.0)]
    design = np.stack(columns, axis=2).astype(np.float64)
    inverse = np.asarray(np.linalg.pinv(design), np.float64)
    left = np.eye(x.shape[1]) - design @ inverse
    return left, np.asarray(inverse[:, 2], np.float64), np.asarray(place[:, 0], np.float64)


_ERF = np.vectorize(math.erf, otypes=[np.float64])


def _offset(profile: FloatArray) -> float:
    """By which share of the radius does the margin lie off, 0 where no dark line is seen?"""
    left, line, places = _designs()
    over = (left @ profile) ** 2
    depth = line @ profile.mean(axis=1)
    cost = np.where(depth > 0.0, over.sum(axis=(1, 2)), np.inf)
    best = int(cost.argmin())
    freedom = 3 * (profile.shape[0] - 5)
    scatter = np.sqrt(cost[best] / freedom)
    if not np.isfinite(cost[best]) or depth[best] < _DEEPER * scatter + _LEAST_GREY:
        return 0.0
    at = best % len(_MOVED)
    if at in (0, len(_MOVED) - 1):
        return 0.0
    before, here, after = cost[best - 1 : best + 2]
    bend = before - 2.0 * here + after
    fine = 0.5 * (before - after) / bend if np.isfinite(bend) and bend > 0.0 else 0.0
    return float(places[best] + np.clip(fine, -1.0, 1.0) * (_MOVED[1] - _MOVED[0]))
