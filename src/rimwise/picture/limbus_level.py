"""The limbus at the half level of its soft step, which a search among logarithms sets inside.

Iris goes over into sclera on a tenth of a millimetre and more. Logarithms rise most steeply on the
darker side of such a step, 0.05 mm inside of where half of the light is reached.
"""

from functools import lru_cache

import numpy as np

from rimwise.picture.across_ring import Steps, moved_by, profile_across, steps_tried
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.rings import Ring

_AWAY = np.arange(-0.11, 0.115, 0.01)  # of the radius
_MOVED = np.arange(-0.03, 0.0401, 0.005)  # how far the half level may lie from the step found
_WIDTHS = np.array([0.006, 0.010, 0.016, 0.025, 0.038])  # sd of the step, with the lens's blur


# Sclera is white: under a bulb of 3000 K that no camera allows for red is 2.0 times blue (Planck's
# law, encoded by 1/2.2), a yellowish one adds 1.2 times and blood on a part of it 1.4 times.
_REDDEST_LOG = 1.25


def white_outside(ring: Ring) -> bool:
    """Is what lies outside of this ring no redder than sclera is in any light?

    Examples
    --------
    >>> seen, level = np.ones(180, dtype=bool), np.full(180, 60.0)
    >>> outsides = (5.2, 4.9, 4.7), (5.2, 4.5, 3.6)
    >>> rings = [Ring((9.0, 9.0), level, seen, 0.3, 0.1, (4.0, 4.0, 4.0), one) for one in outsides]
    >>> [white_outside(ring) for ring in rings]
    [True, False]
    """
    return ring.outer[0] - min(ring.outer) <= _REDDEST_LOG


def at_half_level(planes: FramePlanes, ring: Ring) -> Ring:
    """Where is half of the light of the sclera reached, on the way out of the iris?

    Parameters
    ----------
    planes : FramePlanes
    ring : Ring
        The limbus, working pixels.

    Returns
    -------
    Ring
        All radii moved by one share; the same ring where no step is seen so.

    Notes
    -----
    Own derivation: the profile across the limbus, its median over all directions, is a step
    softened by a normal law with an even slope to either side; place and width are tried on a
    grid, the rest by least squares in red, green and blue at once.

    Examples
    --------
    >>> from scipy.ndimage import gaussian_filter
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((480, 640))
    >>> eye = np.where(np.hypot(u - 320.0, v - 240.0) < 180.0, 60.0, 180.0)
    >>> planes = frame_planes(Raster(gaussian_filter(eye, 4.0).astype(np.uint8)))
    >>> seen, even = np.ones(180, dtype=bool), (4.0, 4.0, 4.0)
    >>> ring = Ring((320.0, 240.0), np.full(180, 177.5), seen, 0.3, 0.1, even, even)
    >>> round(at_half_level(planes, ring).radius_px)
    180
    """
    steps = _steps()
    profile = profile_across(planes, ring, steps.away)
    if profile is None:
        return ring
    return moved_by(ring, steps.place(((steps.left @ profile) ** 2).sum(axis=(1, 2))))


@lru_cache(maxsize=1)
def _steps() -> Steps:
    return steps_tried(_AWAY, _MOVED, _WIDTHS)
