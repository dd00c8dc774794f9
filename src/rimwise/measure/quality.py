"""What is wrong with a photograph, and which one to take instead."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimwise.geometry.ellipse import Ellipse, fit_ellipse
from rimwise.geometry.medians import median
from rimwise.measure.curves import directions_of, edges_of
from rimwise.measure.magnification import magnification, white_to_white
from rimwise.picture.limbus import find_limbus
from rimwise.picture.planes import SizedPicture, planes_of, sized_picture
from rimwise.picture.pupil import find_pupil
from rimwise.picture.raster import Raster
from rimwise.published.load import published_value
from rimwise.records.cover import CoverFinding, EllipsePx, FoundCurves, Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray

_BAND = 0.20  # half width of the band along the margin, in its radius
_BLOOM = 0.12  # of the pupil's radius
_OVER_NOISE = 4.0  # of noise alone the steepest hundredth is 2.6 times the median slope
_ROUNDS = 4
_GOOD_DEG = 330  # where so many directions can be told, nothing needs to be said


@dataclass(frozen=True, slots=True)
class QualitySettings:
    """When a fault is named, with reasons.

    Parameters
    ----------
    dark_grey, bright_grey : float
        Median grey of the pupil below which the sensor's noise, and level of a channel above which
        its clipping, hides an edge of a tenth of contrast.
    clipped : float
        Share of the pupil that may be clipped beside the reflexes.
    hidden_deg : int
        Directions that a cause must hide before it is named.
    band : float
        Half width of the band along an edge in which a reflex hides it, in rim radii.
    edges : float
        Share of the band's pixels, those of the steepest slopes, that tell the focus.
    more_px : float
        Least blur added to see how much there is; best is as much as there is.
    """

    dark_grey: float = 22.0
    bright_grey: float = 250.0
    clipped: float = 0.25
    hidden_deg: int = 15
    band: float = 0.015
    edges: float = 0.01
    more_px: float = 1.5


SETTINGS = QualitySettings()


def quality_reasons(
    raster: Raster, finding: CoverFinding, sheet: PictureSheet
) -> tuple[Reason, ...]:
    """Why does this photograph not tell all, and which one should be taken instead?

    Parameters
    ----------
    raster : Raster
        The photograph as stored.
    finding : CoverFinding
        What was measured in it, a refusal included.
    sheet : PictureSheet
        For the size of the limbus, against which a pupil is judged where no optic was found.

    Returns
    -------
    tuple of Reason
        Focus, exposure, dilation, gaze, reflexes over the edges: each that applies, with what to
        do; where nearly all directions can be told, gaze alone: a slant shifts what is well seen.

    Examples
    --------
    >>> black = Raster(np.zeros((400, 600, 3), dtype=np.uint8))
    >>> refused = CoverFinding("eye.jpg", "", "right", "visit", "refused")
    >>> [reason.code for reason in quality_reasons(black, refused, PictureSheet("right"))]
    ['too-dark']
    """
    curves = finding.curves
    if finding.cover is not None and finding.cover.assessable_deg >= _GOOD_DEG:
        return () if curves is None else tuple(_gaze(curves))  # a slant shifts what is well seen
    if any(reason.code in {"no-implant", "two-eyes"} for reason in finding.reasons):
        return ()  # no edge of an optic is missed here
    planes = sized_picture(raster)
    margin = _margin(raster, planes.factor, finding.curves)
    found = _exposure(planes, margin)
    found += _focus(planes, margin)
    if finding.optic is not None:
        found += _dilation(finding)
    elif margin is not None:
        found += _narrow(raster, planes.stored(margin), sheet)
    if curves is not None and curves.rim is not None and curves.opening is not None:
        found += _gaze(curves) + _reflexes(planes, curves)
    return tuple(found)


def blur_px(grey: NDArray[np.floating], within: NDArray[np.bool_]) -> float | None:
    """How far are the steepest edges blurred, sd in pixels? None where there is no slope.

    Notes
    -----
    A step blurred by s has its steepest slope as 1/s; blurred once more by s₁ it has it as
    1/√(s² + s₁²), so that the ratio of both tells s (re-blurring, as in S. Zhuo and T. Sim 2011,
    Pattern Recognition 44:1852; from memory, derived here anew). The median over the steepest
    slopes is taken.

    Examples
    --------
    >>> step = np.where(np.arange(200.0) < 100.0, 50.0, 150.0)[None, :].repeat(60, axis=0)
    >>> soft = cv2.GaussianBlur(step, (0, 0), 4.0)
    >>> round(blur_px(soft, np.ones(soft.shape, dtype=bool)))
    4
    """
    if not within.any():
        return None
    picture = np.asarray(grey, dtype=np.float32)
    found, more = None, SETTINGS.more_px
    for _ in range(_ROUNDS):
        first = cv2.GaussianBlur(picture, (0, 0), 0.7 * more)  # quietens the noise
        slope = _slope(first)
        softer = _slope(cv2.GaussianBlur(first, (0, 0), more))
        inside = slope[within]
        level = float(np.quantile(inside, 1.0 - SETTINGS.edges))
        if level <= 0.0:
            return None
        if level <= _OVER_NOISE * median(inside):
            more *= 2.5  # so far these slopes are the noise's own
            continue
        steep = within & (slope >= level)
        ratio = float(np.median(slope[steep] / np.maximum(softer[steep], 1e-9)))
        whole = math.inf if ratio <= 1.0 else more / math.sqrt(ratio**2 - 1.0)
        found = math.sqrt(max(whole**2 - (0.7 * more) ** 2, 0.0))
        if found <= 1.5 * more:
            break
        more *= 2.5
    return found


def _slope(grey: NDArray[np.floating]) -> NDArray[np.float32]:
    across = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3)
    along = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3)
    return np.asarray(cv2.magnitude(across, along))


def _margin(raster: Raster, factor: float, curves: FoundCurves | None) -> FloatArray | None:
    """Return points of the pupil's margin, working pixels, as found or looked for now."""
    if curves is not None and curves.pupil is not None:
        one = curves.pupil
        ring = Ellipse(one.cx, one.cy, one.a, one.b, math.radians(one.angle_deg) % math.pi)
        points = ring.points(np.radians(np.arange(0.0, 360.0, 3.0)))
        return np.asarray((points + 0.5) * factor - 0.5)
    pupil = find_pupil(planes_of(raster))
    return None if pupil is None else pupil.curve_px


def _within(planes: SizedPicture, margin: FloatArray | None) -> NDArray[np.bool_]:
    """Return the pupil, or the middle third of the picture."""
    mask = np.zeros(planes.glare.shape, dtype=np.uint8)
    if margin is None:
        high, wide = planes.height_px, planes.width_px
        mask[high // 3 : 2 * high // 3, wide // 3 : 2 * wide // 3] = 1
    else:
        cv2.fillPoly(mask, [np.round(margin).astype(np.int32)], 1)
    return np.asarray(mask > 0)


def _exposure(planes: SizedPicture, margin: FloatArray | None) -> list[Reason]:
    within = _within(planes, margin)
    inside = np.sort(planes.grey[::4, ::4][within[::4, ::4]], axis=1)
    if not len(inside):
        return []
    if float(np.median(inside.mean(axis=1))) < SETTINGS.dark_grey:
        return [
            Reason(
                "too-dark",
                "The pupil is too dark for its edges to stand out of the noise; take a photograph "
                "with more light from close to the camera's axis, or a longer exposure.",
            )
        ]
    # The glow clips the red of a good picture; with a second channel the edges go too.
    if float((inside[:, 1] >= SETTINGS.bright_grey).mean()) > SETTINGS.clipped:
        return [
            Reason(
                "too-bright",
                "Much of the pupil is overexposed, and clipped levels hold no edges; take a "
                "photograph with less light or a shorter exposure.",
            )
        ]
    return []


def _focus(planes: SizedPicture, margin: FloatArray | None) -> list[Reason]:
    blur, radius_px = _blur_of(planes, margin)
    limit = published_value("photograph", "blur_limit").value
    usual = published_value("photograph", "dilated_radius").value
    if blur is None or blur / radius_px * usual <= limit:
        return []
    return [
        Reason(
            "out-of-focus",
            "The picture is blurred where the edges lie; focus on the edge of the opening, not on "
            "the iris or the cornea, steady the camera, and take several pictures.",
        )
    ]


def _blur_of(planes: SizedPicture, margin: FloatArray | None) -> tuple[float | None, float]:
    """Return the blur, px, at the pupil's margin, a step in every picture, and its radius.

    The margin lies 1 mm before the capsule: with focus there it is still sharper than the limit.
    Without a pupil the whole picture is judged, as if the pupil filled half of its height.
    """
    if margin is None:
        whole = np.ones(planes.glare.shape, dtype=np.bool_)
        return blur_px(_mean(planes.grey), whole), 0.25 * min(planes.glare.shape)
    middle = margin.mean(axis=0)
    outer = middle + (1.0 + _BAND) * (margin - middle)
    inner = middle + (1.0 - _BAND) * (margin - middle)
    low = np.maximum(np.floor(outer.min(axis=0)).astype(np.int64), 0)
    high = np.maximum(np.ceil(outer.max(axis=0)).astype(np.int64) + 1, low + 1)
    part = (slice(low[1], high[1]), slice(low[0], high[0]))
    radius_px = float(np.hypot(*(margin - middle).T).mean())
    # The soft bloom around a reflex is steeper than any edge and tells no focus.
    reach = 2 * round(_BLOOM * radius_px) + 1
    clear = cv2.blur(planes.glare[part], (reach, reach)) < 0.5 / reach**2
    band = _within(planes, outer)[part] & ~_within(planes, inner)[part] & clear
    return blur_px(_mean(planes.grey[part]), band), radius_px


def _mean(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    third = np.full((1, 3), 1.0 / 3.0, dtype=np.float32)
    return np.asarray(cv2.transform(grey.astype(np.float32), third), dtype=np.float32)


def _dilation(finding: CoverFinding) -> list[Reason]:
    """Name a pupil that hides the optic's edge or the opening's."""
    pupil, optic = finding.pupil, finding.optic
    if pupil is None or optic is None:
        return []
    least = published_value("photograph", "pupil_beyond_optic").value
    if pupil.dilated_mm.value >= optic.diameter_mm + least:
        return []
    return [
        Reason(
            "pupil-not-wide",
            f"The pupil is {pupil.dilated_mm.value:.1f} mm wide, less than {least:g} mm wider than "
            f"the optic of {optic.diameter_mm:.1f} mm, so that the iris may hide edges; dilate "
            "more and take another photograph.",
        )
    ]


def _narrow(raster: Raster, margin_px: FloatArray, sheet: PictureSheet) -> list[Reason]:
    """Name a pupil that is too narrow for most optics, measured against the limbus."""
    oval = fit_ellipse(margin_px).ellipse
    pupil = EllipsePx(oval.cx, oval.cy, oval.a, oval.b, math.degrees(oval.angle_rad))
    limbus = find_limbus(raster, pupil)
    if limbus is None:
        return []
    # As large as the cornea shows the optic, beside which it is judged.
    width_mm = white_to_white(sheet)[0] / magnification(sheet).value
    width_mm *= oval.mean_radius / limbus.radius_px
    told = sheet.optic_diameter_mm or published_value("photograph", "usual_optic").value
    least = told + published_value("photograph", "pupil_beyond_optic").value
    if width_mm >= least:
        return []
    return [
        Reason(
            "pupil-not-wide",
            f"The pupil is about {width_mm:.1f} mm wide, and the rim of an optic of {told:.1f} mm "
            f"needs {least:.1f} mm to be seen; dilate more and take another photograph.",
        )
    ]


def _gaze(curves: FoundCurves) -> list[Reason]:
    if curves.rim is None:
        return []
    ellipse = curves.rim.ellipse_px
    away_deg = math.degrees(math.acos(min(1.0, ellipse.b / ellipse.a)))
    limit = published_value("photograph", "view_limit").value
    if away_deg <= limit:
        return []
    return [
        Reason(
            "gaze-away",
            f"The optic is seen {away_deg:.0f}° from its axis, more than {limit:.0f}°; let the "
            "patient look at a target on the camera's axis and take another photograph.",
        )
    ]


def _reflexes(planes: SizedPicture, curves: FoundCurves) -> list[Reason]:
    """Name reflexes that lie over an edge."""
    edges = edges_of(curves)
    direction = directions_of(curves)
    hidden = np.zeros(360, dtype=np.bool_)
    steps = SETTINGS.band * np.array([-1.0, 0.0, 1.0])
    for radii in (edges.rim_px, edges.opening_px):
        for step in steps:
            points = np.asarray(edges.centre_px) + (radii * (1.0 + step))[:, None] * direction
            at = np.round((points + 0.5) * planes.factor - 0.5).astype(np.int64)
            inside = (at >= 0).all(axis=1) & (at < [planes.width_px, planes.height_px]).all(axis=1)
            row, column = (
                at[:, 1].clip(0, planes.height_px - 1),
                at[:, 0].clip(0, planes.width_px - 1),
            )
            hidden |= inside & (planes.glare[row, column] > 0.5)
    if int(hidden.sum()) < SETTINGS.hidden_deg:
        return []
    return [
        Reason(
            "reflex-over-edge",
            f"Reflexes of the lamp lie over an edge in {int(hidden.sum())}°; take two photographs "
            "with the lamp moved between them, so that one shows what the other hides.",
        )
    ]
