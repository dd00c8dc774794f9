"""The limbus as several searches see it: their weighted mean, and how far they disagree."""

from dataclasses import replace

import numpy as np

from rimwise.picture.circles import Circle
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.ring_outline import COLUMNS, BandSettings
from rimwise.picture.rings import Ring, ring_near
from rimwise.picture.strip import directions_rad, radius_about

_WIDTHS = (0.05, 0.09)  # of the radius: narrower and wider strips than the band's own


def settled(planes: FramePlanes, first: Ring, start: Circle, band: BandSettings) -> Ring:
    """Where is the limbus, if it is looked for from elsewhere and in other strips too?

    Parameters
    ----------
    planes : FramePlanes
    first : Ring
        As it was found from a coarse circle, with the band's own width.
    start : Circle
        Another one to look about, as one about the pupil.
    band : BandSettings

    Returns
    -------
    Ring
        The mean of all outlines, each weighted by how well its centre is placed; how these centres
        differ counts in the sd of the mean's.

    Notes
    -----
    Own derivation: a limbus is a soft band among vessels, lids and rings of the iris, and two ways
    round may be nearly as plain. Which of them wins hangs on the start, the width and the last
    digit of a pixel; where searches disagree the truth is known no better than they do.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((480, 640))
    >>> eye = np.where(np.hypot(u - 320.0, v - 240.0) < 180.0, 60, 180).astype(np.uint8)
    >>> planes = frame_planes(Raster(eye))
    >>> band = BandSettings(reach=0.07, window=0.07, gap=0.05, harmonics=2, stiff=0.6)
    >>> first = ring_near(planes, Circle(3.0, 160.0, 120.0, 90.0), band)
    >>> found = settled(planes, first, Circle(3.0, 162.0, 120.0, 90.0), band)
    >>> round(found.radius_px), bool(found.centre_sd_px < first.centre_sd_px + 0.5)
    (180, True)
    """
    widths = (band.window, *_WIDTHS)
    others = [ring_near(planes, start, replace(band, window=width)) for width in widths]
    rings = [first, *(one for one in others if one is not None)]
    weights = np.array([1.0 / one.centre_sd_px**2 for one in rings])
    weights /= weights.sum()
    theta = directions_rad(COLUMNS)
    centres = np.array([one.middle_px for one in rings])
    u, v = (float(one) for one in weights @ centres)
    radii = np.array([radius_about(one.curve_px, (u, v), theta) for one in rings])
    apart = weights @ (centres - weights @ centres) ** 2
    own = weights @ np.array([one.centre_sd_px for one in rings])
    sd = float(np.hypot(own, np.sqrt(apart.mean())))
    return replace(first, centre_px=(u, v), radii_px=weights @ radii, centre_sd_px=sd)


def about(pupil: Ring, limbus: Ring) -> Circle:
    """Which circle about the pupil's centre is as wide as this limbus? Half-size pixels.

    Examples
    --------
    >>> seen, level = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> pupil = Ring((100.5, 80.5), np.full(180, 40.0), seen, 0.3, 0.1, level, level)
    >>> about(pupil, replace(pupil, centre_px=(110.5, 80.5), radii_px=np.full(180, 90.0)))
    Circle(score=0.0, u_px=50.0, v_px=40.0, radius_px=45.0)
    """
    u, v = (round(one, 6) for one in pupil.middle_px)
    return Circle(0.0, 0.5 * u - 0.25, 0.5 * v - 0.25, 0.5 * limbus.radius_px)
