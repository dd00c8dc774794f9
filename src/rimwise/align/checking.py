"""Does a frame agree with what the sheet says of lamps, scale, distance and orientation?"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.align.expect import expected
from rimwise.align.find import find_in_frame
from rimwise.align.looking import limbus_scale
from rimwise.geometry.ellipse import fit_ellipse
from rimwise.picture.raster import Raster
from rimwise.records.eye import EyePose
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

_CENTROID_PX = 0.5
_RADIUS_SHARE = 0.012  # radius of the cornea and working distance stand behind the lamps' pattern
_ROUND = 1.02  # axes so alike tell no direction


@dataclass(frozen=True, slots=True)
class SetupSigns:
    """What one frame says of the set-up.

    Parameters
    ----------
    px_per_mm : Estimate
        From the limbus and the white-to-white (measured or usual).
    pattern_size : Estimate or None
        Distance between P1's spots over the distance that lamps, scale and cornea foretell; None
        with one lamp.
    pattern_turn_deg : Estimate or None
        How far the spots are turned against the lamps, counter-clockwise in the picture.
    superior_off_deg : float or None
        From the direction across the limbus's long axis to the stated superior, in (-90, 90]; None
        where the limbus is seen round. Tells superior from nasal, never up from down.
    """

    px_per_mm: Estimate
    pattern_size: Estimate | None
    pattern_turn_deg: Estimate | None
    superior_off_deg: float | None


def setup_signs(raster: Raster, sheet: PictureSheet, compiled: bool = True) -> SetupSigns:
    """What does this frame say of lamps, scale and orientation?

    Parameters
    ----------
    raster : Raster
    sheet : PictureSheet
        With [lamps].
    compiled : bool
        False spares loading the compiler for a single frame.

    Raises
    ------
    MeasurementRefused
        If limbus or P1 was not found, or the sheet has no lamps.

    Examples
    --------
    >>> setup_signs(Raster(np.full((96, 128), 90, dtype=np.uint8)), PictureSheet("left"))
    Traceback (most recent call last):
    ...
    rimwise.align.find.RefusedFrame: no limbus was found where an eye's could be; ...
    """
    found = find_in_frame(raster, sheet, compiled)
    limbus, of, planes = found.rings.limbus, found.of, found.planes
    if limbus is None:
        raise MeasurementRefused(
            "no-limbus",
            "the limbus is not told surely enough to check a set-up by it; take a frame that "
            "shows more of it",
        )
    scale = limbus_scale(sheet, limbus, 1.0 / planes.factor)
    spots = planes.stored(found.reflexes[0]["P1"].points_px)
    awaited = expected(of, EyePose(), 0.0, ("P1",), compiled)["P1"].offsets_px
    size = turn = None
    if len(spots) > 1:
        size, turn = _pattern(spots - spots.mean(axis=0), awaited)
    ellipse = fit_ellipse(planes.stored(limbus.curve_px)).ellipse
    off = None
    if ellipse.a > _ROUND * ellipse.b:
        long_deg = -math.degrees(ellipse.angle_rad)
        stated = sheet.frame.stored(raster.orientation).superior_deg
        off = 90.0 - (90.0 - (stated - long_deg - 90.0)) % 180.0
    return SetupSigns(scale, size, turn, off)


def _pattern(spots: np.ndarray, awaited: np.ndarray) -> tuple[Estimate, Estimate]:
    """Lay the foretold pattern over the spots: turned and resized (Procrustes)."""
    a = awaited[:, 0] + 1j * awaited[:, 1]
    b = spots[:, 0] + 1j * spots[:, 1]
    power = float((abs(a) ** 2).sum())
    factor = complex((a.conj() * b).sum()) / power
    own = _CENTROID_PX / math.sqrt(power)
    # Picture angles run counter-clockwise, rows downwards.
    turned = -math.degrees(math.atan2(factor.imag, factor.real))
    return (
        Estimate(abs(factor), math.hypot(own, _RADIUS_SHARE) * abs(factor), "reflexes"),
        Estimate(turned, math.degrees(own), "reflexes"),
    )
