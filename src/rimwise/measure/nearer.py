"""An eye that does not fill its picture, looked at from nearer by: its part alone."""

from dataclasses import replace

import numpy as np

from rimwise.measure.edges import Edges, find_edges
from rimwise.picture.limbus import Limbus
from rimwise.picture.marks import Marks
from rimwise.picture.planes import WORKING_LONG_SIDE_PX
from rimwise.picture.raster import Box, Raster
from rimwise.records.cover import EllipsePx
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import LookNearer, MeasurementRefused

# The limbus lies at twice the radius of the optic (11.7 to 6 mm), and neither is quite in the
# middle of the other.
_REACH = 2.3
# More than so much larger than stored, a picture's lines are its pixels.
_MOST_ENLARGED = 2.0
_CLEARLY_LESS = 0.9
_LEAST_BESIDE = 0.6  # of the eye's own part: a pupil and most of a limbus fit into no less


def find_eye_edges(raster: Raster, sheet: PictureSheet) -> Edges:
    """Where are rim, opening, pupil and limbus, also of an eye that does not fill the picture?

    Parameters
    ----------
    raster : Raster
        The picture as stored.
    sheet : PictureSheet

    Returns
    -------
    Edges
        In stored pixels of the whole picture.

    Raises
    ------
    MeasurementRefused
        As :func:`rimwise.measure.edges.find_edges`; of a small eye also where the picture holds too
        few pixels of it, or two eyes.

    Notes
    -----
    Edges are looked for at one working size; a small eye's lines are finer there than the finders
    expect. Its part of the picture is brought to that size instead, as if it had been cropped. What
    lies around a small eye may look like a part of it: only if the limbus, which then is in the
    picture, has the size that the rim asks for is the rim believed.
    """
    try:
        return find_edges(raster, sheet)
    except LookNearer as small:
        box = _box(raster, small)
        if box is None:
            raise
        edges = find_eye_edges(raster.part(box), sheet)  # ends, as each part is smaller
        if edges.limbus is None:
            raise _no_limbus() from small
        _check_alone(raster, box, sheet)
        return _moved(edges, np.array(box[:2], dtype=np.float64))


def _check_alone(raster: Raster, box: Box, sheet: PictureSheet) -> None:
    """Refuse a picture of two eyes: the sheet tells of one, and nothing tells which it is."""
    left, top, right, bottom = box
    beside: tuple[Box, ...] = (
        (0, 0, left, raster.height_px),
        (right, 0, raster.width_px, raster.height_px),
        (0, 0, raster.width_px, top),
        (0, bottom, raster.width_px, raster.height_px),
    )
    least = _LEAST_BESIDE * min(right - left, bottom - top)
    for one in beside:
        if min(one[2] - one[0], one[3] - one[1]) < least:
            continue
        try:
            other = find_eye_edges(raster.part(one), sheet)
        except MeasurementRefused:
            continue
        if other.limbus is not None:
            raise MeasurementRefused(
                "two-eyes",
                "Two eyes with an implant are in the picture, and the sheet tells of one; crop the "
                "picture to that eye.",
            )


def _no_limbus() -> MeasurementRefused:
    """Say that nothing vouches for a small eye's rim: another ring may pass for it."""
    return MeasurementRefused(
        "eye-too-small",
        "The eye does not fill the picture, and no limbus of the size that the optic's rim asks "
        "for is in sight to vouch for it; take one from nearer by, or crop the picture to the eye.",
    )


def _box(raster: Raster, small: LookNearer) -> Box | None:
    """Return the part of the picture that holds the eye; None if that brings too little."""
    (u, v), reach = small.centre_px, _REACH * small.radius_px
    left, top = (max(0, round(at - reach)) for at in (u, v))
    right = min(raster.width_px, round(u + reach) + 1)
    bottom = min(raster.height_px, round(v + reach) + 1)
    long = max(right - left, bottom - top)
    if long > _CLEARLY_LESS * max(raster.width_px, raster.height_px):
        return None
    if long * _MOST_ENLARGED < WORKING_LONG_SIDE_PX:
        return None
    return left, top, right, bottom


def _moved(edges: Edges, by_px: FloatArray) -> Edges:
    u, v = edges.centre_px
    pupil, limbus, marks = edges.pupil, edges.limbus, edges.marks
    return replace(
        edges,
        centre_px=(u + float(by_px[0]), v + float(by_px[1])),
        rim_ellipse=_ellipse(edges.rim_ellipse, by_px),
        pupil=None if pupil is None else _ellipse(pupil, by_px),
        limbus=None if limbus is None else _limbus(limbus, by_px),
        marks=None if marks is None else _marks(marks, by_px),
    )


def _ellipse(one: EllipsePx, by_px: FloatArray) -> EllipsePx:
    return replace(one, cx=one.cx + float(by_px[0]), cy=one.cy + float(by_px[1]))


def _limbus(limbus: Limbus, by_px: FloatArray) -> Limbus:
    return replace(limbus, ellipse_px=_ellipse(limbus.ellipse_px, by_px))


def _marks(marks: Marks, by_px: FloatArray) -> Marks:
    return replace(marks, first_px=marks.first_px + by_px, second_px=marks.second_px + by_px)
