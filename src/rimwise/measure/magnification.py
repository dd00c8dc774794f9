"""How much larger the cornea shows the optic than the limbus, and what follows for the scale."""

import math
from dataclasses import dataclass

from rimwise.published.load import published_value
from rimwise.records.picture import PictureSheet

_TOLD_DEPTH_SD_MM = 0.15  # the rim lies up to a third of a mm behind the optic's front
_DISTANCE_SD = 0.3  # of a camera that nobody described


@dataclass(frozen=True, slots=True)
class Magnification:
    """Pixels per mm at the optic over pixels per mm at the limbus.

    Parameters
    ----------
    value, sd : float
    apparent_depth_mm : float
        How far behind the limbus's plane the optic is seen to lie.
    """

    value: float
    sd: float
    apparent_depth_mm: float


def magnification(sheet: PictureSheet) -> Magnification:
    """How much larger than the limbus is the optic shown?

    Parameters
    ----------
    sheet : PictureSheet
        Corneal radius, depth of the lens and working distance, where told; usual ones else.

    Notes
    -----
    One refracting surface of the keratometer's power before aqueous: a plane at depth d is seen at
    d' = 1 / (n/d - P), enlarged n·d'/d times (paraxial imaging, any textbook of optics); the camera
    sees what lies nearer larger by the ratio of distances.

    Examples
    --------
    >>> round(magnification(PictureSheet(side="left")).value, 3)
    1.167
    """
    radius = corneal_radius_mm(sheet)
    told = sheet.lengths.lens_front_depth_mm
    usual = published_value("lengths", "lens_front_depth_implant")
    depth = told if told is not None else usual.value
    depth_sd = (usual.sd or 0.0) if told is None else _TOLD_DEPTH_SD_MM
    distance = sheet.working_distance_mm or published_value("microscope", "working_distance").value
    limbus_depth = published_value("microscope", "limbus_depth").value
    power = (published_value("cornea", "index_keratometric").value - 1.0) / radius
    aqueous = published_value("cornea", "index_aqueous").value

    def enlarged(depth_mm: float, distance_mm: float) -> tuple[float, float]:
        seen_mm = 1.0 / (aqueous / depth_mm - power)
        nearer = (distance_mm + limbus_depth) / (distance_mm + seen_mm)
        return aqueous * seen_mm / depth_mm * nearer, seen_mm - limbus_depth

    value, behind = enlarged(depth, distance)
    by_depth = enlarged(depth + depth_sd, distance)[0] - value
    spread = 0.0 if sheet.working_distance_mm else _DISTANCE_SD
    by_distance = enlarged(depth, distance * (1.0 + spread))[0] - value
    return Magnification(value, math.hypot(by_depth, by_distance), behind)


def corneal_radius_mm(sheet: PictureSheet) -> float:
    """How strongly is this cornea's front curved: as told, or the usual radius, mm?

    Examples
    --------
    >>> round(corneal_radius_mm(PictureSheet(side="left")), 2)
    7.63
    """
    cornea = sheet.cornea
    if cornea.radius_mm is not None:
        return cornea.radius_mm
    if cornea.radius_flat_mm is not None and cornea.radius_steep_mm is not None:
        return 0.5 * (cornea.radius_flat_mm + cornea.radius_steep_mm)
    mean = published_value("cornea", "mean_power").value
    return 1000.0 * (published_value("cornea", "index_keratometric").value - 1.0) / mean


def white_to_white(sheet: PictureSheet) -> tuple[float, float]:
    """How wide is this eye's limbus as a ring in a picture, mm, with its relative sd?

    A biometer measures across; the ring is less high than wide, and the half level of its soft
    band lies inside the true curve. The mean of both axes is given.

    Examples
    --------
    >>> width_mm, relative = white_to_white(PictureSheet(side="left"))
    >>> round(width_mm, 2), round(relative, 3)
    (11.13, 0.048)
    """
    told = sheet.lengths.white_to_white_mm
    usual = published_value("lengths", "white_to_white")
    width = told if told is not None else usual.value
    sd = 0.0 if told is not None else (usual.sd or 0.0)
    oval = math.sqrt(published_value("microscope", "limbus_height_over_width").value)
    inside = 2.0 * published_value("microscope", "limbus_half_level_inside").value
    reading = published_value("microscope", "white_to_white_scale").sd or 0.0
    return width * oval - inside, math.hypot(sd / width, reading)


def expected_limbus_px(rim_radius_px: float, sheet: PictureSheet) -> float | None:
    """How large must the limbus be where the optic's rim is so large? None without its mm.

    Examples
    --------
    >>> round(expected_limbus_px(300.0, PictureSheet(side="left", optic_diameter_mm=6.0)))
    477
    """
    if sheet.optic_diameter_mm is None:
        return None
    per_mm = 2.0 * rim_radius_px / sheet.optic_diameter_mm
    return 0.5 * white_to_white(sheet)[0] * per_mm / magnification(sheet).value
