"""How sure a found rim is by that part of it which shows."""

import numpy as np

from rimwise.picture.rim import ALIKE_COLUMNS, COLUMNS, SETTINGS, Rim, rim_basis
from rimwise.picture.strip import directions_rad
from rimwise.terms.arrays import BoolArray, FloatArray

_CANDIDATE_SD = 0.05  # of its radius: circles that are voted for are told apart by that much


def covariance_where(rim: Rim, shows: BoolArray) -> FloatArray:
    """How sure is the rim (radius, shifts, ovalness) by what shows of it alone?

    Parameters
    ----------
    rim : Rim
    shows : array (720,) of bool

    Returns
    -------
    array (5, 5)
        The rim's own, widened. Where the line does not show, what was followed may be anything: it
        carries no weight here, and a short arc leaves the circle that it lies on in doubt.

    Examples
    --------
    >>> none = np.zeros(720)
    >>> rim = Rim(4.0, 1.0, 0.5, (700.0, 525.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none, none)
    >>> arc = np.arange(720) < 90
    >>> [round(float(np.sqrt(covariance_where(rim, shows)[0, 0])), 1) for shows in (arc, ~arc)]
    [8.4, 0.1]
    """
    basis = rim_basis(directions_rad(COLUMNS))
    scale = max(rim.residual_px, SETTINGS.place_sd_px)
    reach = _CANDIDATE_SD * rim.radius_px
    oval = SETTINGS.ovalness_sd * rim.radius_px
    prior = np.diag(1.0 / np.array([reach, reach, reach, oval, oval]) ** 2)
    seen = basis[shows]
    short = np.linalg.inv(seen.T @ seen / (ALIKE_COLUMNS * scale**2) + prior)
    return np.asarray(rim.covariance + short)
