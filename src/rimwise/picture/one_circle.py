"""Which pieces of a line lie on one circle? An opening's edge does, whatever else shows a line."""

import numpy as np

from rimwise.picture.rim import COLUMNS
from rimwise.picture.strip import directions_rad
from rimwise.terms.arrays import BoolArray, FloatArray

_NEAR = 0.03  # of the rim's radius, 0.09 mm: waves of a hand-made opening stay below it
_LEAST_COLUMNS = 240  # a third of a turn: a shorter piece may be a fold's or a reflex's border
_PLACES = 11  # in each third of the line


def on_one_circle(found: BoolArray, radii_px: FloatArray, rim_radius_px: float) -> BoolArray:
    """Where does a line lie on that circle which most of it lies on?

    Parameters
    ----------
    found : array (720,) of bool
        Where a line was found, by half degrees round a turn.
    radii_px : array (720,)
        Its radius about the rim's centre.
    rim_radius_px : float

    Returns
    -------
    array (720,) of bool
        ``found`` without what lies off the circle; nothing where less than 120° lie on one.

    Notes
    -----
    Own derivation. A circle not far from the centre has the radius a + b cos θ + c sin θ there. Of
    those through three places of the line, eleven in each third of it, that one is taken which has
    most of the line near to it.

    Examples
    --------
    >>> found, radii = np.ones(720, dtype=np.bool_), np.full(720, 250.0)
    >>> radii[:100] = 190.0
    >>> int(on_one_circle(found, radii, 300.0).sum())
    620
    >>> int(on_one_circle(found & (np.arange(720) < 300), radii, 300.0).sum())
    0
    """
    at = np.flatnonzero(found)
    if len(at) < _LEAST_COLUMNS:
        return np.zeros_like(found)
    theta = directions_rad(COLUMNS)
    basis = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    thirds = np.array_split(at, 3)
    # One place from each third of what was found: three near ones tell no circle.
    places = [third[np.linspace(0, len(third) - 1, _PLACES).astype(int)] for third in thirds]
    drawn = np.stack(np.meshgrid(*places), axis=-1).reshape(-1, 3)
    circles = np.linalg.solve(basis[drawn], radii_px[drawn][..., None])[..., 0]
    away = np.abs(circles @ basis.T - radii_px)
    near = found & (away < _NEAR * rim_radius_px)
    best = near[int(near.sum(axis=1).argmax())]
    return np.asarray(best if best.sum() >= _LEAST_COLUMNS else np.zeros_like(found))
