"""Axes of the implant in the examiner's frame."""

import math

import numpy as np

from rimwise.measure.edges import Edges
from rimwise.records.cover import Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import axis_deg

_SURE = 9.0  # strength times lead; texture reaches it in 1 of 50 pictures, without facing dots
_DOT_SD_PX = 0.8  # where in a blurred dot its centre lies
_TILT_SD_DEG = 0.15  # what the ellipse's own error and perspective turn an axis by
# Slant and root of a band trade against each other: own renders scatter by 0.5, others by up to 7.
_ROOT_SD_DEG = 4.0


def implant_toric_axis(edges: Edges) -> Estimate | None:
    """Along which meridian do the toric marks lie, degrees in (0, 180]?

    Notes
    -----
    Own derivation: the line from the middle of one end's dots to the middle of the other's needs
    no centre. The rim is a circle seen as an ellipse; stretching the picture until it is one again
    takes off what tilt does to the axis.
    """
    marks = edges.marks
    if marks is None or marks.strength * marks.lead < _SURE:
        return None
    across = stretched(marks.first_px - marks.second_px, edges)
    along = across.mean(axis=0)
    right, up = edges.direction_px[0], edges.direction_px[90]
    axis = math.degrees(math.atan2(float(along @ up), float(along @ right))) % 180.0
    place = _DOT_SD_PX * edges.px * math.sqrt(2.0 / len(across)) / float(np.hypot(*along))
    sd = math.hypot(math.degrees(place), _TILT_SD_DEG)
    return Estimate(axis or 180.0, sd, "toric marks, weak meridian")


def one_mark(sheet: PictureSheet) -> tuple[Reason, ...]:
    """Say why of an implant with one mark at each end no axis is told.

    Examples
    --------
    >>> [len(one_mark(PictureSheet("left", toric_marks_per_end=count))) for count in (0, 1, 2)]
    [0, 1, 0]
    """
    if sheet.toric_marks_per_end != 1:
        return ()
    return (
        Reason(
            "one-mark-an-end",
            "The sheet says one toric mark at each end; two specks of dust pass for that, so that "
            "no axis is told: read it by hand.",
        ),
    )


def found_haptic_axis(edges: Edges) -> Estimate | None:
    """Along which meridian do the haptics' roots lie, degrees in (0, 180]? None where unseen."""
    if edges.haptics is None:
        return None
    angle = edges.haptics.angle_rad
    along = stretched(np.array([[math.cos(angle), -math.sin(angle)]]), edges)[0]
    right, up = edges.direction_px[0], edges.direction_px[90]
    axis = math.degrees(math.atan2(float(along @ up), float(along @ right)))
    return Estimate(axis_deg(axis), _ROOT_SD_DEG, "both haptics as found")


def stretched(vectors: FloatArray, edges: Edges) -> FloatArray:
    """Return vectors (n, 2) in a picture in which the rim would be a circle."""
    rim = edges.rim_ellipse
    turn = math.radians(rim.angle_deg)
    long = np.array([math.cos(turn), math.sin(turn)])
    short = np.array([-long[1], long[0]])
    return np.asarray(
        np.outer(vectors @ long, long) + np.outer(vectors @ short, short) * (rim.a / rim.b)
    )
