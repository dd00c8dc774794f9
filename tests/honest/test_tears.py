"""A tear of the opening's edge is followed, or a break of the edge named; neither passes for whole.

Source: own renderer, whose scene says where the edge runs. That a tear runs outwards is common
practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoLook, PhotoScene, PhotoTruth, RoundShape
from rimwise.demo.trouble import Arc
from rimwise.exchange.curves import curves_document, curves_from
from rimwise.journey import finding_of
from rimwise.measure.correct import correct
from rimwise.measure.curves import edges_of
from rimwise.picture.raster import Raster
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet

SHEET = PictureSheet(side="left", optic_diameter_mm=6.0)
WHOLE = PhotoScene("left", px_per_mm=100.0, pupil=RoundShape(3.8), look=PhotoLook(lamps=()))
RADIUS_MM = 2.6


def torn(at_deg: float, depth_mm: float, width_deg: float) -> RoundShape:
    """Return a round opening with a tear: a Gaussian in angle, by its Fourier series."""
    width, at = np.radians(width_deg), np.radians(at_deg)
    order = np.arange(2, 61)
    size = depth_mm / RADIUS_MM * width * np.sqrt(2.0 / np.pi) * np.exp(-0.5 * (order * width) ** 2)
    waves = zip(order, size * np.cos(order * at), size * np.sin(order * at), strict=True)
    return RoundShape(
        RADIUS_MM, (0.03, -0.02), tuple((int(k), float(c), float(s)) for k, c, s in waves)
    )


def found(scene: PhotoScene) -> tuple[CoverFinding, PhotoTruth, list[str]]:
    pixels, truth = render_photo(scene, np.random.default_rng(11))
    finding = finding_of(Raster(pixels), SHEET, "", "")
    return finding, truth, [reason.code for reason in finding.reasons]


def largest_error(finding: CoverFinding, truth: PhotoTruth) -> float:
    assert finding.cover is not None
    told = np.array([np.nan if one is None else one for one in finding.cover.width_mm])
    return float(np.nanmax(np.abs(told - truth.cover_mm)))


@pytest.mark.parametrize(
    ("at_deg", "depth_mm", "width_deg"),
    [(40.0, 0.7, 5.0), (200.0, 0.9, 7.0), (120.0, 0.6, 4.0), (300.0, 0.8, 10.0)],
)
def test_a_tear_to_the_rim_is_followed(at_deg: float, depth_mm: float, width_deg: float) -> None:
    """Such tears were bridged, and the cover called complete."""
    finding, truth, codes = found(replace(WHOLE, opening=torn(at_deg, depth_mm, width_deg)))
    assert finding.status == "measured"
    assert finding.cover is not None
    assert finding.cover.complete is not True
    assert "edge-torn" in codes
    assert largest_error(finding, truth) < 0.2
    least = finding.cover.min_mm
    assert least is not None
    assert abs(least.value - truth.least_cover[0]) < 2.0 * least.sd
    bare = finding.cover.bare_total_deg
    assert bare is not None
    assert abs(bare.value - float((truth.cover_mm < 0.0).sum())) < 2.0 * bare.sd


@pytest.mark.parametrize(
    ("depth_mm", "width_deg"), [(0.38, 3.0), (0.42, 3.0), (0.45, 4.0), (0.5, 3.0)]
)
def test_a_narrow_tear_is_never_called_covered(depth_mm: float, width_deg: float) -> None:
    finding, truth, codes = found(replace(WHOLE, opening=torn(75.0, depth_mm, width_deg)))
    assert finding.cover is not None
    assert truth.least_cover[0] < 0.06
    assert finding.cover.complete is not True
    assert {"edge-torn", "edge-breaks-off"} & set(codes)
    assert largest_error(finding, truth) < 0.2


def test_a_hand_elsewhere_does_not_make_a_broken_edge_whole() -> None:
    """Numbers are had again from the curves kept; the doubt is kept with them."""
    finding, _, codes = found(replace(WHOLE, opening=torn(75.0, 0.42, 3.0)))
    assert "edge-breaks-off" in codes
    kept = curves_from(curves_document(finding.curves))
    assert kept is not None
    point = np.array(edges_of(kept).points_px(edges_of(kept).opening_px)[220])
    hand = Corrections(opening_px=((float(point[0]), float(point[1])),), who="R-1")
    again = correct(finding, SHEET, hand)
    assert again.cover is not None
    assert again.cover.complete is None
    assert "edge-breaks-off" in {reason.code for reason in again.reasons}


def test_a_hand_elsewhere_leaves_the_width_of_a_tear_s_error() -> None:
    finding, _, codes = found(replace(WHOLE, opening=torn(200.0, 0.9, 7.0)))
    assert "edge-torn" in codes
    kept = curves_from(curves_document(finding.curves))
    assert kept is not None
    point = np.array(edges_of(kept).points_px(edges_of(kept).opening_px)[20])
    hand = Corrections(opening_px=((float(point[0]), float(point[1])),), who="R-1")
    again = correct(finding, SHEET, hand)
    assert finding.cover is not None
    assert again.cover is not None
    assert finding.cover.min_mm is not None
    assert again.cover.min_mm is not None
    assert again.cover.min_mm.sd == pytest.approx(finding.cover.min_mm.sd, rel=0.1)
    assert "edge-torn" in {reason.code for reason in again.reasons}


def test_an_edge_that_fades_is_not_torn() -> None:
    """Its line is gone over 28°; the capsule goes on beyond it."""
    trouble = replace(WHOLE.look.trouble, gaps=(Arc(140.0, 14.0),))
    finding, _, codes = found(replace(WHOLE, look=replace(WHOLE.look, trouble=trouble)))
    assert finding.status == "measured"
    assert not {"edge-torn", "edge-breaks-off"} & set(codes)


def test_a_whole_edge_is_not_torn() -> None:
    finding, _, codes = found(WHOLE)
    assert not {"edge-torn", "edge-breaks-off"} & set(codes)
    assert finding.cover is not None
    assert finding.cover.complete is True
