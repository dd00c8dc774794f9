"""Pictures without colour: cover inside the rim by the edge's fine line, in part, and never bare.

Own renders of levels 1 to 3 and practice photographs (an independent program), made grey by the
weights of ITU-R BT.601 (from memory, no pass criterion: any weights do); the truth is that of the
coloured picture.
"""

import json

import cv2
import numpy as np
import pytest
from practice import AWAY, FOLDER

from rimwise.demo.photos import draw_photo
from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster

LUMA = np.array([0.299, 0.587, 0.114])


def _grey(pixels, sheet):
    grey = np.rint(pixels @ LUMA).astype(np.uint8)
    finding = measure_photograph(Raster(grey), sheet, picture="grey.png", sha256="")
    told = (None,) * 360 if finding.cover is None else finding.cover.width_mm
    return finding, np.array([np.nan if value is None else value for value in told])


@pytest.mark.parametrize(("level", "seed"), [(1, 3), (1, 8), (2, 1), (2, 5), (3, 1), (3, 2)])
def test_cover_is_told_in_part_or_refused_and_never_bare(level, seed):
    pixels, truth, sheet = draw_photo(np.random.default_rng([seed, 77]), level)
    finding, width = _grey(pixels, sheet)
    assert finding.status != "measured"
    assert finding.cover is None or finding.cover.complete is None
    if finding.status == "partial":
        assert "no-colour" in {reason.code for reason in finding.reasons}
        error = np.abs(width - truth.cover_mm)
        assert np.isfinite(error).sum() >= 30
        # As for coloured ones: 0.03 mm in the median and 0.2 mm at the most.
        assert np.nanmedian(error) < 0.03
        assert np.nanmax(error) < 0.2
        assert np.nanmin(width) > 0.0


@pytest.mark.skipif(not FOLDER.is_dir(), reason=AWAY)
@pytest.mark.parametrize("level", ["easy", "medium"])
def test_practice_photographs_made_grey(level):
    answered, errors = 0, []
    for path in sorted(FOLDER.glob(f"photos/*{level}*.jpg"))[:6]:
        truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
        finding, width = _grey(load_picture(path).raster.pixels, picture_sheet_for(path))
        answered += finding.status == "partial"
        errors.append(np.abs(width - np.array(truth["overlap_profile_mm"])))
    told = np.concatenate(errors)
    assert answered >= 4
    assert np.nanmedian(told) < 0.02
    assert np.nanpercentile(told, 95) < 0.05


@pytest.mark.parametrize(
    "tint",
    [(1.0, 1.0, 1.08), (1.07, 0.95, 0.75), (0.4, 1.0, 0.5), (1.0, 0.98, 0.95)],
    ids=["bluish", "sepia", "green", "warm"],
)
def test_a_tint_is_no_colour(tint):
    """Six grey levels of blue were enough for another line to be measured, complete and all."""
    pixels, truth, sheet = draw_photo(np.random.default_rng([3, 77]), 1)
    tinted = np.clip((pixels @ LUMA)[..., None] * tint + (0.0, 0.0, 6.0), 0.0, 255.0)
    finding = measure_photograph(
        Raster(np.rint(tinted).astype(np.uint8)), sheet, picture="tinted.png", sha256=""
    )
    assert finding.status == "partial"
    assert "no-colour" in {reason.code for reason in finding.reasons}
    told = np.array([np.nan if one is None else one for one in finding.cover.width_mm])
    assert np.nanmax(np.abs(told - truth.cover_mm)) < 0.2


def test_captions_in_colour_make_no_colour_picture():
    """Two coloured bars of a twentieth of the picture each, above and below a grey eye."""
    pixels, truth, sheet = draw_photo(np.random.default_rng([3, 77]), 1)
    grey = np.repeat((pixels @ LUMA)[..., None], 3, axis=2)
    grey[:52], grey[-52:] = (210, 60, 40), (40, 90, 210)
    finding = measure_photograph(
        Raster(np.rint(grey).astype(np.uint8)), sheet, picture="caption.png", sha256=""
    )
    assert finding.status == "partial"
    assert "no-colour" in {reason.code for reason in finding.reasons}
    told = np.array([np.nan if one is None else one for one in finding.cover.width_mm])
    assert np.nanmax(np.abs(told - truth.cover_mm)) < 0.2


@pytest.mark.skipif(not FOLDER.is_dir(), reason=AWAY)
@pytest.mark.parametrize("share", [0.04, 0.10])
def test_of_a_trace_of_colour_compression_makes_no_edge(share):
    """Pale pictures told wrong arcs, up to 0.55 mm off: blocks decided where capsule begins."""
    for path in sorted(FOLDER.glob("photos/*medium*.jpg"))[:6]:
        truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
        pixels = load_picture(path).raster.pixels.astype(np.float32)
        grey = (pixels @ LUMA)[..., None]
        pale = np.clip(grey + share * (pixels - grey), 0.0, 255.0).astype(np.uint8)
        written = cv2.imencode(".jpg", pale[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 60])[1]
        read = cv2.imdecode(written, cv2.IMREAD_COLOR)[..., ::-1]
        finding = measure_photograph(
            Raster(np.ascontiguousarray(read)), picture_sheet_for(path), picture="", sha256=""
        )
        if finding.cover is None:
            continue
        assert finding.cover.complete is None
        told = [np.nan if value is None else value for value in finding.cover.width_mm]
        error = np.abs(np.array(told) - np.array(truth["overlap_profile_mm"]))
        assert not (error > 0.2).any(), path.name
