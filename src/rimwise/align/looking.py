"""What one frame is looked at with: this eye, this camera, these lamps, this scale."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera
from rimwise.eye.known import known_from_picture
from rimwise.eye.model import EyeModel
from rimwise.eye.this_eye import eye_record
from rimwise.picture.rings import Ring
from rimwise.published.load import published_value
from rimwise.purkinje.inverse import prepared
from rimwise.purkinje.scene import SceneEye
from rimwise.purkinje.setup import SetUp, set_up
from rimwise.records.eye import EyeRecord
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import PictureFrame

ScaleOrigin = Literal["limbus", "ruler", "given"]
RULER_SD_PX = 1.5  # both ends of a ruler set by hand


def about(key: str) -> float:
    """Which number stands in the table of the microscope?"""
    return published_value("microscope", key).value


def spread_of(key: str) -> float:
    """Which spread stands in the table of the microscope?"""
    return published_value("microscope", key).sd or 0.0


@dataclass(frozen=True, slots=True)
class Looking:
    """One eye before one camera, all in stored pixels.

    Parameters
    ----------
    sheet : PictureSheet
    record : EyeRecord
    model : EyeModel
    setup : SetUp
    px_per_mm : Estimate
        At the plane of the limbus.
    scale_from : str
        "given", "ruler", "limbus" or "lamps".
    """

    sheet: PictureSheet
    record: EyeRecord
    model: EyeModel
    setup: SetUp
    px_per_mm: Estimate
    scale_from: ScaleOrigin

    @property
    def camera(self) -> Camera:
        """The camera."""
        return self.setup.camera

    def with_scale(self, scale: Estimate, scale_from: ScaleOrigin) -> "Looking":
        """Return the same with another scale."""
        camera = replace(self.setup.camera, px_per_mm=scale.value)
        return replace(
            self, setup=SetUp(camera, self.setup.lamps_mm), px_per_mm=scale, scale_from=scale_from
        )


def foretold_limbus_px(sheet: PictureSheet) -> float | None:
    """Which mean radius of the limbus, stored pixels, do scale and white-to-white foretell?

    Examples
    --------
    >>> foretold_limbus_px(PictureSheet(side="left")) is None
    True
    """
    if sheet.px_per_mm is None and not _limbus_ruler(sheet):
        return None
    width = sheet.lengths.white_to_white_mm or published_value("lengths", "white_to_white").value
    return given_scale(sheet).value * (mean_radius_mm(width) - about("limbus_half_level_inside"))


def mean_radius_mm(width_mm: float) -> float:
    """Which mean radius has a limbus of this width?"""
    return 0.25 * width_mm * (1.0 + about("limbus_height_over_width"))


def _limbus_ruler(sheet: PictureSheet) -> bool:
    return sheet.ruler is not None and sheet.ruler.plane == "limbus"


def given_scale(sheet: PictureSheet) -> Estimate:
    """Which scale does the sheet give: a ruler in the picture before px_per_mm?"""
    if sheet.ruler is not None and sheet.ruler.plane == "limbus":
        value = sheet.ruler.px / sheet.ruler.mm
        return Estimate(value, value * RULER_SD_PX / sheet.ruler.px, "ruler")
    value = sheet.px_per_mm or 0.0
    return Estimate(
        value, value * math.hypot(spread_of("given_scale"), spread_of("distance")), "given"
    )


def limbus_scale(sheet: PictureSheet, limbus: Ring, to_stored: float) -> Estimate:
    """Which scale follows from the limbus in the picture and the white-to-white?

    Parameters
    ----------
    sheet : PictureSheet
    limbus : Ring
    to_stored : float
        Stored pixels per working pixel.
    """
    measured, usual = sheet.lengths.white_to_white_mm, published_value("lengths", "white_to_white")
    width, spread = (usual.value, usual.sd or 0.0) if measured is None else (measured, 0.0)
    inside = about("limbus_half_level_inside")
    value = limbus.radius_px * to_stored / (mean_radius_mm(width) - inside)
    relative = math.hypot(spread_of("white_to_white_scale"), spread / width)
    return Estimate(value, value * relative, "limbus")


def looking(
    sheet: PictureSheet, size_px: tuple[int, int], scale: Estimate, orientation: int = 1
) -> Looking:
    """Through which camera, with which lamps, is this eye seen?

    Parameters
    ----------
    sheet : PictureSheet
        With lamps.
    size_px : (width, height)
        Of the stored picture, whose middle is the camera's axis.
    scale : Estimate
        Pixels to the millimetre at the plane in focus, which is that of the limbus.
    orientation : int
        EXIF tag of the file.

    Raises
    ------
    WrongInput
        If no lamps are given, or the biometry is impossible.
    """
    if sheet.lamps is None:
        raise WrongInput(
            "no [lamps] are given, and a reflex is the image of a lamp; write their places_mm "
            "into the picture's sheet or clinic.toml"
        )
    distance = sheet.working_distance_mm or about("working_distance")
    record, model = _eye_of(sheet)
    centre = (0.5 * (size_px[0] - 1), 0.5 * (size_px[1] - 1))
    camera = Camera(
        (0.0, 0.0, distance - about("limbus_depth")), scale.value, distance, centre, sheet.frame
    )
    # Lamps are told as the picture is shown, pixels as the file stores them.
    lamps = set_up(camera, sheet.lamps).lamps_mm
    stored = replace(camera, frame=stored_frame(sheet, orientation))
    origin: ScaleOrigin = "limbus"
    if foretold_limbus_px(sheet) is not None:
        origin = "ruler" if _limbus_ruler(sheet) else "given"
    return Looking(sheet, record, model, SetUp(stored, lamps), scale, origin)


@lru_cache(maxsize=8)  # the frames of a clip have one sheet
def _eye_of(sheet: PictureSheet) -> tuple[EyeRecord, EyeModel]:
    record = eye_record(known_from_picture(sheet))
    return record, eye_model(record)


@lru_cache(maxsize=8)
def scene_eye_of(sheet: PictureSheet) -> SceneEye:
    """Return this sheet's eye as the inverse varies it.

    Examples
    --------
    >>> scene_eye_of(PictureSheet("left")).pivot_mm
    13.5
    """
    return prepared(_eye_of(sheet)[0])


def stored_frame(sheet: PictureSheet, orientation: int) -> PictureFrame:
    """How is the stored raster held?"""
    return sheet.frame.stored(orientation)


def eye_shift_mm(of: Looking, limbus_px: tuple[float, float]) -> tuple[float, float, float]:
    """Where is a straight eye whose limbus is seen there?"""
    slopes = of.camera.slopes_from_px(np.array([limbus_px]))[0]
    x, y = slopes * of.camera.focus_mm
    return float(x), float(y), 0.0
