"""Which lies in front, the whitish sheet or the disc? The disc's rim seen in two colours tells."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.planes import Planes
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.seam import Seam
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """Settings of the judgement, lengths in rim radii, with reasons.

    Parameters
    ----------
    clear : float
        The sheet's edge must run this far inside the rim, so that the two profiles are apart.
    reach, shoulder : float
        How far from the rim its profile is read, and from where on the ground beside it is.
    smooth_px : float
        Across the rim: as much as JPEG keeps of colour.
    beyond_seam, within_rim : tuple of float
        Bands on the inner side of the seam and of the rim where blue over red is read.
    arc_columns : int
        Half degrees that make one reading.
    least_columns, least_arcs : int
        With less of the rim under the sheet nothing is told.
    behind : float
        Share of the foretold loss below which the rim lies in front of the sheet: it is 0 there
        and 1 where the sheet is in front; whitening of the sheet's very edge foretells too much.
    sure_sd : float
        With a larger standard deviation of a share so small nothing is told.
    """

    clear: float = 0.06
    reach: float = 0.05
    shoulder: float = 0.035
    smooth_px: float = 2.5
    beyond_seam: tuple[float, float] = (0.010, 0.028)
    within_rim: tuple[float, float] = (0.036, 0.052)
    arc_columns: int = 24
    least_columns: int = 60
    least_arcs: int = 4
    behind: float = 0.25
    sure_sd: float = 0.15


SETTINGS = OrderSettings()


def sheet_before_rim(
    planes: Planes, rim: Rim, seam: Seam, found: BoolArray, rim_shows: BoolArray
) -> bool | None:
    """Does the sheet that begins at the seam lie in front of the rim?

    Parameters
    ----------
    planes : Planes
    rim : Rim
    seam : Seam
    found, rim_shows : array (720,) of bool
        Where the seam, and where the rim, stands out.

    Returns
    -------
    bool or None
        True before, False behind; None where the picture does not tell.

    Notes
    -----
    Own derivation. A sheet in front that scatters the share v of white light W turns a light I
    into I (1 - v) + v W, so that a line of contrast c behind it keeps c I (1 - v) / (I (1 - v) +
    v W). Taken in blue over red the share v drops out: the line's contrast falls in blue, against
    red, by the very factor by which blue over red rises where the sheet begins. A rim in front of
    the sheet keeps the same contrast in both colours.
    """
    inside = seam.radii_px < rim.radii_px - SETTINGS.clear * rim.radius_px
    used = found & rim_shows & inside
    if used.sum() < SETTINGS.least_columns:
        return None
    profile = _profile(planes, rim)
    whiter = _whiter(planes, rim, seam)
    readings = []
    for start in range(0, COLUMNS, SETTINGS.arc_columns):
        arc = slice(start, start + SETTINGS.arc_columns)
        chosen = used[arc]
        if 2 * chosen.sum() < SETTINGS.arc_columns:
            continue
        red, blue = profile[:, arc][:, chosen].mean(axis=1).T
        readings.append((blue @ red, red @ red, float(np.median(whiter[arc][chosen]))))
    if len(readings) < SETTINGS.least_arcs:
        return None
    share, sd = _share(np.array(readings))
    if share - 2.0 * sd > SETTINGS.behind:
        return True
    if sd > SETTINGS.sure_sd:
        return None
    return share > SETTINGS.behind


def _share(readings: FloatArray) -> tuple[float, float]:
    """Return how much of the foretold loss of blue contrast is there, and its sd (jackknife)."""
    count = len(readings)
    whole = readings.sum(axis=0)
    foretold = 1.0 - float(np.exp(-np.median(readings[:, 2])))
    if foretold <= 0.0:
        return 0.0, np.inf
    shares = (1.0 - (whole[0] - readings[:, 0]) / (whole[1] - readings[:, 1])) / foretold
    spread = float(np.sqrt((count - 1.0) / count * ((shares - shares.mean()) ** 2).sum()))
    return float((1.0 - whole[0] / whole[1]) / foretold), spread


def _profile(planes: Planes, rim: Rim) -> FloatArray:
    """Return the contrast across the rim against the ground beside it, red and blue."""
    reach = int(SETTINGS.reach * rim.radius_px)
    offset = np.arange(-reach, reach + 1)
    light = unroll(
        planes.grey.astype(np.float32), rim.centre_px, rim.radii_px[None] + offset[:, None]
    )[..., [0, 2]]
    light = gaussian_filter1d(light, SETTINGS.smooth_px, axis=0)
    beside = np.abs(offset) > SETTINGS.shoulder * rim.radius_px
    line = np.stack([np.ones(len(offset)), offset.astype(np.float64)], axis=1)
    ground = line @ np.tensordot(np.linalg.pinv(line[beside]), light[beside], axes=1).reshape(2, -1)
    return np.asarray(light / np.maximum(ground.reshape(light.shape), 1.0) - 1.0)


def _whiter(planes: Planes, rim: Rim, seam: Seam) -> FloatArray:
    """Return the log step of blue over red from within the seam to just within the rim.

    Not at the seam itself: a sheet's edge is often whiter than the sheet that crosses the rim.
    """
    ground = (seam.radii_px, SETTINGS.beyond_seam)
    sheet = (rim.radii_px, SETTINGS.within_rim)
    levels = []
    for radii, (near, far) in (ground, sheet):
        offset = np.arange(int(-far * rim.radius_px), int(-near * rim.radius_px))
        light = unroll(
            planes.grey.astype(np.float32), rim.centre_px, radii[None] + offset[:, None]
        )[..., [0, 2]]
        red, blue = np.log(light.mean(axis=0) + 1.0).T
        levels.append(blue - red)
    return np.asarray(levels[1] - levels[0])
