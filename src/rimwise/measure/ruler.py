"""How large the optic is taken to be: as told, or else by a scale, a ruler or the limbus."""

import math
from dataclasses import dataclass
from typing import Literal

from rimwise.measure.edges import Edges
from rimwise.measure.magnification import magnification, white_to_white
from rimwise.published.load import published_value
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused

_OPTICS_MM = (4.5, 7.5)  # as the sheet allows them
_FARTHEST_SD = 3.0


@dataclass(frozen=True, slots=True)
class OpticRuler:
    """The optic's diameter with its sd, and what it rests on.

    Parameters
    ----------
    diameter_mm, sd_mm : float
    origin : str
    """

    diameter_mm: float
    sd_mm: float
    origin: Literal["optic", "limbus", "ruler", "given"]


def optic_ruler(edges: Edges, sheet: PictureSheet) -> OpticRuler:
    """How large is the optic, and from what is that known?

    Parameters
    ----------
    edges : Edges
        Rim and limbus as found.
    sheet : PictureSheet
        The optic's diameter outranks a ruler in the picture, that a given scale, that the limbus.

    Raises
    ------
    MeasurementRefused
        Nothing gives a scale, or the scale makes the rim no optic's.

    Notes
    -----
    A scale at the limbus is carried to the optic by what the cornea enlarges
    (:func:`rimwise.measure.magnification.magnification`); its error and the scale's own are errors
    of the optic's diameter, so that the ± of cover follows from them.
    """
    if sheet.optic_diameter_mm is not None:
        return OpticRuler(sheet.optic_diameter_mm, sheet.optic_diameter_sd_mm, "optic")
    enlarged = magnification(sheet)
    reading = published_value("microscope", "given_scale").sd or 0.0
    origin: Literal["limbus", "ruler", "given"]
    if sheet.ruler is not None and sheet.ruler.plane == "optic":
        per_mm, relative, origin = sheet.ruler.px / sheet.ruler.mm, reading, "ruler"
    else:
        at_limbus, reading, origin = _at_limbus(edges, sheet, reading)
        per_mm = at_limbus * enlarged.value
        relative = math.hypot(reading, enlarged.sd / enlarged.value)
    diameter = 2.0 * math.sqrt(edges.rim_ellipse.a * edges.rim_ellipse.b) / per_mm
    slack = _FARTHEST_SD * relative * diameter
    if not _OPTICS_MM[0] - slack < diameter < _OPTICS_MM[1] + slack:
        raise MeasurementRefused(
            "scale-contradicts",
            f"By the scale from the {origin} the optic would measure {diameter:.1f} mm, and optics "
            f"have {_OPTICS_MM[0]} to {_OPTICS_MM[1]} mm; check the scale, or give "
            "optic_diameter_mm.",
        )
    return OpticRuler(diameter, relative * diameter, origin)


def _at_limbus(
    edges: Edges, sheet: PictureSheet, reading: float
) -> tuple[float, float, Literal["limbus", "ruler", "given"]]:
    """Return px per mm in the limbus's plane, its relative sd, and what it is from."""
    if sheet.ruler is not None:
        return sheet.ruler.px / sheet.ruler.mm, reading, "ruler"
    if sheet.px_per_mm is not None:
        return sheet.px_per_mm, reading, "given"
    if edges.limbus is None:
        raise MeasurementRefused(
            "no-ruler",
            "The optic's diameter is not known and no limbus was found in its place; give "
            "optic_diameter_mm in the sheet or --optic-diameter-mm, since the optic is the ruler.",
        )
    width, relative = white_to_white(sheet)
    return 2.0 * edges.limbus.radius_px / width, relative, "limbus"
