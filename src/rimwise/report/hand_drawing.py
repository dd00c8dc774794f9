"""What of the found curves is seen, and what a hand placed, as points to be drawn."""

import numpy as np

from rimwise.measure.curves import directions_of, flags_of, oval_of, picture_rad, rim_basis
from rimwise.records.cover import CoverFinding
from rimwise.terms.arrays import FloatArray


def seen_optic(finding: CoverFinding) -> FloatArray | None:
    """Where along the optic's edge is it seen: points (361, 2), NaN where it is hidden?

    None where the finding does not keep which parts were seen.

    Examples
    --------
    >>> seen_optic(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")) is None
    True
    """
    curves = finding.curves
    if curves is None or curves.rim is None or finding.optic is None:
        return None
    rim = curves.rim.ellipse_px
    direction = directions_of(curves)
    radii = rim_basis(picture_rad(direction))[:, [0, 3, 4]] @ oval_of(rim)
    points = np.array([rim.cx, rim.cy]) + radii[:, None] * direction
    points[~flags_of(curves, "rim_seen")] = np.nan
    return np.vstack([points, points[:1]])


def placed_points(finding: CoverFinding) -> FloatArray:
    """Which points (n, 2) did a reader place, stored pixels?

    Examples
    --------
    >>> len(placed_points(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")))
    0
    """
    told = None if finding.correction is None else finding.correction.told
    pairs = () if told is None else (*told.opening_px, *told.optic_px)
    return np.asarray(pairs, dtype=np.float64).reshape(-1, 2)
