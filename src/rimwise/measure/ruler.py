"""How large the optic is taken to be: as told, or else by a scale, a ruler or the limbus."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from rimwise.measure.edges import Edges
from rimwise.measure.magnification import magnification, white_to_white
from rimwise.published.load import published_value
from rimwise.records.cover import Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import MeasurementRefused

_OPTICS_MM = (4.5, 7.5)  # as the sheet allows them
_FARTHEST_SD = 3.0
_WORDS = {
    "optic": "optic_diameter_mm",
    "ruler": "the ruler in the picture",
    "given": "px_per_mm",
    "limbus": "white_to_white_mm",
}
Origin = Literal["optic", "limbus", "ruler", "given"]


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
    origin: Origin


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
    ruler = next(_by_source(edges, sheet), None)
    if ruler is None:
        raise MeasurementRefused(
            "no-ruler",
            "The optic's diameter is not known and no limbus was found in its place; give "
            "optic_diameter_mm in the sheet or --optic-diameter-mm, since the optic is the ruler.",
        )
    slack = _FARTHEST_SD * ruler.sd_mm
    beyond = not _OPTICS_MM[0] - slack < ruler.diameter_mm < _OPTICS_MM[1] + slack
    if beyond and ruler.origin != "optic":
        raise MeasurementRefused(
            "scale-contradicts",
            f"By the scale from the {ruler.origin} the optic would measure {ruler.diameter_mm:.1f} "
            f"mm, and optics have {_OPTICS_MM[0]} to {_OPTICS_MM[1]} mm; check the scale, or give "
            "optic_diameter_mm.",
        )
    return ruler


def rulers_disagree(edges: Edges, sheet: PictureSheet) -> tuple[Reason, ...]:
    """Which rulers in one sheet contradict the one that is taken, by more than their ± allow?

    Parameters
    ----------
    edges : Edges
    sheet : PictureSheet
        The optic's diameter, a ruler, a given scale and a measured white-to-white, as far as told;
        a white-to-white that nobody measured is a prior and contradicts nothing.

    Returns
    -------
    tuple of Reason
        One at most: the sentence names all that contradict, and which ruler was taken.

    Notes
    -----
    More than three sd of both together: of rulers that are true one in 370 is complained of.
    """
    taken, *others = _by_source(edges, sheet)
    told = sheet.lengths.white_to_white_mm is not None
    wrong = [
        one
        for one in others
        if (told or one.origin != "limbus")
        and abs(one.diameter_mm - taken.diameter_mm)
        > _FARTHEST_SD * math.hypot(one.sd_mm, taken.sd_mm)
    ]
    if not wrong:
        return ()
    say = " and ".join(
        f"{one.diameter_mm:.2f} ± {one.sd_mm:.2f} mm by {_WORDS[one.origin]}" for one in wrong
    )
    return (
        Reason(
            "rulers-disagree",
            f"The sheet contradicts itself: the optic measures {taken.diameter_mm:.2f} ± "
            f"{taken.sd_mm:.2f} mm by {_WORDS[taken.origin]}, which was taken, but {say}; all "
            "lengths hang on it, so check these entries.",
        ),
    )


def _by_source(edges: Edges, sheet: PictureSheet) -> Iterator[OpticRuler]:
    """Yield the optic's diameter by each ruler there is, the one that goes before all first."""
    if sheet.optic_diameter_mm is not None:
        yield OpticRuler(sheet.optic_diameter_mm, sheet.optic_diameter_sd_mm, "optic")
    enlarged = magnification(sheet)
    reading = published_value("microscope", "given_scale").sd or 0.0
    rim_px = 2.0 * math.sqrt(edges.rim_ellipse.a * edges.rim_ellipse.b)

    def seen(per_mm: float, relative: float, origin: Origin) -> OpticRuler:
        return OpticRuler(rim_px / per_mm, relative * rim_px / per_mm, origin)

    def carried(per_mm: float, relative: float, origin: Origin) -> OpticRuler:
        both = math.hypot(relative, enlarged.sd / enlarged.value)
        return seen(per_mm * enlarged.value, both, origin)

    if sheet.ruler is not None:
        place = seen if sheet.ruler.plane == "optic" else carried
        yield place(sheet.ruler.px / sheet.ruler.mm, reading, "ruler")
    if sheet.px_per_mm is not None:
        yield carried(sheet.px_per_mm, reading, "given")
    if edges.limbus is not None:
        width, relative = white_to_white(sheet)
        yield carried(2.0 * edges.limbus.radius_px / width, relative, "limbus")
