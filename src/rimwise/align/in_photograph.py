"""Reflexes of known lamps in a photograph of an eye with an implant: P1, P4, and its tilt."""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import label

from rimwise.align.find import find_in_frame
from rimwise.align.fit import REFLEX_SD_PX, FrameFit, Sighted, fit_frame
from rimwise.align.looking import RULER_SD_PX, Looking, looking
from rimwise.eye.camera import Camera
from rimwise.eye.seen import Sight
from rimwise.picture.raster import Raster
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.scene import TILT
from rimwise.purkinje.setup import SetUp, set_up
from rimwise.records.eye import EyePose
from rimwise.records.implant_reflexes import ImplantReflexes, MirrorName, MirrorPlace
from rimwise.records.picture import Lamps, PictureSheet, Ruler
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

_MIRRORS: tuple[MirrorName, ...] = ("P1", "P4")
_PROBE_RAD = 0.01
# Relative, of how far a lamp beside the axis moves a reflex, where one lamp alone shows no size:
# a cornea is measured, an implant's radii are whatever its maker chose.
_UNMEASURED: dict[MirrorName, float] = {"P1": 0.02, "P4": 0.35}


@dataclass(frozen=True, slots=True)
class RimAsRuler:
    """The optic's rim as it is seen, and its true size.

    Parameters
    ----------
    centre_px : (float, float)
    radius_px : float
    diameter_mm : float
    relative_sd : float
        Of the scale that follows, the optic's own depth included.
    """

    centre_px: tuple[float, float]
    radius_px: float
    diameter_mm: float
    relative_sd: float


def implant_reflexes(raster: Raster, sheet: PictureSheet, rim: RimAsRuler) -> ImplantReflexes:
    """Where are P1 and P4 in this photograph, and how is the implant tilted?

    Found as in a frame of the microscope, with the optic as the ruler.

    Parameters
    ----------
    raster : Raster
    sheet : PictureSheet
        With [lamps].
    rim : RimAsRuler

    Raises
    ------
    MeasurementRefused
        No plain reflex of the lamps was found, or what was found fits no eye.

    Examples
    --------
    >>> blank = Raster(np.full((96, 128), 90, dtype=np.uint8))
    >>> sheet = PictureSheet("left", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    >>> implant_reflexes(blank, sheet, RimAsRuler((64.0, 48.0), 30.0, 6.0, 0.01))
    Traceback (most recent call last):
    ...
    rimwise.align.find.RefusedFrame: no limbus was found of about ... px ...
    """
    size_px = (raster.width_px, raster.height_px)
    scale = _limbus_scale(sheet, size_px, rim, raster.orientation)
    ruled = replace(sheet, ruler=_as_ruler(scale), px_per_mm=None)
    found = find_in_frame(raster, ruled, compiled=False)
    fit, seen = fit_frame(found.of, found.sighted(), compiled=False)
    _check_alone(raster, seen, rim)
    mirrors = {name: _mirror(found.of, fit, seen, name) for name in _MIRRORS}
    told = mirrors["P4"] is not None and fit.learnt(TILT)
    return ImplantReflexes(mirrors, fit.tilt_deg if told else None, fit.turn_deg)


def _check_alone(raster: Raster, seen: Sighted, rim: RimAsRuler) -> None:
    """Refuse a single lamp with two reflexes equally white: no pattern tells P1 from P4.

    P1 sends back several times as much light, which shows only where P4 stays below the sensor's
    limit.
    """
    (place, *others) = seen.reflexes_px["P1"]
    if others or place is None:
        return
    pixels = raster.pixels
    least = pixels if pixels.ndim == 2 else pixels.min(axis=2)
    (u, v), reach = rim.centre_px, int(rim.radius_px)
    left, top = max(0, int(u) - reach), max(0, int(v) - reach)
    part = least[top : int(v) + reach + 1, left : int(u) + reach + 1]
    row, column = round(place[1]) - top, round(place[0]) - left
    if not (0 <= row < part.shape[0] and 0 <= column < part.shape[1]):
        return
    blobs, _ = label(part >= _AS_WHITE * part[row, column])
    sizes = np.bincount(blobs.ravel())[1:]
    own = sizes[blobs[row, column] - 1]
    if int((sizes >= _AS_LARGE * own).sum()) > 1:
        raise MeasurementRefused(
            "which-reflex",
            "two spots are equally white, and one lamp alone has no pattern that tells P1 from "
            "P4; expose less, or use two lamps or more",
        )


_AS_WHITE, _AS_LARGE = 0.95, 0.2  # of P1's level, and of its area: clipped spots differ in bloom


def _limbus_scale(
    sheet: PictureSheet, size_px: tuple[int, int], rim: RimAsRuler, orientation: int
) -> Estimate:
    """Return the scale at the limbus at which this eye's cornea shows the rim so large.

    Traced exactly: a cornea enlarges a rim that lies farther out less.
    """
    of = looking(sheet, size_px, Estimate(1.0, 0.0, "unit"), orientation)
    depth_mm = -of.model.pivot_mm[2]
    around = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    radius_mm = 0.5 * rim.diameter_mm
    ring = np.column_stack(
        [radius_mm * np.cos(around), radius_mm * np.sin(around), np.full(24, -depth_mm)]
    )
    seen = Sight(of.model, EyePose(), of.camera, engine="numpy").project(ring)
    shown = float(np.hypot(*(seen - seen.mean(axis=0)).T).mean())
    value = rim.radius_px / shown
    return Estimate(value, value * rim.relative_sd, "optic as the ruler")


def _as_ruler(scale: Estimate) -> Ruler:
    """Return a ruler at the limbus that gives this scale with its very sd."""
    long_px = RULER_SD_PX * scale.value / scale.sd
    return Ruler(long_px, long_px / scale.value, "limbus")


def _mirror(of: Looking, fit: FrameFit, seen: Sighted, name: MirrorName) -> MirrorPlace | None:
    """Return one mirror's reflexes, and where that of an axial lamp would be."""
    points = seen.reflexes_px.get(name)
    lamps = of.sheet.lamps
    if points is None or lamps is None or all(point is None for point in points):
        return None
    sd_px = REFLEX_SD_PX[name]
    moves = _moves_px_per_rad(of, fit, name)
    own = None if lamps.fixated is None else points[lamps.fixated]
    if own is not None:
        return MirrorPlace(points, sd_px, own, sd_px, moves)
    modelled = _modelled_px(fit, fit.pose, _with_axial(of.camera, lamps), name)
    told = [k for k, point in enumerate(points) if point is not None]
    places = np.array([points[k] for k in told], dtype=np.float64)
    if not np.isfinite(modelled[[*told, -1]]).all():
        raise MeasurementRefused(
            "no-fit", "what was found fits no eye like this one; check lamps and biometry"
        )
    beside = modelled[-1] - modelled[told].mean(axis=0)
    away = places - places.mean(axis=0)
    size_px = float(np.sqrt((away**2).sum()))
    share = sd_px / size_px if len(told) > 1 else _UNMEASURED[name]
    sd = math.hypot(sd_px / math.sqrt(len(told)), share * float(np.abs(beside).max()))
    u, v = places.mean(axis=0) + beside
    return MirrorPlace(points, sd_px, (float(u), float(v)), sd, moves)


def _with_axial(camera: Camera, lamps: Lamps) -> SetUp:
    """Return the lamps and one more: that which is fixated, or one on the camera's axis."""
    fixated = (0.0, 0.0) if lamps.fixated is None else lamps.places_mm[lamps.fixated]
    return set_up(camera, Lamps((*lamps.places_mm, fixated), lamps.plane_mm))


def _modelled_px(fit: FrameFit, pose: EyePose, setup: SetUp, name: MirrorName) -> FloatArray:
    return np.array([one.px for one in reflexes(fit.model, pose, setup, (name,), "plain")])


def _moves_px_per_rad(of: Looking, fit: FrameFit, name: MirrorName) -> float:
    """How far does a reflex move against the implant's middle when the eye turns?"""
    pose, lamp = fit.pose, SetUp(of.camera, of.setup.lamps_mm[:1])
    x, y = pose.turn_rad
    away = []
    for one in (pose, replace(pose, turn_rad=(x + _PROBE_RAD, y))):
        depth = fit.model.pivot_mm[2]
        middle = np.array([[*fit.model.lens.shift_mm, depth]])
        seen = Sight(fit.model, one, of.camera, engine="numpy").project(middle)[0]
        away.append(_modelled_px(fit, one, lamp, name)[0] - seen)
    return float(np.hypot(*(away[1] - away[0]))) / _PROBE_RAD
