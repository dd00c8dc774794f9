"""What a tear of the opening's edge, followed or only feared, does to the law of cover."""

import numpy as np

from rimwise.geometry.arcs import runs_round
from rimwise.records.cover import Reason
from rimwise.stats.sampling import stream
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.frames import clock_hour

# Of the depth followed: sides are steep, tips narrow (16 own pictures of tears); and where a tear
# crosses the rim, its way is lost among the rim's own lines.
_DEPTH_SD, _LOST_SD_MM = 0.2, 0.06
# No source: that an edge which breaks off where nothing hides it is torn there, and so far
# beyond the rim at most; enough for no verdict on the whole, too little to call it bare.
_TORN, _BEYOND_MM = 0.3, 1.0
_WIDER_DEG = 2


def torn_errors(depth_mm: FloatArray, draws: int) -> FloatArray:
    """How may the cover in tears that were followed be wrong? Each as a whole, by its depth.

    Parameters
    ----------
    depth_mm : array (360,)
        How far each leads out of the edge's course; 0 elsewhere.
    draws : int

    Returns
    -------
    array (draws, 360)
        Errors of cover, mm.

    Examples
    --------
    >>> depth = np.zeros(360); depth[20:40] = 0.5
    >>> errors = torn_errors(depth, 800)
    >>> float(errors[:, 30].std().round(2)), float(np.abs(errors[:, 100]).max())
    (0.12, 0.0)
    """
    normal = stream(0, "tears followed").normal(size=(draws, 360))
    errors = np.zeros((draws, 360))
    for arc in runs_round(depth_mm > 0.0):
        sd_mm = np.hypot(_DEPTH_SD * depth_mm[arc], _LOST_SD_MM)
        errors[:, arc] = normal[:, arc[:1]] * sd_mm
    return errors


def tears_unseen(broken: BoolArray, cover_mm: FloatArray, draws: int) -> FloatArray:
    """By how much less is the optic covered where a tear may be that nothing shows?

    Parameters
    ----------
    broken : array (360,) of bool
        Where the edge breaks off in sight.
    cover_mm : array (360,)
        By the course between its ends.
    draws : int

    Returns
    -------
    array (draws, 360)
        0 or more, mm: in most draws nothing, in the others a tear of any depth to beyond the rim.

    Examples
    --------
    >>> broken = np.zeros(360, dtype=bool); broken[20:30] = True
    >>> lost = tears_unseen(broken, np.full(360, 0.4), 800)
    >>> bool(0.25 < (lost[:, 25] > 0.0).mean() < 0.35), float(lost.max().round(1))
    (True, 1.4)
    """
    chance = stream(0, "tears unseen").uniform(size=(2, draws, 360))
    lost = np.zeros((draws, 360))
    for arc in runs_round(broken):
        first = arc[:1]
        deepest = _BEYOND_MM + max(float(cover_mm[arc].max()), 0.0)
        depth = deepest * chance[1][:, first] * (chance[0][:, first] < _TORN)
        wider = np.arange(arc[0] - _WIDER_DEG, arc[0] + len(arc) + _WIDER_DEG) % 360
        lost[:, wider] += depth
    return lost


def tears_told(torn_px: FloatArray | None, broken: BoolArray | None) -> list[Reason]:
    """Where is the edge torn, and where may it be?

    Examples
    --------
    >>> broken = np.zeros(360, dtype=bool); broken[85:96] = True
    >>> tears_told(None, broken)[0].sentence[:52]
    "At 12 o'clock the opening's edge breaks off over 11°"
    """
    found = []
    if torn_px is not None and torn_px.any():
        hours = " and ".join(_hour(arc) for arc in runs_round(torn_px > 0.0))
        found.append(
            Reason(
                "edge-torn",
                f"At {hours} o'clock the opening's edge leaves its course outwards, as a tear "
                "does; it was followed, and its depth carries a wide ±: look, and place points on "
                "it (--points).",
            )
        )
    if broken is not None and broken.any():
        hours = " and ".join(_hour(arc) for arc in runs_round(broken))
        found.append(
            Reason(
                "edge-breaks-off",
                f"At {hours} o'clock the opening's edge breaks off over {int(broken.sum())}° where "
                "nothing hides it: a tear may lead to the optic's rim there, so that no whole "
                "cover is claimed and the least cover's ± is wide; look, and place points on the "
                "edge (--points).",
            )
        )
    return found


def _hour(arc: IntArray) -> str:
    middle = np.exp(1j * np.radians(arc)).mean()
    return f"{clock_hour(float(np.degrees(np.angle(middle)) % 360.0)):.0f}"
