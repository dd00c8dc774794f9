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
    beside_other : float
        Within this share of the radius from another known line (the rim beside the edge) its
        own bend is no ground texture.
    """

    least: float = 0.08
    over_ground: float = 4.6
    beside_other: float = 0.025
    along_columns: int = 13
    settle_columns: float = 5.0


SETTINGS = ContrastSettings()


def visible_line(
    planes: Planes,
    centre_px: tuple[float, float],
    radii_px: FloatArray,
    other_px: FloatArray | None = None,
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
    other_px : array (n,), optional
        Another known line about the same centre, which is no ground.

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
    ground = _ground(bend, radii_px, other_px)
    limit = np.maximum(SETTINGS.least, SETTINGS.over_ground * ground)
    return peak > limit, peak / limit


def _ground(bend: FloatArray, radii_px: FloatArray, other_px: FloatArray | None) -> FloatArray:
    """Return the usual bend beside the line, sd of a normal law; rows run about the line."""
    far = np.r_[0:8, len(bend) - 7 : len(bend)]
    beside = bend[far]
    columns = np.arange(bend.shape[1])
    if other_px is not None:
        offset = far - len(bend) // 2
        away = np.abs(radii_px[None, :] + offset[:, None] - other_px[None, :])
        beside = np.where(away < SETTINGS.beside_other * float(other_px.mean()), np.nan, beside)
    free = np.isfinite(beside).any(axis=0)
    if not free.any():
        return np.full(bend.shape[1], np.inf)
    middle = np.nanmedian(beside[:, free], axis=0) / 0.6745
    ground = np.interp(columns, columns[free], middle, period=bend.shape[1])
    return np.asarray(gaussian_filter1d(ground, 4.0 * SETTINGS.settle_columns, mode="wrap"))
