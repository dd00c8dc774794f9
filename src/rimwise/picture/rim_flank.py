"""The rim by the inner flank of its dark line: what lies beside the line outside draws it aside."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwise.picture.planes import Planes
from rimwise.picture.rim import COLUMNS, Rim, fit_oval, moved_oval, rim_basis
from rimwise.picture.rim import SETTINGS as RIM
from rimwise.picture.rim_strip import Oval
from rimwise.picture.strip import directions_rad, unroll
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class RimFlankSettings:
    """How the flank is read, with reasons.

    Parameters
    ----------
    along_columns : float
        One sd of the average along the rim, half degrees.
    reach_px, darkest_px : int, int
        How far inside of the line its bright side is looked for, and how far from the line that
        was followed the darkest place.
    depth : float
        Least depth of the flank, log brightness.
    even_columns : float
        One sd of the average along the rim of how far the darkest place lies from the flank.
    same_px : float
        So near to the darkest place the line that was followed is the same one.
    narrowest : float
        The share of directions in which the line is taken to be single.
    least_columns : int
        With less of a flank the rim stays where it was: a short arc does not tell where its line is
        single.
    left_px : float
        What a rear rim still draws the rim's middle aside by (practice pictures).
    """

    along_columns: float = 6.0
    reach_px: int = 9
    darkest_px: int = 8
    depth: float = 0.02
    even_columns: float = 12.0
    narrowest: float = 0.2
    same_px: float = 1.5
    least_columns: int = 300
    left_px: float = 0.25
    foot: float = 2.7


SETTINGS = RimFlankSettings()
_MARGIN_PX = 20


def settled_by_flank(planes: Planes, rim: Rim) -> Rim:
    """Where does a rim lie by the inner flank of its line?

    Parameters
    ----------
    planes : Planes
    rim : Rim
        As its dark line was followed.

    Returns
    -------
    Rim
        The same, moved, scaled and made oval; unchanged where too little of a flank shows.

    Notes
    -----
    Own derivation. An optic is some 0.2 mm thick at its edge (common practice, no source). Seen
    aslant, its rear rim looks out beside the front one on one side: a second dark line that blur
    makes one with the first, or a shade. The darkest place then lies between both, on that side
    only: an eye turned by 7 degrees draws the circle through it aside by 2 px, of 300, and makes it
    as much too large. The flank on the inner side, where the bright optic ends, is the front rim's
    own all the way round. How far inside of its line it lies is read where the line is narrowest.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> planes, none = planes_of(Raster(np.full((90, 120, 3), 90, dtype=np.uint8))), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (600.0, 450.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> settled_by_flank(planes, rim) is rim
    True
    """
    darkest, inside_px, shows = _flank(planes, rim)
    if shows.sum() < SETTINGS.least_columns:
        return rim
    flank_px = darkest - _MARGIN_PX - np.nan_to_num(inside_px)
    # Where the line bends most, as it was followed, a step draws it aside by a third as much.
    same = shows & (np.abs(rim.residuals_px - (darkest - _MARGIN_PX)) < SETTINGS.same_px)
    if same.sum() < SETTINGS.least_columns // 2:
        return rim
    width_px, spread_px = _narrowest(rim.residuals_px - flank_px, same)
    return _fitted(rim, np.asarray(flank_px + width_px), shows, spread_px)


def rim_foot_px(planes: Planes, rim: Rim) -> FloatArray:
    """How far inside of the rim does its own dark line reach, as blurred as the picture is?

    Parameters
    ----------
    planes : Planes
    rim : Rim

    Returns
    -------
    array (720,)
        Working pixels; 0 where too little of a flank shows all round.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> planes, none = planes_of(Raster(np.full((90, 120, 3), 90, dtype=np.uint8))), np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (600.0, 450.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> float(rim_foot_px(planes, rim).max())
    0.0
    """
    _, inside_px, shows = _flank(planes, rim)
    weight = shows.astype(np.float64)
    near = gaussian_filter1d(weight, SETTINGS.even_columns, mode="wrap")
    sums = gaussian_filter1d(weight * np.nan_to_num(inside_px), SETTINGS.even_columns, mode="wrap")
    usual = float(np.median(inside_px[shows])) if shows.any() else 0.0
    # Where little of the line shows, it is taken to be as wide as elsewhere.
    return np.asarray(SETTINGS.foot * (sums + 0.1 * usual) / (near + 0.1))


def _flank(planes: Planes, rim: Rim) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return the darkest rows, how far inside of them half the depth is reached, and where."""
    offset = np.arange(-_MARGIN_PX, _MARGIN_PX + 1)
    log = unroll(planes.log_grey, rim.centre_px, rim.radii_px[None] + offset[:, None])
    log = gaussian_filter1d(log, SETTINGS.along_columns, axis=1, mode="wrap")
    darkest = _darkest(log, rim)
    inside_px, depth = _to_flank(log, darkest)
    shows = rim.usable & (rim.strength > 1.0) & np.isfinite(inside_px) & (depth > SETTINGS.depth)
    return darkest, inside_px, shows


def _fitted(rim: Rim, found: FloatArray, shows: BoolArray, spread_px: float) -> Rim:
    """Return a rim fitted anew through places beside it, where those show."""
    basis = rim_basis(directions_rad(COLUMNS))
    oval = Oval(rim.centre_px, rim.radius_px, rim.oval_px, 0.0)
    found = np.where(shows, found, 0.0)
    shape, scale, covariance = fit_oval(basis, found, np.where(shows, rim.strength, 0.0), oval)
    # A step of brightness all round draws flank and line alike aside: what was held for that stays.
    covariance[0, 0] = max(covariance[0, 0] + RIM.aside_px**2 + spread_px**2, rim.covariance[0, 0])
    # Where both ways to read the line differ, either may be the better one.
    covariance[:3, :3] += np.diag((0.5 * shape[:3]) ** 2)
    covariance[1:3, 1:3] += np.diag([SETTINGS.left_px**2] * 2)
    placed = moved_oval(oval, shape)
    return replace(
        rim,
        centre_px=placed.centre_px,
        radius_px=placed.radius_px,
        oval_px=placed.oval_px,
        residual_px=scale,
        covariance=covariance,
        residuals_px=np.where(shows, found, rim.residuals_px) - basis @ shape,
    )


def _darkest(log: FloatArray, rim: Rim) -> IntArray:
    """Return the row of the darkest place near the line that was followed."""
    most = SETTINGS.darkest_px
    row = np.clip(np.rint(rim.residuals_px), -most, most).astype(np.int64) + _MARGIN_PX
    near = row[None] + np.arange(-2, 3)[:, None]
    columns = np.arange(COLUMNS)
    return np.asarray(near[log[near, columns].argmin(axis=0), columns])


def _to_flank(log: FloatArray, darkest: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return how far inside of the darkest place half of its depth is reached, and that depth."""
    columns = np.arange(COLUMNS)
    inwards = log[darkest[None] - np.arange(SETTINGS.reach_px + 1)[:, None], columns]
    depth = inwards.max(axis=0) - inwards[0]
    over = inwards >= inwards[0] + 0.5 * depth
    first = over.argmax(axis=0)
    before = np.maximum(first - 1, 0)
    low, high = inwards[before, columns], inwards[first, columns]
    share = (inwards[0] + 0.5 * depth - low) / np.maximum(high - low, 1e-9)
    return np.where(first > 0, before + share, np.nan), depth


def _narrowest(width_px: FloatArray, shows: BoolArray) -> tuple[float, float]:
    """Return how far a single line lies from its flank, and how uncertain that is."""
    weight = shows.astype(np.float64)
    near = gaussian_filter1d(weight, SETTINGS.even_columns, mode="wrap")
    even = gaussian_filter1d(weight * width_px, SETTINGS.even_columns, mode="wrap") / np.maximum(
        near, 1e-9
    )
    low, here, high = np.quantile(even[near > 0.5], np.array([0.5, 1.0, 1.5]) * SETTINGS.narrowest)
    return float(here), 0.5 * float(high - low)
