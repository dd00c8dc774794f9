"""What a user would do instead, on the same pictures in the same run; docs/accuracy.md shows it.

Run by hand: ``python builders/compare_methods.py [pictures per level]``; writes
``builders/compared_methods.json``. The other two are helped: both get the true scale, the circle
transform a narrow range about the true radius, the clicks lie on the true edge but for 0.05 mm.
"""

import json
import sys
from pathlib import Path

import cv2
import numpy as np

from rimwise.demo.photos import draw_photo
from rimwise.demo.scene import PhotoTruth
from rimwise.geometry.circle import fit_circle
from rimwise.journey import finding_of
from rimwise.picture.raster import Raster

KEPT = Path(__file__).with_name("compared_methods.json")
LEVELS = {1: "easy", 3: "medium", 5: "hard"}
CLICKS, SCATTER_MM = 10, 0.05
METHODS = ("rimwise", "circle through ten clicks", "circle transform")


def compare(count: int) -> None:
    """Draw, measure three ways, keep medians and 90th percentiles."""
    rows = []
    for level, name in LEVELS.items():
        tried = [_try(level, seed) for seed in range(count)]
        for method in METHODS:
            found = [one[method] for one in tried if one[method] is not None]
            edge, size = np.abs(np.array(found, dtype=float).reshape(-1, 2)).T
            rows.append(
                {"level": name, "method": method, "pictures": count, "answers": len(found)}
                | {f"edge_{p}_mm": _rounded(edge, p) for p in (50, 90)}
                | {f"diameter_{p}_mm": _rounded(size, p) for p in (50, 90)}
            )
    KEPT.write_text(json.dumps(rows, indent=1) + "\n")


def _rounded(values: np.ndarray, percent: int) -> float | None:
    return round(float(np.percentile(values, percent)), 4) if len(values) else None


def _try(level: int, seed: int) -> dict[str, tuple[float, float] | None]:
    """Return mean error of the edge and error of the diameter, mm, by method."""
    rng = np.random.default_rng([seed, 4711])
    pixels, truth, sheet = draw_photo(rng, level)
    centre = np.array([truth.optic_ellipse_px.cx, truth.optic_ellipse_px.cy])
    shown = truth.opening_visible > 0
    answers: dict[str, tuple[float, float] | None] = dict.fromkeys(METHODS)

    def judged(points_px: np.ndarray, diameter_mm: float) -> tuple[float, float] | None:
        known = shown & np.isfinite(points_px[:, 0])
        if not known.any():
            return None
        away = [np.hypot(*(row - centre).T) for row in (points_px, truth.opening_px)]
        miss_mm = np.abs(away[0] - away[1])[known] / truth.px_per_mm
        return float(miss_mm.mean()), diameter_mm - truth.equivalent_diameter_mm

    finding = finding_of(Raster(pixels), sheet, "", "")
    opening = finding.opening
    if opening is not None and opening.equivalent_diameter_mm is not None:
        none = (np.nan, np.nan)
        edge = np.array([none if point is None else point for point in opening.edge_px])
        answers["rimwise"] = judged(edge, opening.equivalent_diameter_mm.value)
    unit = (truth.opening_px - centre) / np.hypot(*(truth.opening_px - centre).T)[:, None]
    for method, circle in (
        ("circle through ten clicks", _clicked(rng, truth, shown)),
        ("circle transform", _transformed(pixels, truth)),
    ):
        if circle is not None:
            x, y, r = circle
            on_ray = _crossing(np.array([x, y]) - centre, r, unit)
            points = centre + on_ray[:, None] * unit
            answers[method] = judged(points, 2.0 * r / truth.px_per_mm)
    return answers


def _crossing(away: np.ndarray, radius: float, unit: np.ndarray) -> np.ndarray:
    along = unit @ away
    return along + np.sqrt(np.maximum(along**2 + radius**2 - away @ away, 0.0))


def _clicked(
    rng: np.random.Generator, truth: PhotoTruth, shown: np.ndarray
) -> tuple[float, float, float] | None:
    places = np.flatnonzero(shown)
    if len(places) < CLICKS:
        return None
    at = places[np.linspace(0, len(places) - 1, CLICKS).astype(int)]
    clicks = truth.opening_px[at] + rng.normal(0.0, SCATTER_MM * truth.px_per_mm, (CLICKS, 2))
    circle = fit_circle(clicks)
    return circle.cx, circle.cy, circle.radius


def _transformed(pixels: np.ndarray, truth: PhotoTruth) -> tuple[float, float, float] | None:
    grey = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), (0, 0), 2.0)[::2, ::2].copy()
    true_px = 0.25 * truth.equivalent_diameter_mm * truth.px_per_mm
    found = cv2.HoughCircles(
        grey, cv2.HOUGH_GRADIENT, 1.0, 1000.0, param1=40.0, param2=15.0,
        minRadius=int(0.85 * true_px), maxRadius=int(1.10 * true_px),
    )  # fmt: skip
    if found is None:
        return None
    x, y, r = (2.0 * float(value) for value in np.ravel(found)[:3])
    return x, y, r


if __name__ == "__main__":
    compare(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
