"""From pixels to what was found: rings, scale and reflexes of one frame."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from rimwise.align.expect import Expected, expected
from rimwise.align.fit import Sighted
from rimwise.align.identify import fainter
from rimwise.align.lids import drawn_by_lids_px
from rimwise.align.looking import (
    Looking,
    about,
    eye_shift_mm,
    foretold_limbus_px,
    given_scale,
    limbus_scale,
    looking,
    mean_radius_mm,
    spread_of,
    stored_frame,
)
from rimwise.align.masking import inside, without
from rimwise.align.one_lamp import among_brightest, as_small_as_foretold
from rimwise.align.plain_reflexes import as_large_as_foretold, find_p1
from rimwise.align.settling import HIDDEN, Found, one_blob
from rimwise.picture.frame_planes import FramePlanes, told_planes, whole_planes
from rimwise.picture.frame_rings import EyeRings, another_eye, find_rings
from rimwise.picture.pupil_inside import LARGEST, SMALLEST
from rimwise.picture.raster import Picture
from rimwise.picture.rings import Ring
from rimwise.picture.spots import SpotMap, spot_map
from rimwise.published.load import published_value
from rimwise.records.eye import EyePose, ReflexName
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

_NATURAL = ("natural", "gel-natural")
_GAZE_SD_RAD = math.radians(7.0)
_GAZE_FROM_P1_SD_RAD = math.radians(1.4)  # what the limbus leaves open, see docs/align.md
_GAZE_FROM_PUPIL_SD_RAD = math.radians(2.5)  # its centre lies a fifth of a millimetre off
SPOT_MM = 0.04
_REACH_MM = 2.1  # of reflexes from the pupil's centre, where the pupil is small
GLOW_MM = 0.9
_LIMBUS_SYSTEM_PX = 1.5  # iris and lids pull a soft band more than its scatter tells
_LEAST_ARC_DEG = 120
PLAINLY_DEG = 270
"""So much of its margin is seen, and a ring stands for itself."""


class RefusedFrame(MeasurementRefused):
    """A frame that cannot answer, with the rings that were seen in it nevertheless."""

    def __init__(self, refusal: MeasurementRefused, planes: FramePlanes, rings: EyeRings) -> None:
        super().__init__(refusal.code, refusal.sentence)
        self.planes, self.rings = planes, rings


@dataclass(frozen=True, slots=True)
class FoundInFrame:
    """Rings in working pixels, reflexes and what they were looked for with.

    Parameters
    ----------
    planes : FramePlanes
    rings : EyeRings
    of : Looking
    reflexes : tuple of dict
        Readings of the spots, likeliest first, working pixels.
    roll_deg : Estimate or None
        How far the eye is turned about its axis since the reference, where a clip told it before.
    """

    planes: FramePlanes
    rings: EyeRings
    of: Looking
    reflexes: tuple[dict[ReflexName, Found], ...]
    roll_deg: Estimate | None = None

    def sighted(self) -> list[Sighted]:
        """Return the readings of what was found in stored pixels."""
        return [self._read(one) for one in self.reflexes]

    def _read(self, reading: dict[ReflexName, Found]) -> Sighted:
        return Sighted(
            {name: _points(self.planes, one) for name, one in reading.items()},
            self._centre("pupil", 0.5),
            self._centre("limbus", _LIMBUS_SYSTEM_PX),
            sum(one.worth for name, one in reading.items() if name != "P1"),
            self._by_lids(),
        )

    def _by_lids(self) -> float:
        if self.rings.limbus is None:
            return 0.0
        return drawn_by_lids_px(self.rings.limbus, self.of.camera.frame) / self.planes.factor

    def _centre(self, name: str, system_px: float) -> tuple[tuple[float, float], float] | None:
        ring = self.rings.pupil if name == "pupil" else self.rings.limbus
        if ring is None or (name == "limbus" and ring.seen_deg < _LEAST_ARC_DEG):
            return None
        u, v = self.planes.stored(np.array(ring.middle_px))
        sd = math.hypot(ring.centre_sd_px, system_px) / self.planes.factor
        return (float(u), float(v)), sd


def _points(planes: FramePlanes, one: Found) -> tuple[tuple[float, float] | None, ...]:
    return tuple(
        (float(u), float(v)) if math.isfinite(u) else None for u, v in planes.stored(one.points_px)
    )


def find_in_frame(
    raster: Picture,
    sheet: PictureSheet,
    compiled: bool,
    planes: FramePlanes | None = None,
) -> FoundInFrame:
    """What does this frame show of the eye?

    Parameters
    ----------
    raster : Picture
    sheet : PictureSheet
    compiled : bool
    planes : FramePlanes, optional
        Of this raster, where they were made before.

    Raises
    ------
    MeasurementRefused
        If neither limbus nor pupil, or no plain reflex of the lamps was found, or the sheet has no
        lamps.
    """
    planes = planes or whole_planes(raster, compiled)
    foretold = foretold_limbus_px(sheet)
    rings, of, p1, spots = _with_p1(raster, sheet, (planes, foretold), compiled)
    away = abs(math.log(p1.size)) if len(p1.points_px) > 1 else 0.0
    if foretold is None and away > _CONTRADICTS * spread_of("white_to_white_scale"):
        # The lamps contradict the ring that was taken for the limbus: look where they say.
        usual = (
            sheet.lengths.white_to_white_mm or published_value("lengths", "white_to_white").value
        )
        radius = of.px_per_mm.value * (mean_radius_mm(usual) - about("limbus_half_level_inside"))
        rings, of, p1, spots = _with_p1(raster, sheet, (planes, radius), compiled)
    if rings.limbus is not None and another_eye(planes, rings.limbus):
        raise _two_eyes()
    return _all_reflexes((planes, rings, of), p1, spots, compiled)


def _two_eyes() -> MeasurementRefused:
    return MeasurementRefused(
        "two-eyes",
        "two eyes are seen in this frame, and which of them is meant is not known; cut the "
        "picture so that it shows one",
    )


def _all_reflexes(
    known: tuple[FramePlanes, EyeRings, Looking], p1: Found, spots: SpotMap, compiled: bool
) -> FoundInFrame:
    planes, rings, of = known
    readings: list[dict[ReflexName, Found]] = [{}]
    if of.record.lens != "none":
        readings = _lens_reflexes(planes, spots, p1, (rings, of), compiled)
    first: dict[ReflexName, Found] = {"P1": p1}
    return FoundInFrame(planes, rings, of, tuple(first | one for one in readings))


_CONTRADICTS = 4.0


def _with_p1(
    raster: Picture, sheet: PictureSheet, known: tuple[FramePlanes, float | None], compiled: bool
) -> tuple[EyeRings, Looking, Found, SpotMap]:
    """Find the rings, and the lamps' plain reflexes between them."""
    planes, foretold = known
    expected_px = None if foretold is None else foretold * planes.factor
    superior_deg = stored_frame(sheet, raster.orientation).superior_deg
    rings = find_rings(planes, expected_px, sheet.state not in _NATURAL, superior_deg)
    of, p1, spots = _p1_between(raster, sheet, (planes, rings), compiled)
    return rings, of, p1, spots


def _p1_between(
    raster: Picture, sheet: PictureSheet, known: tuple[FramePlanes, EyeRings], compiled: bool
) -> tuple[Looking, Found, SpotMap]:
    planes, rings = known
    try:
        return _p1_looked_for(raster, sheet, known, compiled)
    except MeasurementRefused as refusal:
        if refusal.code == "no-p1" and rings.limbus and another_eye(planes, rings.limbus):
            raise _two_eyes() from refusal
        raise RefusedFrame(refusal, *known) from refusal


def _p1_looked_for(
    raster: Picture, sheet: PictureSheet, known: tuple[FramePlanes, EyeRings], compiled: bool
) -> tuple[Looking, Found, SpotMap]:
    planes, rings = known
    if rings.limbus is None and not _pupil_stands_in(sheet, rings.pupil, planes.factor):
        raise MeasurementRefused("no-limbus", _no_limbus(sheet))
    if sheet.lamps is None:
        raise MeasurementRefused(
            "no-lamps",
            "no [lamps] are given, and a reflex is the image of a lamp; write their places_mm "
            "into the picture's sheet or clinic.toml",
        )
    scale = _scale(sheet, planes, rings)
    size = (raster.width_px, raster.height_px)
    of = looking(sheet, size, scale, raster.orientation)
    spots = spots_between(planes, rings, scale.value * planes.factor)
    p1, of = _plain(planes, spots, rings, of, compiled)
    return of, p1, spots


def _no_limbus(sheet: PictureSheet) -> str:
    foretold = foretold_limbus_px(sheet)
    if foretold is None:
        return (
            "no limbus was found where an eye's could be; give px_per_mm and white_to_white_mm, or "
            "take a frame that shows more of it"
        )
    return (
        f"no limbus was found of about {foretold:.0f} px in radius, as the scale and the "
        "white-to-white foretell it; check px_per_mm or ruler, or take a frame that shows more"
    )


def _pupil_stands_in(sheet: PictureSheet, pupil: Ring | None, factor: float) -> bool:
    """Is a pupil enough of an eye? Not where a button with one gleam on it is as much of one."""
    foretold = foretold_limbus_px(sheet)
    if pupil is None or foretold is None or pupil.seen_deg < PLAINLY_DEG:
        return False
    if not SMALLEST <= pupil.radius_px / (foretold * factor) <= LARGEST:
        return False
    return sheet.lamps is None or len(sheet.lamps.places_mm) > 1


def _scale(sheet: PictureSheet, planes: FramePlanes, rings: EyeRings) -> Estimate:
    if foretold_limbus_px(sheet) is not None or rings.limbus is None:
        return given_scale(sheet)
    return limbus_scale(sheet, rings.limbus, 1.0 / planes.factor)


def spots_between(planes: FramePlanes, rings: EyeRings, px_per_mm: float) -> SpotMap:
    """Where are spots of light within the pupil, or as near to its centre as reflexes may be?

    Parameters
    ----------
    planes : FramePlanes
    rings : EyeRings
        One of them at least.
    px_per_mm : float
        Working pixels.
    """
    ring = rings.pupil or rings.limbus
    if ring is None:
        raise MeasurementRefused("no-limbus", "neither limbus nor pupil was found")
    centre, radius = ring.centre_px, ring.radius_px
    if rings.pupil is None:
        radius *= 0.4
    reach = max(radius, _REACH_MM * px_per_mm) + 0.2 * px_per_mm
    sides = []
    for place, size in zip(centre, planes.grey.shape[1::-1], strict=True):
        # Whole samples of a quarter of the size: averages are many times faster.
        first = max(0, int(place - reach)) // 4 * 4
        sides.append((first, first + max(0, min(size, int(place + reach)) - first) // 4 * 4))
    (left, right), (top, bottom) = sides
    box = left, top, right, bottom
    return spot_map(planes, box, SPOT_MM * px_per_mm, inside(box, centre, 0.9 * radius))


def _plain(
    planes: FramePlanes, spots: SpotMap, rings: EyeRings, of: Looking, compiled: bool
) -> tuple[Found, Looking]:
    """Find P1; where the lamps' distance tells the scale better than the limbus, take it over."""
    awaited = _awaited_p1(planes, rings, of, compiled)
    relative = of.px_per_mm.sd / of.px_per_mm.value
    p1 = find_p1(spots, awaited, (of.px_per_mm.value * planes.factor, relative), planes)
    given, spread = of.scale_from != "limbus", math.hypot(awaited.size_sd[0], relative)
    offsets = awaited.offsets_px * planes.factor
    fits = p1 is not None and not (given and not as_large_as_foretold(p1, offsets, spread))
    if p1 is not None and rings.limbus is None and told_planes(planes) == 1.0:
        # A colour frame seldom lacks a limbus: its lamps have to be seen one by one at least.
        fits = fits and not one_blob(spots, p1.points_px, spots.at(p1.points_px))
    if p1 is not None and fits:
        single = len(p1.points_px) == 1
        fits = among_brightest(planes, p1) and not (single and not as_small_as_foretold(planes, p1))
    if p1 is None or not fits:
        raise MeasurementRefused(
            "no-p1",
            "the lamps' reflexes in the cornea were not found as [lamps] foretells them; check "
            "places_mm, or take a frame without an instrument over the cornea",
        )
    if of.px_per_mm.origin != "limbus" or len(p1.points_px) < 2:
        return p1, of
    spread = math.sqrt(float((awaited.offsets_px**2).sum()))
    own = math.hypot(0.5 / spread, 0.01)
    weights = 1.0 / np.array([relative, own]) ** 2
    size = float((weights @ np.array([1.0, p1.size])) / weights.sum())
    if abs(math.log(p1.size)) > _CONTRADICTS * relative:
        size = p1.size
    value = of.px_per_mm.value * size
    # Radius and working distance stand behind both; no more is claimed than they allow.
    sd = value * max(1.0 / math.sqrt(float(weights.sum())), 0.012)
    return p1, of.with_scale(Estimate(value, sd, "limbus and lamps"), "limbus")


def _awaited_p1(planes: FramePlanes, rings: EyeRings, of: Looking, compiled: bool) -> Expected:
    ring = rings.limbus or rings.pupil
    assert ring is not None
    centre = planes.stored(np.array(ring.centre_px))
    pose = EyePose(shift_mm=eye_shift_mm(of, (float(centre[0]), float(centre[1]))))
    one = expected(of, pose, 0.0, ("P1",), compiled)["P1"]
    lever_mm = of.record.value("front_flat_mm") - about("limbus_depth")
    return replace(one, sd_px=lever_mm * _GAZE_SD_RAD * of.px_per_mm.value)


def _lens_reflexes(
    planes: FramePlanes,
    spots: SpotMap,
    p1: Found,
    known: tuple[EyeRings, Looking],
    compiled: bool,
) -> list[dict[ReflexName, Found]]:
    rings, of = known
    px_per_mm = of.px_per_mm.value * planes.factor
    pose = _pose_from_p1(planes, p1, rings, of, compiled)
    turn_sd = _GAZE_FROM_P1_SD_RAD if rings.limbus is not None else _GAZE_FROM_PUPIL_SD_RAD
    awaited = expected(of, pose, turn_sd, ("P3", "P4"), compiled)
    # What P1's place says beyond the pose is common to all reflexes.
    left = _left_over(planes, p1, pose, of, compiled)
    awaited = {name: replace(one, place_px=one.place_px + left) for name, one in awaited.items()}
    cleared = behind_iris(without(spots, p1, GLOW_MM * px_per_mm), rings, px_per_mm)
    clear = of.record.lens != "natural"
    return fainter(cleared, awaited, planes, (px_per_mm, p1.radius_px), clear)


def behind_iris(spots: SpotMap, rings: EyeRings, px_per_mm: float) -> SpotMap:
    """Return the map with all that lies outside of the pupil hidden: a lens shows nothing there.

    Parameters
    ----------
    spots : SpotMap
    rings : EyeRings
    px_per_mm : float
        Working pixels.

    Examples
    --------
    >>> from rimwise.picture.rings import Ring
    >>> flat = np.full((40, 40), 9.0, dtype=np.float32)
    >>> seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
    >>> pupil = Ring((20.0, 20.0), np.full(180, 8.0), seen, 0.3, 0.1, dark, dark)
    >>> eye = EyeRings(None, pupil)
    >>> behind_iris(SpotMap((0, 0), flat, flat, flat), eye, 10.0).level[20, [1, 20]].tolist()
    [1.5, 9.0]
    """
    ring = rings.pupil
    if ring is None or ring.seen_deg < _LEAST_ARC_DEG:
        return spots
    middle, wider = np.array(ring.centre_px), 1.0 + _MARGIN_MM * px_per_mm / ring.radius_px
    outline = middle + wider * (ring.curve_px - middle) - np.array(spots.corner_px)
    mask = np.zeros(spots.level.shape, dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    return replace(spots, level=np.where(mask > 0, spots.level, np.float32(HIDDEN)))


_MARGIN_MM = 0.1  # of a pupil's margin that is found one or two percent too small


def _left_over(
    planes: FramePlanes, p1: Found, pose: EyePose, of: Looking, compiled: bool
) -> FloatArray:
    model = expected(of, pose, 0.0, ("P1",), compiled)["P1"]
    return np.asarray(planes.stored(p1.points_px).mean(axis=0) - model.place_px)


def _pose_from_p1(
    planes: FramePlanes, p1: Found, rings: EyeRings, of: Looking, compiled: bool
) -> EyePose:
    """Turn the eye so that P1 stands where it does against the limbus; paraxial, to a degree."""
    awaited = _awaited_p1(planes, rings, of, compiled)
    ring = rings.limbus or rings.pupil
    assert ring is not None
    centre = planes.stored(np.array(ring.centre_px))
    x, y, _ = eye_shift_mm(of, (float(centre[0]), float(centre[1])))
    moved = planes.stored(p1.points_px).mean(axis=0) - awaited.place_px
    away = of.camera.frame.examiner_from_picture(moved[None])[0] / of.px_per_mm.value
    lever_mm = of.record.value("front_flat_mm") - about("limbus_depth")
    turn = -away / lever_mm
    arm = EyePose().pivot_depth_mm - about("limbus_depth")
    shift = (x - arm * float(turn[0]), y - arm * float(turn[1]), 0.0)
    return EyePose((float(turn[0]), float(turn[1])), shift)
