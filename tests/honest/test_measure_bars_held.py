"""Practice photographs that a user stored again, smaller or larger: the bars hold within a fifth.

Source: the practice set's truth files (an independent program's pictures and sheets). The bars are
those of upright pictures; an error may be a fifth larger, a share that is to be reached a fifth
smaller. What is missing counts as an infinite error, save a size where less than 300° of the edge
or half of the rim shows. What fails is marked with its figure and reason, and must fail.
"""

import io
import json
from functools import cache
from typing import Any

import numpy as np
import pytest
from PIL import Image
from practice import AWAY, FOLDER

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster

PHOTOS = sorted(FOLDER.glob("photos/*.jpg"))
LEVELS = ("easy", "medium", "hard")
MISSING = 9.0  # stands for infinite: larger than any cover in mm
A_FIFTH = 0.2

pytestmark = [
    pytest.mark.skipif(not PHOTOS, reason=AWAY),
    pytest.mark.slow,
    pytest.mark.timeout(900),
]

# Upright, by level: errors that may not be exceeded and shares that are to be reached.
ERRORS = {
    "cover, median": (0.02, 0.03, 0.06),
    "cover, nine of ten": (0.05, 0.08, 0.15),
    "least cover, median": (0.03, 0.05, 0.10),
    "bare degrees, median": (10.0, 10.0, 10.0),
    "toric axis, median": (0.5, 0.5, 0.5),
    "hidden claimed": (0.02, 0.02, 0.02),
}
SHARES = {"answered": (0.98, 0.90, 0.65), "plain given": (0.95, 0.90, 0.75)}


def _again(image: Image.Image, quality: int) -> Image.Image:
    sink = io.BytesIO()
    image.save(sink, format="JPEG", quality=quality)
    return Image.open(sink)


def _times(image: Image.Image, scale: float, way: Image.Resampling) -> Image.Image:
    return image.resize((round(image.width * scale), round(image.height * scale)), way)


FORMS = {
    "JPEG 60": lambda image: _again(image, 60),
    "half": lambda image: _again(_times(image, 0.5, Image.Resampling.LANCZOS), 92),
    "double": lambda image: _again(_times(image, 2.0, Image.Resampling.BICUBIC), 92),
}

_REFUSED = "4 of 12 are refused, 3 upright: most of the rim or of the edge is hidden"
_GIVEN = "{} %, of pictures answered {} %: " + _REFUSED
_HIDDEN = "{} % (upright 9.5): edges whose line has faded, that still show as a step"
_CHECKED = "6 of 12 hold a direction that could be checked, upright 7; the mean of those is 0.02 mm"
_AXIS = "4 of 7 axes are not told, upright too (refused, or marks hidden)"
FAILS = {
    ("JPEG 60", "medium", "hidden claimed"): _HIDDEN.format("12.2"),
    ("JPEG 60", "hard", "cover, median"): _REFUSED,
    ("JPEG 60", "hard", "cover, nine of ten"): _REFUSED,
    ("JPEG 60", "hard", "plain given"): _GIVEN.format(47, 67),
    ("JPEG 60", "hard", "toric axis, median"): _AXIS,
    ("half", "medium", "hidden claimed"): _HIDDEN.format("6.5"),
    ("half", "hard", "cover, median"): _CHECKED,
    ("half", "hard", "cover, nine of ten"): _REFUSED,
    ("half", "hard", "plain given"): _GIVEN.format(46, 65),
    ("half", "hard", "toric axis, median"): _AXIS,
    ("double", "medium", "hidden claimed"): _HIDDEN.format("8.0"),
    ("double", "hard", "cover, median"): _REFUSED,
    ("double", "hard", "cover, nine of ten"): _REFUSED,
    ("double", "hard", "plain given"): _GIVEN.format(48, 69),
    ("double", "hard", "toric axis, median"): _AXIS,
}


@cache
def _rows(form: str, level: str) -> list[dict[str, Any]]:
    rows = []
    for path in PHOTOS:
        if level not in path.name:
            continue
        image = FORMS[form](Image.fromarray(load_picture(path).raster.pixels))
        sheet, truth = picture_sheet_for(path), path.with_suffix("").with_suffix(".truth.json")
        finding = measure_photograph(Raster(np.array(image)), sheet, picture="again", sha256="")
        rows.append(_row(finding, json.loads(truth.read_text())))
    return rows


def _row(finding: Any, truth: dict[str, Any]) -> dict[str, Any]:
    """Hold one finding against its truth; None where nothing was asked."""
    edge, rim = (np.array(truth[f"{name}_edge_visibility"]) for name in ("capsule", "optic"))
    told = (None,) * 360 if finding.cover is None else finding.cover.width_mm
    width = np.array([np.nan if value is None else value for value in told])
    error = np.abs(width - np.array(truth["overlap_profile_mm"]))
    shows, plain = (edge > 0) & (rim > 0), (edge == 2) & (rim == 2)
    both = shows & np.isfinite(error)
    asked = finding.cover is not None and (~shows).sum() >= 10
    few = truth["capsule_visible_fraction"] < 300 / 360 or truth["optic_visible_fraction"] < 0.5
    least, bare = _error(finding, "min_mm", truth), _error(finding, "bare_total_deg", truth)
    return {
        "status": finding.status,
        "cover": error[both].mean() if both.any() else MISSING,
        "worst": np.nanmax(error) if np.isfinite(error).any() else 0.0,
        "least": None if few and least is None else least or MISSING,
        "bare": None if few and bare is None else 999.0 if bare is None else bare,
        "plain": np.isfinite(width[plain]).mean() if plain.any() else None,
        "hidden": np.isfinite(width[~shows]).mean() if asked else None,
        "axis": _axis_error(finding, truth),
        "wrong complete": _wrong_complete(finding, truth),
    }


def _error(finding: Any, name: str, truth: dict[str, Any]) -> float | None:
    told = None if finding.cover is None else getattr(finding.cover, name)
    true = truth[{"min_mm": "min_overlap_mm", "bare_total_deg": "uncovered_total_deg"}[name]]
    return None if told is None else abs(told.value - true)


def _axis_error(finding: Any, truth: dict[str, Any]) -> float | None:
    if not truth["toric"]:
        return None
    axis = finding.implant_toric_axis_deg
    return 90.0 if axis is None else abs((axis.value - truth["toric_axis_deg"] + 90) % 180 - 90)


def _wrong_complete(finding: Any, truth: dict[str, Any]) -> bool:
    told, least = finding.cover and finding.cover.complete, truth["min_overlap_mm"]
    return told is not None and abs(least) > 0.05 and told != (least > 0.0)


def _asked(form: str, level: str, name: str) -> list[float]:
    return [float(row[name]) for row in _rows(form, level) if row[name] is not None]


def _figure(form: str, level: str, bar: str) -> float:
    if bar == "answered":
        return float(np.mean([row["status"] != "refused" for row in _rows(form, level)]))
    if bar == "cover, nine of ten":
        return float(np.percentile(_asked(form, level, "cover"), 90.0))
    first = bar.split(maxsplit=1)[0].rstrip(",")
    if first in {"plain", "hidden"}:
        return float(np.mean(_asked(form, level, first)))
    return float(np.median(_asked(form, level, "axis" if first == "toric" else first)))


def _cases(bars: dict[str, tuple[float, float, float]]) -> list[Any]:
    cases = []
    for form in FORMS:
        for level, k in zip(LEVELS, range(3), strict=True):
            for bar, limits in bars.items():
                why = FAILS.get((form, level, bar))
                marks = [pytest.mark.xfail(strict=True, reason=why)] if why else []
                cases.append(pytest.param(form, level, bar, limits[k], marks=marks))
    return cases


@pytest.mark.parametrize(("form", "level", "bar", "limit"), _cases(ERRORS))
def test_errors_are_a_fifth_larger_at_the_most(form, level, bar, limit):
    assert _figure(form, level, bar) <= (1.0 + A_FIFTH) * limit


@pytest.mark.parametrize(("form", "level", "bar", "share"), _cases(SHARES))
def test_shares_are_a_fifth_smaller_at_the_most(form, level, bar, share):
    assert _figure(form, level, bar) >= (1.0 - A_FIFTH) * share


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("level", LEVELS)
def test_nothing_is_measured_wrongly(form, level):
    rows = _rows(form, level)
    assert not any(row["wrong complete"] for row in rows)
    assert max(row["worst"] for row in rows if row["status"] == "measured") <= 0.2
