"""What has changed in one eye between its first picture and a later one."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.measure.magnification import expected_limbus_px
from rimwise.picture.implant_turn import Optic, implant_turn
from rimwise.picture.limbus import find_limbus
from rimwise.picture.raster import Raster
from rimwise.picture.registration import Limb, Registration, register
from rimwise.records.cover import CoverFinding, EllipsePx
from rimwise.records.healing import Change
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import nasal_superior
from rimwise.terms.units import deg_from_rad, rad_from_deg

# Of the optic's centre against the limbus, each component: 0.02 mm of the registration, and an eye
# that looks elsewhere by 3° shifts the ring of vessels against the rim by 0.02 mm (seen on
# practice pictures of known truth, which this was set by).
_SHIFT_SD_MM = 0.03
_AXIS_SD_DEG = 2.5  # axes known worse than this tell a turn worse than the pictures themselves
_ROLL_SD_DEG = 0.1
_LEAST_DIAMETER_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class SeenVisit:
    """A visit's picture with its sheet and what was measured in it."""

    day: int
    raster: Raster
    sheet: PictureSheet
    finding: CoverFinding


@dataclass(frozen=True, slots=True, eq=False)
class EyePlace:
    """How a later picture lies on the first, in words of the eye.

    Parameters
    ----------
    registration : Registration
    roll_deg : float
        What the sheets do not tell of the later picture's roll, counter-clockwise as the examiner
        sees it: to be taken off directions of the later picture.
    shift_mm : array, shape (2,)
        Of the optic's centre, examiner's frame of the first picture.
    """

    registration: Registration
    roll_deg: float
    shift_mm: FloatArray


def place_in_eye(first: SeenVisit, now: SeenVisit) -> EyePlace | None:
    """How does the later picture lie on the first, and where has the optic gone?

    Returns None where the pictures cannot be laid on each other.
    """
    before, after = first.finding.optic, now.finding.optic
    scale = now.finding.scale
    if before is None or after is None or scale is None:
        return None
    if first.sheet.mirrored != now.sheet.mirrored:
        return None
    about = now.sheet.superior_deg - first.sheet.superior_deg
    lies = register(_limb(first), _limb(now), about)
    if lies is None:
        return None
    was = lies.moved(np.array([before.ellipse_px.cx, before.ellipse_px.cy]))
    moved_px = np.array([after.ellipse_px.cx, after.ellipse_px.cy]) - was
    # Taken back into the first picture's axes; v points down.
    c, s = math.cos(rad_from_deg(lies.roll_deg)), math.sin(rad_from_deg(lies.roll_deg))
    back = np.array([[c, -s], [s, c]]) @ moved_px / scale.px_per_mm.value
    left = lies.roll_deg - about
    return EyePlace(
        lies,
        -left if now.sheet.mirrored else left,
        first.sheet.frame.examiner_from_picture(back),
    )


def _limb(visit: SeenVisit) -> Limb:
    """The limbus, or a ring where it should be about the pupil, which is enough to start from."""
    optic, pupil = visit.finding.optic, visit.finding.pupil
    assert optic is not None
    rim = math.sqrt(optic.ellipse_px.a * optic.ellipse_px.b)
    size = expected_limbus_px(rim, visit.sheet)
    centre = optic.ellipse_px if pupil is None else pupil.ellipse_px
    found = None if pupil is None else find_limbus(visit.raster, pupil.ellipse_px, size)
    if found is not None:
        return Limb(visit.raster, found.ellipse_px)
    radius = 2.0 * rim if size is None else size
    return Limb(visit.raster, EllipsePx(centre.cx, centre.cy, radius, radius, 0.0))


def change_of(first: SeenVisit, now: SeenVisit) -> Change:
    """What has changed since the first visit?"""
    place = place_in_eye(first, now)
    nasal = superior = None
    if place is not None:
        x, y = nasal_superior(float(place.shift_mm[0]), float(place.shift_mm[1]), now.sheet.side)
        words = "optic against the vessels about the limbus"
        nasal, superior = (Estimate(v, _SHIFT_SD_MM, words) for v in (x, y))
    area, diameter = _size_change(first, now)
    opening = None if place is None else _opening_shift(first, now, place)
    turn = None if place is None else _turn(first, now, place)
    return Change(
        area_percent=area,
        diameter_percent=diameter,
        edge_move_mm=_edge_move(first, now, place),
        shift_nasal_mm=nasal,
        shift_superior_mm=superior,
        turn_deg=turn,
        least_cover_mm=_least_change(first, now),
        registered_by=() if place is None else ("vessels about the limbus", "optic as the ruler"),
        residual_mm=None if place is None else _SHIFT_SD_MM,
        roll_deg=None if place is None else place.roll_deg,
        opening_nasal_mm=None if opening is None else opening[0],
        opening_superior_mm=None if opening is None else opening[1],
    )


def _opening_shift(
    first: SeenVisit, now: SeenVisit, place: EyePlace
) -> tuple[Estimate, Estimate] | None:
    """Movement of the opening's centroid against the limbus, nasal and superior.

    The optic's own movement and what the opening has moved against the optic; the later picture's
    roll is taken off the latter.
    """
    before, after = (one.finding.decentration.get("opening-from-optic") for one in (first, now))
    if before is None or after is None:
        return None
    roll = rad_from_deg(-place.roll_deg)
    x, y = after.x_mm.value, after.y_mm.value
    turned = np.array([
        math.cos(roll) * x - math.sin(roll) * y, math.sin(roll) * x + math.cos(roll) * y
    ])  # fmt: skip
    moved = place.shift_mm + turned - np.array([before.x_mm.value, before.y_mm.value])
    told = nasal_superior(float(moved[0]), float(moved[1]), now.sheet.side)
    sd = math.hypot(_SHIFT_SD_MM, *(e.sd for one in (before, after) for e in (one.x_mm, one.y_mm)))
    words = "optic against the vessels, and opening against the optic"
    return Estimate(told[0], sd, words), Estimate(told[1], sd, words)


def _size_change(first: SeenVisit, now: SeenVisit) -> tuple[Estimate | None, Estimate | None]:
    """Change of area and of diameter in percent; the optic's own error is in both and cancels."""
    before, after = first.finding.opening, now.finding.opening
    if before is None or after is None:
        return None, None
    was, is_now = before.equivalent_diameter_mm, after.equivalent_diameter_mm
    if was is None or is_now is None or was.value < _LEAST_DIAMETER_MM:
        return None, None
    ratio = is_now.value / was.value
    apart = math.hypot(*(_own_relative(one, v) for one, v in ((was, first), (is_now, now))))
    words = "opening of each visit with the optic as the ruler"
    return (
        Estimate(100.0 * (ratio**2 - 1.0), 200.0 * ratio**2 * apart, words),
        Estimate(100.0 * (ratio - 1.0), 100.0 * ratio * apart, words),
    )


def _own_relative(diameter: Estimate, visit: SeenVisit) -> float:
    """Relative sd of a diameter without the part that the optic's stated size brings."""
    ruler = visit.sheet.optic_diameter_sd_mm / (visit.sheet.optic_diameter_mm or 6.0)
    return math.sqrt(max((diameter.sd / diameter.value) ** 2 - ruler**2, 1e-8))


def _least_change(first: SeenVisit, now: SeenVisit) -> Estimate | None:
    before, after = first.finding.cover, now.finding.cover
    if before is None or after is None or before.min_mm is None or after.min_mm is None:
        return None
    own = [
        one.given_optic["min_mm"].sd if "min_mm" in one.given_optic else least.sd
        for one, least in ((before, before.min_mm), (after, after.min_mm))
    ]
    return Estimate(after.min_mm.value - before.min_mm.value, math.hypot(*own), "least covers")


def edge_radii_mm(visit: SeenVisit, turn_deg: float, centre_mm: FloatArray) -> FloatArray:
    """How far is the opening's edge from a point of the eye, by whole degrees?

    Parameters
    ----------
    visit : SeenVisit
    turn_deg : float
        Added to the visit's directions.
    centre_mm : array, shape (2,)
        The visit's optic centre in the frame of the answer.

    Returns
    -------
    array, shape (360,)
        NaN where the edge was not seen.
    """
    cover, optic = visit.finding.cover, visit.finding.optic
    if cover is None or optic is None:
        return np.full(360, np.nan)
    width = np.array([np.nan if w is None else w for w in cover.width_mm])
    theta = np.radians(np.arange(360.0) + turn_deg)
    radius = 0.5 * optic.diameter_mm - width
    x, y = centre_mm[0] + radius * np.cos(theta), centre_mm[1] + radius * np.sin(theta)
    seen = np.isfinite(radius)
    told = np.full(360, np.nan)
    if seen.sum() < 30:
        return told
    angle = np.degrees(np.arctan2(y[seen], x[seen])) % 360.0
    order = np.argsort(angle)
    angle, far = angle[order], np.hypot(x[seen], y[seen])[order]
    whole = np.arange(360.0)
    told = np.interp(whole, angle, far, period=360.0)
    nearest = np.abs((whole[:, None] - angle[None, :] + 180.0) % 360.0 - 180.0).min(axis=1)
    return np.where(nearest <= 1.5, told, np.nan)


def _edge_move(
    first: SeenVisit, now: SeenVisit, place: EyePlace | None
) -> tuple[float | None, ...]:
    if place is None:
        return (None,) * 360
    moved = edge_radii_mm(now, -place.roll_deg, place.shift_mm) - edge_radii_mm(
        first, 0.0, np.zeros(2)
    )
    return tuple(float(m) if math.isfinite(m) else None for m in moved)


def _turn(first: SeenVisit, now: SeenVisit, place: EyePlace) -> Estimate | None:
    """Turn of the implant by its marks, else by its haptics, else by all that hangs on its rim."""
    pairs = (
        (first.finding.implant_toric_axis_deg, now.finding.implant_toric_axis_deg, "toric marks"),
        (first.finding.haptic_axis_deg, now.finding.haptic_axis_deg, "haptic axis"),
    )
    for before, after, words in pairs:
        if before is not None and after is not None and max(before.sd, after.sd) < _AXIS_SD_DEG:
            turned = after.value - before.value - place.roll_deg
            sd = math.hypot(*(_axis_sd(one, v) for one, v in ((before, first), (after, now))))
            return Estimate((turned + 90.0) % 180.0 - 90.0, math.hypot(sd, _ROLL_SD_DEG), words)
    if first.finding.pupil is None or now.finding.pupil is None:
        return None
    seen = implant_turn(_optic(first), _optic(now), place.registration.roll_deg)
    if seen is None:
        return None
    turn = -seen.turn_deg if now.sheet.mirrored else seen.turn_deg
    return Estimate(turn, math.hypot(seen.sd_deg, _ROLL_SD_DEG), "what hangs on the rim")


def _axis_sd(axis: Estimate, visit: SeenVisit) -> float:
    """Sd of an axis in its picture: how the picture was held is registered, not told."""
    return math.sqrt(max(axis.sd**2 - visit.sheet.superior_sd_deg**2, 0.2**2))


def _optic(visit: SeenVisit) -> Optic:
    optic, pupil = visit.finding.optic, visit.finding.pupil
    assert optic is not None
    assert pupil is not None
    return Optic(visit.raster, optic.ellipse_px, pupil.ellipse_px)


def bearing_deg(vector_mm: FloatArray) -> float:
    """Which direction, counter-clockwise from +x, has a vector?

    Examples
    --------
    >>> bearing_deg(np.array([0.0, 1.0]))
    90.0
    """
    return deg_from_rad(math.atan2(float(vector_mm[1]), float(vector_mm[0])))
