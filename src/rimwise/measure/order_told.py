"""Does a photograph tell that an edge lies before the optic, and is the opening's at all?"""

import numpy as np

from rimwise.measure.edges import Edges
from rimwise.measure.ruler import optic_ruler
from rimwise.published.load import published_value
from rimwise.records.cover import Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused

LEAST_ARC_DEG = 30  # less cover that a reader can verify tells nothing of the whole
INSIDE_RIM = 0.035  # of the rim's radius: what runs nearer to it, or outside, may be a haptic
# Of the rim's radius: 0.15, 0.03 and 0.006 mm.
_LINES_APART, _EVEN, _VERY_EVEN = 0.05, 0.01, 0.002
_MOSTLY = 0.75
ORDER_NOT_TOLD = "order-not-told"
IN_DOUBT = Reason(
    ORDER_NOT_TOLD,
    "The picture does not tell whether this edge lies before the optic or behind it, as a laser "
    "opening or a captured optic's does; cover by direction holds only if it lies before. Focus on "
    "the optic's edge and dilate more, or confirm the edge with --points.",
)


def check_two_edges(edges: Edges) -> None:
    """Refuse two lines of one edge that pass for both: they keep one distance all the way round.

    Parameters
    ----------
    edges : Edges

    Raises
    ------
    MeasurementRefused
        The edge found follows the rim closely and evenly, over half the way or more, or very
        evenly on a quarter of the way where a reader can verify both.

    Notes
    -----
    Where the iris hides the optic's rim, the opening's edge is the only one in the pupil, and its
    dark line and its bright one are taken for the two. Own derivation of the limits: an edge has
    lines as far apart as it is thick or blurred, below 0.15 mm. Of invented eyes, drawn from
    published sizes and decentrations of openings, none in 4,900 has an edge so near to the rim that
    keeps its distance to 0.03 mm over three quarters of its way, and five in 7,000 have one that
    keeps it to 0.006 mm over a quarter.
    """
    off = edges.opening_px / edges.rim_px - 1.0
    quarters = (np.arange(0, 360, 10)[:, None] + np.arange(90)) % 360
    both = [off[quarter][edges.both_seen[quarter]] for quarter in quarters]
    if _mostly_even(off[edges.opening_found]) or any(_even(q, 80, _VERY_EVEN) for q in both):
        raise MeasurementRefused(
            "one-edge-only",
            "Only one edge is in sight: the two lines found keep the same distance, as the two "
            "sides of a single edge do, and the iris may hide the optic's rim; dilate the pupil "
            "more, or place points on both edges (--points).",
        )


def _mostly_even(off: FloatArray) -> bool:
    """Return whether an edge keeps its distance but where it strays, to a haptic's border say."""
    if off.size < 180:
        return False
    usual = float(np.median(off))
    return abs(usual) < _LINES_APART and float((np.abs(off - usual) < _EVEN).mean()) > _MOSTLY


def _even(off: FloatArray, least_deg: int, most: float) -> bool:
    if off.size < least_deg:
        return False
    return abs(float(off.mean())) < _LINES_APART and float(off.std()) < most


def order_in_doubt(edges: Edges) -> bool:
    """Could this be another edge? Along the optic's rim there is none but an opening's.

    Parameters
    ----------
    edges : Edges

    Returns
    -------
    bool
        A laser opening ends far inside the rim, a captured optic's edge on part of its way, and far
        outside of it the iris begins: there the colours must tell that a sheet lies before the rim.
    """
    away = np.abs(edges.opening_px / edges.rim_px - 1.0) > 2.0 * INSIDE_RIM
    far = int((edges.opening_found & away).sum())
    return edges.before_optic is None and far >= LEAST_ARC_DEG


def check_no_laser_opening(edges: Edges, sheet: PictureSheet) -> None:
    """Refuse a doubtful edge that lies as a laser's opening does.

    Parameters
    ----------
    edges : Edges
    sheet : PictureSheet

    Raises
    ------
    MeasurementRefused
        It is no larger than a laser's opening.
    """
    share = (edges.opening_px / edges.rim_px)[edges.opening_found]
    if not share.size:
        return  # that nothing was found is said where it counts
    usual = published_value("photograph", "laser_opening")
    edge_mm = 0.5 * optic_ruler(edges, sheet).diameter_mm * float(np.median(share))
    if 2.0 * edge_mm < usual.value + 2.0 * (usual.sd or 0.0):
        raise MeasurementRefused(
            ORDER_NOT_TOLD,
            f"The edge that shows lies {edge_mm:.1f} mm from the optic's middle, as a laser "
            "opening's in the rear capsule does, and the picture does not tell whether it lies "
            "before the optic; focus on the opening's own edge, or place it with --points.",
        )
