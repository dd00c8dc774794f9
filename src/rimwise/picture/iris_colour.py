"""How far inside the pupil's margin does blur carry the iris's colour?"""

import numpy as np

from rimwise.geometry.medians import median
from rimwise.picture.planes import Planes
from rimwise.picture.strip import directions_rad, radius_about, unroll
from rimwise.terms.arrays import BoolArray, FloatArray

_COLUMNS = 360
# Radii of the rim: farther outside of it than the first, an edge must keep the second away from the
# iris, whose shadow and colour else pass for the start of capsule while the true edge lies behind.
_BEYOND_RIM, _OFF_IRIS = 0.03, 0.03


def clear_of_iris(edge: FloatArray, rim: FloatArray, margin: FloatArray) -> BoolArray:
    """Where is an edge no shadow of the iris's? Only beyond the rim can it be taken for one.

    Parameters
    ----------
    edge, rim, margin : array (n,)
        Radii of edge, rim and pupil's margin about the rim's centre, in mean radii of the rim.

    Examples
    --------
    >>> edge, one = np.array([0.9, 1.1, 1.1]), np.ones(3)
    >>> clear_of_iris(edge, one, np.array([0.91, 1.2, 1.12])).tolist()
    [True, True, False]
    """
    return np.asarray((edge < rim + _BEYOND_RIM) | (margin - edge > _OFF_IRIS))


def iris_colour_px(
    planes: Planes,
    curve_px: FloatArray,
    centre_px: tuple[float, float],
    sheet_px: int,
    noise: float,
) -> int:
    """From where inwards is the iris's colour less than noise?

    Parameters
    ----------
    planes : Planes
    curve_px : array (m, 2)
        The pupil's margin, working pixels.
    centre_px : (float, float)
        A point inside of it.
    sheet_px : int
        Rows over which a sheet's rise of whiteness is judged; the answer is no more than three
        times as many.
    noise : float
        Of that rise, log units.

    Returns
    -------
    int
        Pixels inside the margin; 0 where whiteness falls inwards all the way: no blur does that.

    Notes
    -----
    Own derivation: a camera's JPEG keeps one colour for two pixels each way and rounds it over
    sixteen, a lens blurs it, a small picture was enlarged: how far the iris's blue over red comes
    into the pupil is the picture's own. At the right place a sheet cut off there would rise by
    less than noise, in the median of all directions.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> import cv2
    >>> v, u = np.indices((1000, 1400))
    >>> disc = (np.hypot(u - 700.0, v - 500.0) < 300.0)[..., None]
    >>> eye = np.where(disc, (180.0, 90.0, 40.0), (90.0, 90.0, 90.0)).astype(np.uint8)
    >>> ring = np.radians(np.arange(0.0, 360.0, 5.0))
    >>> curve = np.array([700.0, 500.0]) + 300.0 * np.column_stack([np.cos(ring), np.sin(ring)])
    >>> soft = [planes_of(Raster(cv2.GaussianBlur(eye, (0, 0), sd))) for sd in (1.0, 4.0)]
    >>> [iris_colour_px(planes, curve, (700.0, 500.0), 6, 0.02) for planes in soft]
    [3, 9]
    """
    theta = directions_rad(_COLUMNS)
    rows = np.arange(4 * sheet_px + 1)
    radii = radius_about(curve_px, centre_px, theta) - rows[:, None]
    log = unroll(planes.log_rgb, centre_px, radii)
    clear = unroll(planes.glare, centre_px, radii) < 0.05
    white = log[..., 2] - log[..., 0]
    level = np.array(
        [median(row[seen]) for row, seen in zip(white, clear, strict=True) if seen.any()]
    )
    if len(level) < len(rows):
        return 0
    total = np.cumsum(level)
    within = (total[sheet_px:] - total[:-sheet_px]) / sheet_px  # mean of the rows further inside
    quiet = np.flatnonzero(level[:-sheet_px] - within < noise)
    return int(quiet[0]) if len(quiet) else 0
