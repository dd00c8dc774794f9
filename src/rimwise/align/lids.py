"""How far may lids have drawn the middle of a limbus up or down?

A lid that lies over the limbus is as plain an edge as the limbus itself, and leaves it too low for
its width. Which of the two lids it was is not seen: the middle then lies off by up to half of the
missing height, to either side.
"""

import math

import numpy as np

from rimwise.align.looking import about, spread_of
from rimwise.picture.rings import Ring
from rimwise.terms.frames import PictureFrame


def drawn_by_lids_px(limbus: Ring, frame: PictureFrame) -> float:
    """Return the sd along superior, working pixels, that the limbus's shape tells of.

    Parameters
    ----------
    limbus : Ring
    frame : PictureFrame
        How the picture is held.

    Notes
    -----
    Own derivation: a middle anywhere within half of the missing height has an sd of that half over
    the root of three. Eyes differ by themselves: what is missing no more than that, or of a limbus
    that is seen all round, is their own shape.

    Examples
    --------
    >>> seen, level = np.arange(180) < 140, (3.0, 3.0, 3.0)
    >>> around = 2.0 * np.pi * np.arange(180) / 180.0
    >>> radii = 1.0 / np.hypot(np.cos(around) / 100.0, np.sin(around) / 83.0)
    >>> low = Ring((200.0, 200.0), radii, seen, 0.3, 0.1, level, level)
    >>> round(drawn_by_lids_px(low, PictureFrame(90.0)), 1)
    5.5
    """
    if limbus.seen_deg >= _WHOLE_DEG:
        return 0.0
    up, across = (
        frame.picture_from_examiner(np.array([way]))[0] for way in ((0.0, 1.0), (1.0, 0.0))
    )
    high, wide = (0.5 * float(np.ptp(limbus.curve_px @ way)) for way in (up, across))
    key = "limbus_height_over_width"
    missing, usual = max(0.0, about(key) * wide - high), spread_of(key) * wide
    return math.sqrt(max(0.0, missing**2 - usual**2) / 3.0)


_WHOLE_DEG = 330  # a lid hides a twelfth at least, where it reaches the limbus at all
