"""The pupil's margin beneath its dark pigment border.

The iris's pigment layer turns over at the margin and shows as a thin dark line, the ruff. A search
for the step between pupil and iris is drawn by that line to the brighter side; the line and the
step together tell where the margin is.
"""

from functools import lru_cache

import numpy as np

from rimwise.picture.across_ring import Steps, moved_by, profile_across, steps_tried
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.rings import Ring
from rimwise.terms.arrays import FloatArray

_AWAY = np.arange(-0.075, 0.0775, 0.005)  # of the radius
_MOVED = np.arange(-0.04, 0.0401, 0.0025)  # how far the margin may lie from the step found
_WIDTHS = np.array([0.007, 0.010, 0.014, 0.020])  # of the line, with the lens's blur
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
    steps = _steps()
    profile = profile_across(planes, ring, steps.away)
    return ring if profile is None else moved_by(ring, _offset(steps, profile))


@lru_cache(maxsize=1)
def _steps() -> Steps:
    return steps_tried(_AWAY, _MOVED, _WIDTHS, lined=True)


def _offset(steps: Steps, profile: FloatArray) -> float | None:
    """By which share of the radius does the margin lie off, None where no dark line is seen?"""
    depth = steps.line @ profile.mean(axis=1)
    over = ((steps.left @ profile) ** 2).sum(axis=(1, 2))
    cost = np.where(depth > 0.0, over, np.inf)
    best = int(cost.argmin())
    scatter = np.sqrt(cost[best] / (3 * steps.free))
    if not np.isfinite(cost[best]) or depth[best] < _DEEPER * scatter + _LEAST_GREY:
        return None
    return steps.place(cost)
