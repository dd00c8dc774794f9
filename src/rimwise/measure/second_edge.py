"""The edge that was compared with the one taken for the opening's, and why the choice fell."""

import numpy as np

from rimwise.measure.edges import Edges
from rimwise.picture.rim import COLUMNS
from rimwise.records.cover import FoundSecond


def second_of(edges: Edges) -> FoundSecond | None:
    """Which runner-up was there, about the rim's centre in the examiner's directions?"""
    rival = edges.rival
    if rival is None:
        return None
    right, down = edges.direction_px.T
    column = np.rint(np.arctan2(-down, right) * COLUMNS / (2.0 * np.pi)).astype(np.int64) % COLUMNS
    radii, found = edges.px * rival.radii_px[column], rival.found[column]
    return FoundSecond(
        tuple(float(r) if there else None for r, there in zip(radii, found, strict=True)),
        rival.found_deg,
        rival.inward_share,
        rival.taken_before,
        rival.counted,
    )


def why_taken(second: FoundSecond) -> str:
    """Why was the other one taken for the opening's edge?

    Examples
    --------
    >>> why_taken(FoundSecond((None,) * 360, 40, 0.1, True, counted=False))
    'the runner-up stands out over less than a quarter of the turn, as folds and haptics do'
    """
    if not second.counted:
        return (
            "the runner-up stands out over less than a quarter of the turn, as folds and haptics do"
        )
    if second.taken_before:
        return "the optic's rim shows through what begins at the one taken, not at the other"
    if second.inward_share > 0.0:
        return "it is the outer one, and a laser opening is cut inside of the front one"
    return "what begins at the outer one lies behind the optic"
