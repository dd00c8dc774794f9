"""How opaque is the rear capsule within the opening: share of the area and graded score.

The score is the published one: five grades of density, 0 to 4, each weighed by the share of the
area that has it. How a picture's whiteness and texture make a grade is an own derivation: light
scattered by a veil is white, so a veil takes the red reflex a measurable way towards white, and
folds and pearls show as detail against the smooth glow.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation, gaussian_filter, label

from rimwise.geometry.medians import median, median_deviation
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding
from rimwise.records.opacification import OpacificationFinding
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate


@dataclass(frozen=True, slots=True)
class OpacificationSettings:
    """What makes a grade, with reasons.

    Parameters
    ----------
    radius_px : float
        The opening is looked at with this radius, so that a grade is the same at every size.
    inset : float
        Share of the opening's radius left out at its edge: line, whitened band and blur.
    veil_from : four floats
        Least veil (share of the light that is white) of grades 1 to 4. No source gives numbers;
        steps are about equal to the eye.
    detail_from : two floats
        Least contrast of folds and pearls, in sd of the glow, that makes grades 1 and 2.
    white_blue : float
        Blue over red of scattered light; a lamp's own colour scatters by some 15 %.
    clear_percentile : float
        Blue over red at this percentile is taken as that of the clear medium.
    bright : float
        How much brighter in red than the glow around it a reflex is; a veil is not brighter.
    saturated_grey : float
        Grey value from which all three colours mean a lamp.
    threshold_spread : float
        Thresholds are right to within this factor: what the score does within it is its ±.
    least_share : float
        Least share of the opening that must be free of reflexes.
    """

    radius_px: float = 150.0
    inset: float = 0.08
    veil_from: tuple[float, float, float, float] = (0.08, 0.25, 0.45, 0.65)
    detail_from: tuple[float, float] = (0.018, 0.05)
    white_blue: float = 0.83
    clear_percentile: float = 8.0
    bright: float = 1.14
    saturated_grey: float = 225.0
    threshold_spread: float = 1.25
    least_share: float = 0.5


SETTINGS = OpacificationSettings()


def graded_score(shares: Sequence[float]) -> float:
    """Which score do shares of the area with grades 0, 1, 2, 3, 4 make?

    Parameters
    ----------
    shares : sequence of float
        Share of the area by grade from 0, together at most 1.

    Raises
    ------
    WrongInput
        Negative shares, more than all of the area, or more than five grades.

    Examples
    --------
    >>> round(graded_score((0.3, 0.3, 0.4)), 6)
    1.1
    """
    if len(shares) > 5 or min(shares, default=0.0) < 0.0 or sum(shares) > 1.0 + 1e-9:
        raise WrongInput(
            f"a score takes up to five shares of one area, got {list(shares)}; give the share of "
            "grades 0 to 4, together 1"
        )
    return float(sum(grade * share for grade, share in enumerate(shares)))


def grade_opacification(raster: Raster, finding: CoverFinding) -> OpacificationFinding | None:
    """How opaque is the rear capsule within the opening of this photograph?

    Parameters
    ----------
    raster : Raster
        The photograph as stored, in colour.
    finding : CoverFinding
        What was measured in it; its whole edge is needed.

    Returns
    -------
    OpacificationFinding or None
        None without colour, without the whole edge, or where reflexes hide half of the area.

    Examples
    --------
    >>> blank = Raster(np.zeros((40, 40, 3), dtype=np.uint8))
    >>> refused = CoverFinding("eye.jpg", "", "right", "visit", "refused")
    >>> grade_opacification(blank, refused) is None
    True
    """
    edge = _edge_px(finding)
    if edge is None or raster.pixels.ndim != 3:
        return None
    colour, within = _opening_of(raster, edge)
    masked = _reflexes(colour, within)
    area = within & ~masked
    if not within.any() or area.sum() < SETTINGS.least_share * within.sum():
        return None
    veil, detail = _veil(colour, area), _detail(colour, area)
    shares = [_shares(veil, detail, area, factor) for factor in (1.0, *_spread())]
    scores = [graded_score(row) for row in shares]
    opaque = [100.0 * (1.0 - row[0]) for row in shares]
    origin = "whiteness and detail within the opening"
    return OpacificationFinding(
        Estimate(opaque[0], _half_range(opaque), origin),
        Estimate(scores[0], _half_range(scores), origin),
        tuple(100.0 * share for share in shares[0]),
        100.0 * float((within & masked).sum() / within.sum()),
    )


def _spread() -> tuple[float, float]:
    return 1.0 / SETTINGS.threshold_spread, SETTINGS.threshold_spread


def _half_range(values: Sequence[float]) -> float:
    return 0.5 * (max(values) - min(values))


def _edge_px(finding: CoverFinding) -> FloatArray | None:
    """Return the closed curve of the opening, None where it is not whole."""
    opening = finding.opening
    if opening is None or opening.equivalent_diameter_mm is None:
        return None
    if opening.contour_px is not None:
        return np.array(opening.contour_px)
    return np.array([point for point in opening.edge_px if point is not None])


def _opening_of(raster: Raster, edge_px: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the opening's colours at a fixed size, and which pixels lie well within its edge."""
    centre = edge_px.mean(axis=0)
    away = edge_px - centre
    radius = float(np.hypot(*away.T).mean())
    step = max(1, round(radius / SETTINGS.radius_px))
    left, top = np.maximum(np.floor(edge_px.min(axis=0)).astype(int), 0)
    right, bottom = np.ceil(edge_px.max(axis=0)).astype(int) + 1
    cut = raster.pixels[top:bottom, left:right]
    rows, columns = (size // step * step for size in cut.shape[:2])
    if min(rows, columns) < step:
        return np.zeros((1, 1, 3)), np.zeros((1, 1), dtype=np.bool_)
    colour = np.zeros((rows // step, columns // step, 3))
    # Strided sums: ten times as fast as a mean over the axes of blocks.
    for row in range(step):
        for column in range(step):
            colour += cut[row:rows:step, column:columns:step]
    colour /= step * step
    middle = 0.5 * (step - 1)
    u = left + middle + step * np.arange(colour.shape[1]) - centre[0]
    v = top + middle + step * np.arange(colour.shape[0]) - centre[1]
    around = np.arctan2(away[:, 1], away[:, 0])
    order = np.argsort(around)
    limit = np.interp(
        np.arctan2(v[:, None], u[None, :]),
        around[order],
        np.hypot(*away.T)[order],
        period=2 * np.pi,
    )
    return colour, np.asarray(np.hypot(u[None, :], v[:, None]) < (1.0 - SETTINGS.inset) * limit)


def _reflexes(colour: FloatArray, within: BoolArray) -> BoolArray:
    """Which pixels do lamps hide: all colours at the top, or brighter in red than the glow?"""
    darkest = np.minimum(np.minimum(colour[..., 0], colour[..., 1]), colour[..., 2])
    lamp = darkest > SETTINGS.saturated_grey
    red = gaussian_filter(colour[..., 0], 2.0)
    glow = _smooth_surface(red, within & ~lamp)
    brighter = red > SETTINGS.bright * glow
    white = gaussian_filter(colour[..., 2], 2.0)
    # A hazy reflex is bright and white; a bright spot of the glow itself stays red.
    hazy = brighter & (white > 0.5 * red)
    parts, _ = label(hazy | lamp)
    sizes = np.bincount(parts.ravel())
    large = sizes >= 12
    large[0] = False
    return np.asarray(binary_dilation(large[parts], iterations=4))


def _smooth_surface(values: FloatArray, chosen: BoolArray) -> FloatArray:
    """Return the parabolic surface through the chosen pixels, outliers left out once."""
    v, u = np.indices(values.shape) / max(values.shape) - 0.5
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    # Every fourth pixel both ways fixes six numbers as well as all of them.
    rows, level = terms[::4, ::4][chosen[::4, ::4]], values[::4, ::4][chosen[::4, ::4]]
    if len(level) < 50:
        return np.full_like(values, median(level) if len(level) else 0.0)
    weights, *_ = np.linalg.lstsq(rows, level, rcond=None)
    left = np.abs(level - rows @ weights)
    keep = left < 2.5 * 1.4826 * median(left) + 1e-9
    weights, *_ = np.linalg.lstsq(rows[keep], level[keep], rcond=None)
    return np.asarray(terms @ weights)


def _blue_over_red(colour: FloatArray) -> FloatArray:
    soft = [gaussian_filter(colour[..., channel], 1.5) for channel in (0, 2)]
    return np.asarray(soft[1] / np.maximum(soft[0], 1.0))


def _veil(colour: FloatArray, area: BoolArray) -> FloatArray:
    """How far is each pixel on the way from the clear medium's colour to white? 0 to 1."""
    blue = _blue_over_red(colour)
    clear = float(np.percentile(blue[area], SETTINGS.clear_percentile))
    # The percentile of a wholly clear opening lies below its median by its own scatter.
    scatter = 1.4826 * median_deviation(blue[area])
    clear += min(scatter, 0.02)
    return np.asarray((blue - clear) / max(SETTINGS.white_blue - clear, 0.1))


def _detail(colour: FloatArray, area: BoolArray) -> FloatArray:
    """How strong are folds and pearls, as local contrast against the glow, noise taken off?"""
    light = (colour[..., 0] + colour[..., 1] + colour[..., 2]) / 3.0
    fine = light - gaussian_filter(light, 3.0)
    glow = np.maximum(gaussian_filter(light, 8.0), 1.0)
    contrast = fine / glow
    noise = 1.4826 * median(np.abs(contrast[area]))
    power = gaussian_filter(contrast**2, 3.0) - noise**2
    return np.asarray(np.sqrt(np.maximum(power, 0.0)))


def _shares(
    veil: FloatArray, detail: FloatArray, area: BoolArray, factor: float
) -> tuple[float, ...]:
    """Return the share of the area of each grade, thresholds taken times a factor."""
    grade: IntArray = np.searchsorted(factor * np.array(SETTINGS.veil_from), veil[area], "right")
    textured = np.searchsorted(factor * np.array(SETTINGS.detail_from), detail[area], "right")
    counts = np.bincount(np.maximum(grade, textured), minlength=5)
    return tuple(float(count) / int(area.sum()) for count in counts)
