"""Can a reader verify this line with his own eyes? Contrast of a fine line against its ground."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from rimwise.picture.planes import Planes
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class ContrastSettings:
    """When a line counts as visible, with reasons.

    Parameters
    ----------
    least : float
        Second difference of log brightness, 4 % a side: a fine line fainter than that is not
        seen by a reader in a photograph at full size (common practice, no source).
    over_ground : float
        Times the spread of the same measure beside the line: rarer than 1 in 10,000 by chance.
    """

    least: float = 0.08
    over_ground: float = 4.6
    along_columns: int = 13
    settle_columns: float = 5.0


SETTINGS = ContrastSettings()


def visible_line(
    planes: Planes, centre_px: tuple[float, float], radii_px: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """In which directions is a line at these radii plain enough to be verified by eye?

    Parameters
    ----------
    planes : Planes
        The picture.
    centre_px : (float, float)
        Centre the radii refer to.
    radii_px : array (n,)
        The line, n directions counter-clockwise from picture right.

    Returns
    -------
    visible : array (n,) of bool
    contrast : array (n,)
        Contrast over the limit that applied; 1 is just visible.

    Notes
    -----
    Own derivation: the largest absolute second difference of brightness (spacing 3 px at 1400 px
    picture width) within 4 px of the line, against the same measure 8 px and more beside it.
    """
    reach = 20
    offset = np.arange(-reach, reach + 1)
    strip = unroll(planes.log_grey, centre_px, radii_px[None, :] + offset[:, None])
    strip = uniform_filter1d(strip, SETTINGS.along_columns, axis=1, mode="wrap")
    bend = np.abs(2.0 * strip[3:-3] - strip[:-6] - strip[6:])
    peak = gaussian_filter1d(bend[12:24].max(axis=0), SETTINGS.settle_columns, mode="wrap")
    ground = np.median(np.vstack([bend[:8], bend[-7:]]), axis=0) / 0.6745
    ground = gaussian_filter1d(ground, 4.0 * SETTINGS.settle_columns, mode="wrap")
    limit = np.maximum(SETTINGS.least, SETTINGS.over_ground * ground)
    return peak > limit, peak / limit
