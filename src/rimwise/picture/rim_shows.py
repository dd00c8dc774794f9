"""In which directions does a found rim show? Its place is known, so that a longer look is fair."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.contrast import passed
from rimwise.picture.planes import Planes
from rimwise.picture.rim import Rim
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class RimShowsSettings:
    """When the rim is claimed to show, with reasons.

    Parameters
    ----------
    strength : float
        Noise levels of the followed line, averaged along the rim, with which it shows by itself.
    with_darkness, darkness : float, float
        With fewer it shows where, besides, it is darker than both its sides by so much, in log
        brightness: the contrast at which a fine line on an even ground begins to be seen.
    along_columns : float
        One sd of the averages along the rim, half degrees: some 10° in all, the width of the
        narrowest things that hide a rim (a haptic, a reflex's border, a fold).
    clear_columns : int
        Half degrees beside the iris or a reflex in which the rim is not claimed: it dives under
        the margin at a grazing angle, and the margin's own shadow continues its line.
    reach_px, other_px : int, int
        How far the sides are read, and how near to the opening's edge they are not.

    Notes
    -----
    The thresholds are those of least cost on 190 own renders of levels 2 to 4, a third of them with
    rims that fade by direction, where a hidden direction claimed (painted contrast below 2 %) costs
    as much as two and a half plain ones missed (6 % and more), as the bars of 2 and 5 % stand to
    each other. The optimum is flat. Against the second difference of brightness, which a step alone
    raises as well, both errors fell: of plain directions 5.4 % were missed and now 1.8 %, of hidden
    ones off the iris and off reflexes 40 % were claimed and now 22 %.
    """

    strength: float = 2.5
    with_darkness: float = 1.0
    darkness: float = 0.01
    along_columns: float = 8.0
    clear_columns: int = 5
    reach_px: int = 10
    other_px: int = 5


SETTINGS = RimShowsSettings()


def rim_shows(planes: Planes, rim: Rim, edge_px: FloatArray) -> BoolArray:
    """In which directions does the rim show so that a reader can verify it?

    Parameters
    ----------
    planes : Planes
    rim : Rim
    edge_px : array (720,)
        Radius of the opening's edge about the rim's centre, infinite where none was found: beside
        the rim it is no side's level.

    Returns
    -------
    array (720,) of bool

    Notes
    -----
    Own derivation. A free line must stand out of all that could be taken for it; the rim's place is
    known from the rest of the circle, and what is asked is only whether anything shows there. The
    line's strength along it, in noise levels, answers; where texture makes the noise large, a line
    darker than both its sides answers too. The border of a haze or of a shadow is a step, darker
    than one side only.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> planes, none = planes_of(Raster(np.full((90, 120, 3), 90, dtype=np.uint8))), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (600.0, 450.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> int(rim_shows(planes, rim, none + 250.0).sum())
    0
    """
    near = rim.strength * np.exp(-((rim.residuals_px / 4.0) ** 2))
    steady = gaussian_filter1d(near, SETTINGS.along_columns, mode="wrap")
    darker = _darker(planes, rim, edge_px) > SETTINGS.darkness
    shows = (steady > SETTINGS.strength) | ((steady > SETTINGS.with_darkness) & darker)
    clear = SETTINGS.clear_columns
    usable = np.logical_and.reduce([np.roll(rim.usable, k) for k in range(-clear, clear + 1)])
    return np.asarray(usable & shows)


def _darker(planes: Planes, rim: Rim, edge_px: FloatArray) -> FloatArray:
    """Return by how much the darkest place at the rim lies below both its sides."""
    radii = rim.radii_px[None] + np.arange(-SETTINGS.reach_px, SETTINGS.reach_px + 1)[:, None]
    strip = unroll(planes.log_grey, rim.centre_px, radii)
    strip = gaussian_filter1d(strip, SETTINGS.along_columns, axis=1, mode="wrap")
    dark, _, _ = passed(strip, np.abs(radii - edge_px) < SETTINGS.other_px)
    return np.nan_to_num(dark)
