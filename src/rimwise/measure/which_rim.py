"""Which of the rings that a pupil shows is the optic's rim, if any? The limbus has a say in it."""

from dataclasses import dataclass

import numpy as np

from rimwise.measure.magnification import expected_limbus_px, white_to_white
from rimwise.picture.limbus import Limbus, find_limbus
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.raster import Raster
from rimwise.picture.rim import COLUMNS, Rim, find_rims
from rimwise.picture.strip import directions_rad, radius_about
from rimwise.records.cover import EllipsePx
from rimwise.records.picture import PictureSheet


@dataclass(frozen=True, slots=True)
class WhichRimSettings:
    """When a ring is believed to be the rim, with reasons.

    Parameters
    ----------
    shade_gap, shade_even, shade_waver : float, float, float
        What lies so near within the pupil's margin and keeps its distance so evenly (mean and sd,
        in radii), and wavers so much, is the iris's shade, a ramp without a line of its own. True
        rims so near to a margin waver by 0.1 to 0.7 pixel.
    most_waver : float
        An optic's rim is turned on a lathe or cast (common practice, no source): what wavers more
        is none. True ones waver by up to 1.1 pixels in 59 pictures of a second program and 128 own.
    rim_quality : float
        Mean strength in noise levels below which no rim is claimed: in pictures whose rim is
        hidden the best false candidate stays below this.
    faint_quality, faint_unbroken, faint_waver, faint_scale : float
        A fainter rim is believed when it shows wherever it may (unbroken), keeps to its ellipse
        (waver), and has the size that the limbus foretells, two and a half sd either way.
    lead, lead_quality, lead_waver : float
        Noise makes a faint line waver. One of so much quality, so many times that of any other
        ring, may waver this much: rings strung together of folds and texture come in numbers.
    scale_sds : float
        So many sd of the limbus's size smaller than the limbus foretells, no ring is a rim: it is
        the opening's own edge, and the iris hides the rim.
    rim_arc : float
        Least share of directions in which a rim must lie in sight to fix its circle.
    alike : float
        Radii or centres of two candidates nearer than this share of the radius are one ring's.
    rival, rival_chi2 : float, float
        Of two rings whose qualities are no farther apart than the first, the one is taken that the
        limbus speaks for, if it does so by two sd.
    """

    shade_gap: float = 0.06
    shade_even: float = 0.03
    shade_waver: float = 0.85
    most_waver: float = 2.0
    rim_quality: float = 1.6
    faint_quality: float = 0.7
    faint_unbroken: float = 0.95
    faint_waver: float = 1.25
    faint_scale: float = 0.07
    lead: float = 1.5
    lead_quality: float = 1.0
    lead_waver: float = 1.5
    scale_sds: float = 4.0
    rim_arc: float = 0.25
    alike: float = 0.02
    rival: float = 0.5
    rival_chi2: float = 4.0


SETTINGS = WhichRimSettings()


@dataclass(frozen=True, slots=True)
class _Judged:
    rim: Rim
    expected_px: float | None
    limbus: Limbus | None

    @property
    def off(self) -> float | None:
        """By what share is the limbus larger than this rim foretells?"""
        if self.expected_px is None or self.limbus is None:
            return None
        return self.limbus.radius_px / self.expected_px - 1.0


@dataclass(frozen=True, slots=True)
class WhichRim:
    """The rim and the limbus that are believed; whether a clear ring was left for its size.

    Parameters
    ----------
    rim : Rim or None
    limbus : Limbus or None
    contradicted : bool
        A ring stood out as a rim does, and the limbus says that it is too small for one.
    """

    rim: Rim | None = None
    limbus: Limbus | None = None
    contradicted: bool = False


def rim_and_limbus(
    raster: Raster,
    planes: Planes,
    within: tuple[PupilMargin, EllipsePx | None],
    sheet: PictureSheet,
) -> WhichRim:
    """Which rim may be believed, and which limbus does its size foretell?

    Parameters
    ----------
    raster : Raster
        The picture as stored.
    planes : Planes
    within : (PupilMargin, EllipsePx or None)
        The pupil, and its ellipse in stored pixels.
    sheet : PictureSheet
        What is known of optic and eye.

    Returns
    -------
    WhichRim
    """
    pupil, margin = within
    rims, contradicted = find_rims(planes, pupil), False
    for k, rim in enumerate(rims[:2]):
        clear = rim.quality >= SETTINGS.rim_quality
        if _no_rim_at_all(rim, pupil):
            continue
        others = [other for other in rims if not _alike(rim, other)]
        if not clear and not _unbroken(rim, max((o.quality for o in others), default=0.0)):
            continue
        judged = _judged(raster, planes, margin, rim, sheet)
        too_small = clear and _too_small_an_eye(raster, margin, judged, sheet)
        contradicted |= too_small
        if clear and not too_small:
            near = [o for o in others if o.quality >= _least_rival(rim)] if k == 0 else []
            judged = _by_limbus(
                judged, [_judged(raster, planes, margin, o, sheet) for o in near], sheet
            )
            return WhichRim(judged.rim, judged.limbus)
        if not clear and judged.off is not None and abs(judged.off) < SETTINGS.faint_scale:
            return WhichRim(rim, judged.limbus)
    return WhichRim(contradicted=contradicted)


def _no_rim_at_all(rim: Rim, pupil: PupilMargin) -> bool:
    """Return whether this ring is no ellipse, or the shade that an iris throws in its margin."""
    margin = radius_about(pupil.curve_px, rim.centre_px, directions_rad(COLUMNS))
    gap = (margin - rim.radii_px) / rim.radius_px
    even = gap.mean() < SETTINGS.shade_gap and gap.std() < SETTINGS.shade_even
    return bool(rim.waver > (SETTINGS.shade_waver if even else SETTINGS.most_waver))


def _judged(
    raster: Raster, planes: Planes, margin: EllipsePx | None, rim: Rim, sheet: PictureSheet
) -> _Judged:
    expected = expected_limbus_px(planes.stored_length(rim.radius_px), sheet)
    limbus = None if margin is None else find_limbus(raster, margin, expected)
    return _Judged(rim, expected, limbus)


def _alike(one: Rim, other: Rim) -> bool:
    apart = np.hypot(*np.subtract(one.centre_px, other.centre_px))
    apart = max(float(apart), abs(one.radius_px - other.radius_px))
    return apart < SETTINGS.alike * one.radius_px


def _least_rival(rim: Rim) -> float:
    return max(SETTINGS.rim_quality, rim.quality - SETTINGS.rival)


def _by_limbus(best: _Judged, rivals: list[_Judged], sheet: PictureSheet) -> _Judged:
    """Return the best ring, or one about as good that fits the limbus far better."""
    off = best.off
    fitting = [rival for rival in rivals if rival.off is not None]
    if off is None or not fitting:
        return best
    nearest = min(fitting, key=lambda rival: abs(rival.off or 0.0))
    gain = (off**2 - (nearest.off or 0.0) ** 2) / white_to_white(sheet)[1] ** 2
    return nearest if gain > SETTINGS.rival_chi2 else best


def _too_small_an_eye(
    raster: Raster, margin: EllipsePx | None, judged: _Judged, sheet: PictureSheet
) -> bool:
    """Does the limbus, where one shows, rule this rim out?

    Where the iris hides the optic's rim, the opening's own edge is the only ring in the pupil, and
    taken for the rim it would make the whole eye as much too small as the opening is smaller.
    """
    expected, limbus = judged.expected_px, judged.limbus
    if margin is None or expected is None:
        return False
    if limbus is None:
        limbus = find_limbus(raster, margin)
    limit = SETTINGS.scale_sds * white_to_white(sheet)[1]
    return limbus is not None and limbus.radius_px / expected - 1.0 > limit


def _unbroken(rim: Rim, rival_quality: float) -> bool:
    leads = rim.quality >= max(SETTINGS.lead_quality, SETTINGS.lead * rival_quality)
    return (
        rim.quality >= SETTINGS.faint_quality
        and rim.unbroken >= SETTINGS.faint_unbroken
        and rim.waver <= (SETTINGS.lead_waver if leads else SETTINGS.faint_waver)
        and float(rim.usable.mean()) >= SETTINGS.rim_arc
    )
