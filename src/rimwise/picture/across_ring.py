"""The picture across a ring, and which softened step fits it best: place and width from a grid."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.rings import Ring
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import FloatArray

_LEAST_SEEN, _EVERY = 60, 2  # columns, and which of them are asked
_ERF = np.vectorize(math.erf, otypes=[np.float64])


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Softened steps to be tried, with an even slope to either side; lengths are radii.

    Parameters
    ----------
    away : array (n,)
        Where the profile is read, from the ring found.
    moved : array (m,)
        How far the step may lie from the ring found, evenly spaced.
    left : array (k, n, n)
        For each width and place in turn, what the fit leaves over of a profile.
    line : array (k, n)
        How deep a dark line on the step it finds; zeros where none is tried.
    free : int
        Numbers of a profile that the fit leaves free.
    """

    away: FloatArray
    moved: FloatArray
    left: FloatArray
    line: FloatArray
    free: int

    def place(self, cost: FloatArray) -> float | None:
        """Which place has the least cost (k,), between the grid's; None at its ends or nowhere."""
        best = int(cost.argmin())
        at = best % len(self.moved)
        if not np.isfinite(cost[best]) or at in (0, len(self.moved) - 1):
            return None
        before, here, after = cost[best - 1 : best + 2]
        bend = before - 2.0 * here + after
        fine = 0.5 * (before - after) / bend if np.isfinite(bend) and bend > 0.0 else 0.0
        return float(self.moved[at] + np.clip(fine, -1.0, 1.0) * (self.moved[1] - self.moved[0]))


def steps_tried(
    away: FloatArray, moved: FloatArray, widths: FloatArray, lined: bool = False
) -> Steps:
    """Which fits are tried of a step of these widths (sd) at these places?

    Parameters
    ----------
    away : array (n,)
    moved : array (m,)
    widths : array (w,)
    lined : bool
        Whether a dark line of the step's own width lies on it.

    Examples
    --------
    >>> away = np.linspace(-0.1, 0.1, 21)
    >>> steps = steps_tried(away, np.linspace(-0.02, 0.02, 9), np.array([0.01, 0.02]))
    >>> told = 40.0 + 90.0 / (1.0 + np.exp((0.008 - away) / 0.007))[:, None]
    >>> round(steps.place(((steps.left @ told) ** 2).sum(axis=(1, 2))), 3)
    0.008
    """
    width, place = (one.ravel()[:, None] for one in np.meshgrid(widths, moved, indexing="ij"))
    beyond = away[None, :] - place
    x = beyond / width
    columns = [np.minimum(beyond, 0.0), np.maximum(beyond, 0.0)]
    if lined:
        columns.insert(0, -np.exp(-0.5 * x**2))
    columns = [np.ones_like(x), 0.5 + 0.5 * _ERF(x / math.sqrt(2.0)), *columns]
    design = np.stack(columns, axis=2).astype(np.float64)
    inverse = np.asarray(np.linalg.pinv(design), np.float64)
    left = np.asarray(np.eye(len(away)) - design @ inverse, np.float64)
    line = inverse[:, 2] if lined else np.zeros(left.shape[:2])
    return Steps(away, moved, left, line, len(away) - len(columns))


def profile_across(planes: FramePlanes, ring: Ring, away: FloatArray) -> FloatArray | None:
    """Return the median grey value (n, 3) so far from a ring, None where too little of it is seen.

    All of it is higher by what keeps logarithms of black finite, which no step minds.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> planes = frame_planes(Raster(np.full((96, 128, 3), 40, dtype=np.uint8)))
    >>> seen, even = np.ones(180, dtype=bool), (4.0, 4.0, 4.0)
    >>> ring = Ring((64.0, 48.0), np.full(180, 20.0), seen, 0.3, 0.1, even, even)
    >>> profile_across(planes, ring, np.array([-0.1, 0.0])).round().tolist()
    [[48.0, 48.0, 48.0], [48.0, 48.0, 48.0]]
    """
    if int(ring.seen.sum()) < _LEAST_SEEN:
        return None
    centre = 0.5 * ring.centre_px[0] - 0.25, 0.5 * ring.centre_px[1] - 0.25
    radii = 0.5 * ring.radii_px[::_EVERY] * (1.0 + away[:, None])
    seen = np.flatnonzero(ring.seen[::_EVERY])
    strip = unroll(planes.log_half, centre, radii)
    # Blur adds light, not logarithms.
    return np.asarray(np.exp(np.median(strip[:, seen], axis=1)))


def moved_by(ring: Ring, share: float | None) -> Ring:
    """Return the ring with all radii longer by a share, the same ring where there is none."""
    return ring if share is None else replace(ring, radii_px=ring.radii_px * (1.0 + share))
