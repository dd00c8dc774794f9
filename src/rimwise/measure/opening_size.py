"""Size, shape and place of the opening from its course about the optic's centre."""

import math
from functools import cache

import numpy as np

from rimwise.geometry.curve import ClosedCurve
from rimwise.geometry.fourier import FourierRadius
from rimwise.measure.edges import Edges
from rimwise.measure.width import WidthLaw
from rimwise.records.cover import OpeningFinding, Reason, VectorEstimate
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, nasal_superior

_SHAPE_WAVES = 14  # waves of 25° and longer are shape; shorter ones are the pixel's
_SAMPLES = 100
_HOLDS_95 = 1.96  # sd of a normal law to both sides
_ORIGIN = "opening edge against the optic as the ruler"


def opening_finding(edges: Edges, law: WidthLaw, diameter_mm: float, whole: bool) -> OpeningFinding:
    """Which opening does the photograph show?"""
    points = edges.points_px(edges.opening_px)
    seen = edges.opening_found
    edge = tuple(
        (float(u), float(v)) if s else None for (u, v), s in zip(points, seen, strict=True)
    )
    plain = OpeningFinding(
        edge_px=edge,
        contour_px=None,
        seen_deg=int(seen.sum()),
        edge_before_optic=edges.before_optic,
    )
    if not whole:
        return plain
    sizes: dict[str, Estimate | None] = dict(opening_sizes(law, 0.5 * diameter_mm))
    smallest, equal_area = sizes["smallest_width_mm"], sizes["equivalent_diameter_mm"]
    if smallest is not None and equal_area is not None and smallest.value > equal_area.value:
        sizes["smallest_width_mm"] = None
    return OpeningFinding(
        edge_px=edge,
        contour_px=None,
        seen_deg=int(seen.sum()),
        edge_before_optic=edges.before_optic,
        **sizes,
    )


def sizes_left_out(doubt: Reason | None, opening: OpeningFinding) -> tuple[Reason, ...]:
    """Say why no size is told, or why an opening with a size has no smallest width.

    Jaws laid on from outside pass over what hangs in, so that a deep tag leaves them wider apart
    than the circle of equal area: no width of what lies open. None of 600 openings of the usual
    waviness, drawn at random, is like that.
    """
    if doubt is not None:
        return (doubt,)
    if opening.equivalent_diameter_mm is None or opening.smallest_width_mm is not None:
        return ()
    return (
        Reason(
            "smallest-width-not-told",
            "The edge hangs in so far that a width between two jaws passes over it; the smallest "
            "width is not told, so look at the curve.",
        ),
    )


def smooth_curve(radius_mm: FloatArray, shape_waves: int = _SHAPE_WAVES) -> ClosedCurve:
    """Return the opening's smooth contour about the optic's centre, examiner's frame, mm."""
    waves = np.fft.rfft(radius_mm)[: shape_waves + 1] / len(radius_mm)
    terms = np.zeros(2 * shape_waves + 1)
    terms[0], terms[1::2], terms[2::2] = waves[0].real, 2.0 * waves[1:].real, -2.0 * waves[1:].imag
    size = len(terms)
    series = FourierRadius(terms, np.zeros((size, size)), 0.0, np.ones(len(radius_mm), dtype=bool))
    return ClosedCurve.from_radius(series)


def opening_sizes(law: WidthLaw, optic_radius_mm: float) -> dict[str, Estimate]:
    """How large and how round is the opening of this law, each with its ±?"""
    curve = smooth_curve(law.radius_mm)
    step = max(1, len(law.draws_mm) // _SAMPLES)
    # A larger optic makes the whole picture larger, the opening as well as the cover.
    radii = (optic_radius_mm - law.draws_given_optic_mm) * law.optic_scale
    spread = _size_spread(radii[::step])
    largest, smallest = curve.widths()
    values = {
        "equivalent_diameter_mm": curve.equivalent_diameter,
        "area_mm2": curve.area,
        "circularity": curve.circularity,
        "radial_deviation_rms_mm": curve.radial_deviation_rms(),
        "largest_width_mm": largest,
        "smallest_width_mm": smallest,
    }
    # Where shape ends and the edge's own roughness begins is a convention: what half as many waves
    # would say differently belongs to the ±.
    coarse = smooth_curve(law.radius_mm, _SHAPE_WAVES // 2)
    for name, other in (
        ("circularity", coarse.circularity),
        ("radial_deviation_rms_mm", coarse.radial_deviation_rms()),
    ):
        spread[name] = math.hypot(spread[name], values[name] - other)
    return {name: Estimate(value, spread[name], _ORIGIN) for name, value in values.items()}


def _size_spread(radii: FloatArray) -> dict[str, float]:
    """How far do the sizes scatter over courses (m, 360) of the radius?"""
    waves = np.fft.rfft(radii, axis=1)
    waves[:, _SHAPE_WAVES + 1 :] = 0.0
    smooth = np.fft.irfft(waves, n=360, axis=1)
    slope = np.fft.irfft(1j * np.arange(waves.shape[1]) * waves, n=360, axis=1)
    area = np.pi * np.mean(smooth**2, axis=1)
    perimeter = 2.0 * np.pi * np.mean(np.hypot(smooth, slope), axis=1)
    waves[:, :2] = 0.0  # what is left strays from the best-fit circle
    stray = np.fft.irfft(waves, n=360, axis=1)
    widths = np.stack([_between_jaws(course) for course in smooth])
    drawn = {
        "equivalent_diameter_mm": 2.0 * np.sqrt(area / np.pi),
        "area_mm2": area,
        "circularity": 4.0 * np.pi * area / perimeter**2,
        "radial_deviation_rms_mm": np.sqrt(np.mean(stray**2, axis=1)),
        "largest_width_mm": widths.max(axis=1),
        "smallest_width_mm": widths.min(axis=1),
    }
    return {name: float(np.std(values)) for name, values in drawn.items()}


def _between_jaws(course: FloatArray) -> FloatArray:
    """Return a course's widths (90,); one at a time, its heights stay near the processor."""
    along, jaws = _jaws()
    heights = jaws @ (along * course)
    return np.asarray(heights.max(axis=1) - heights.min(axis=1))


@cache
def _jaws() -> tuple[FloatArray, FloatArray]:
    """Return the 360 directions (2, 360) and those of the jaws (90, 2)."""
    angles = np.radians(np.arange(360.0))
    along = np.stack([np.cos(angles), np.sin(angles)])
    return along, along[:, :180:2].T.copy()


def opening_from_optic(
    law: WidthLaw, optic_radius_mm: float, side: Side, superior_sd_rad: float
) -> VectorEstimate:
    """Where is the opening's centroid from the optic's centre?

    Notes
    -----
    What shifts it most is the gap times the view, and a product has long tails: twice its sd holds
    less than it should. Where 1.96 sd hold less than 95 % of what is drawn, the sd that is told is
    as much larger, since a reader doubles it.
    """
    curve = smooth_curve(law.radius_mm)
    angles = np.radians(np.arange(360.0))
    drawn = optic_radius_mm - law.draws_mm
    # First moment of a curve given by its radius: ∮ r³/3 (cos, sin) dθ over its area.
    squared = drawn**2
    cubed = squared * drawn  # a third of the time of a power of three
    area = 0.5 * np.mean(squared, axis=1)
    x = cubed @ np.cos(angles) / (3.0 * len(angles) * area)
    y = cubed @ np.sin(angles) / (3.0 * len(angles) * area)
    centre = curve.centroid
    return vector_estimate(centre, (_holding_sd(x), _holding_sd(y)), side, superior_sd_rad)


def _holding_sd(draws: FloatArray) -> float:
    away = np.abs(draws - draws.mean())
    return max(float(draws.std()), float(np.quantile(away, 0.95)) / _HOLDS_95)


def vector_estimate(
    vector_mm: tuple[float, float],
    sd_mm: tuple[float, float],
    side: Side,
    superior_sd_rad: float,
    origin: str = _ORIGIN,
) -> VectorEstimate:
    """Return a vector with anatomical components; only these carry the roll's error (conv. 5)."""
    x, y = vector_mm
    nasal, superior = nasal_superior(x, y, side)
    return VectorEstimate(
        x_mm=Estimate(x, sd_mm[0], origin),
        y_mm=Estimate(y, sd_mm[1], origin),
        nasal_mm=Estimate(nasal, float(np.hypot(sd_mm[0], superior * superior_sd_rad)), origin),
        superior_mm=Estimate(superior, float(np.hypot(sd_mm[1], nasal * superior_sd_rad)), origin),
    )
