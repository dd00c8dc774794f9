"""Without the optic's diameter the limbus or a given scale is the ruler, with a wider ±."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.edges import Edges, find_edges
from rimwise.measure.photograph import finding_of_edges, measure_photograph
from rimwise.measure.ruler import optic_ruler, rulers_disagree
from rimwise.records.picture import PictureSheet, Ruler

PICTURE = Path(str(resources.files("rimwise.demo") / "pictures" / "photo_easy_001.jpg"))


def test_the_limbus_stands_in_for_the_optic() -> None:
    raster, sheet = load_picture(PICTURE).raster, picture_sheet_for(PICTURE)
    told = measure_photograph(raster, sheet, picture="told", sha256="")
    blind = replace(sheet, optic_diameter_mm=None)
    by_limbus = measure_photograph(raster, blind, picture="blind", sha256="")
    assert by_limbus.scale is not None
    assert told.scale is not None
    assert (told.scale.origin, by_limbus.scale.origin) == ("optic", "limbus")
    # An independent program drew the picture; its optic is what the sheet tells.
    assert by_limbus.optic is not None
    found, truth = by_limbus.scale.px_per_mm, told.scale.px_per_mm.value
    assert abs(found.value - truth) < 2.5 * found.sd
    # Never below 2.5 % from a measured white-to-white alone.
    assert found.sd / found.value >= 0.025
    assert found.sd > 2.0 * told.scale.px_per_mm.sd
    size = by_limbus.opening.equivalent_diameter_mm if by_limbus.opening else None
    assert size is not None
    assert size.sd > 0.025 * size.value


def test_the_optics_tolerance_is_that_of_the_opening() -> None:
    raster, sheet = load_picture(PICTURE).raster, picture_sheet_for(PICTURE)
    sds = []
    for optic_sd in (0.0, 0.05):
        told = replace(sheet, optic_diameter_sd_mm=optic_sd)
        opening = measure_photograph(raster, told, picture="eye", sha256="").opening
        assert opening is not None
        assert opening.equivalent_diameter_mm is not None
        sds.append(opening.equivalent_diameter_mm)
    exact, total = sds
    # The optic is the ruler: its relative error is the opening's, beside the edge's own.
    assert sheet.optic_diameter_mm is not None
    share = 0.05 / sheet.optic_diameter_mm * exact.value
    assert abs(total.sd - (exact.sd**2 + share**2) ** 0.5) < 0.1 * total.sd


def test_a_given_scale_goes_before_the_limbus() -> None:
    raster, sheet = load_picture(PICTURE).raster, picture_sheet_for(PICTURE)
    blind = replace(sheet, optic_diameter_mm=None)
    by_limbus = measure_photograph(raster, blind, picture="blind", sha256="")
    assert by_limbus.scale is not None
    given = replace(blind, px_per_mm=by_limbus.scale.px_per_mm.value)
    finding = measure_photograph(raster, given, picture="given", sha256="")
    assert finding.scale is not None
    assert finding.scale.origin == "given"


@pytest.fixture(scope="module")
def found() -> tuple[Edges, PictureSheet]:
    """Edges of a picture by an independent program, and its sheet: optic, white-to-white true."""
    sheet = picture_sheet_for(PICTURE)
    return find_edges(load_picture(PICTURE).raster, sheet), sheet


def test_true_rulers_agree(found: tuple[Edges, PictureSheet]) -> None:
    edges, sheet = found
    assert sheet.lengths.white_to_white_mm is not None
    assert rulers_disagree(edges, sheet) == ()
    assert rulers_disagree(edges, replace(sheet, optic_diameter_mm=None)) == ()


@pytest.mark.parametrize("wrong", ["px_per_mm", "ruler at the limbus", "ruler at the optic", "w2w"])
def test_rulers_that_contradict_each_other_are_told(
    found: tuple[Edges, PictureSheet], wrong: str
) -> None:
    """Of a true optic and a scale a third wrong the optic is taken, and both are named."""
    edges, sheet = found
    optic_px = 2.0 * (edges.rim_ellipse.a * edges.rim_ellipse.b) ** 0.5
    per_mm = optic_px / sheet.optic_diameter_mm
    told, key = {
        "px_per_mm": (replace(sheet, px_per_mm=per_mm * 1.3), "px_per_mm"),
        "ruler at the limbus": (
            replace(sheet, ruler=Ruler(per_mm * 5.0 * 0.6, 5.0, "limbus")), "the ruler"),
        "ruler at the optic": (
            replace(sheet, ruler=Ruler(per_mm * 5.0 * 1.1, 5.0, "optic")), "the ruler"),
        "w2w": (
            replace(sheet, lengths=replace(sheet.lengths, white_to_white_mm=14.9)),
            "white_to_white_mm"),
    }[wrong]  # fmt: skip
    finding = finding_of_edges(edges, told, "eye.jpg", "")
    first = finding.reasons[0]
    assert first.code == "rulers-disagree"
    assert key in first.sentence
    assert "by optic_diameter_mm, which was taken" in first.sentence
    assert finding.optic is not None
    assert finding.optic.diameter_mm == sheet.optic_diameter_mm


def test_the_order_of_rulers_is_the_one_that_is_written(found: tuple[Edges, PictureSheet]) -> None:
    """docs/sheets.md: optic, ruler, given scale, limbus; the next where one is not told."""
    edges, sheet = found
    optic_px = 2.0 * (edges.rim_ellipse.a * edges.rim_ellipse.b) ** 0.5
    ruler, given = Ruler(optic_px, 6.2, "optic"), optic_px / 5.9 / 1.13
    sheet = replace(sheet, ruler=ruler, px_per_mm=given)
    taken = []
    for gone in ("", "optic_diameter_mm", "ruler", "px_per_mm"):
        sheet = replace(sheet, **{gone: None}) if gone else sheet
        taken.append(optic_ruler(edges, sheet).origin)
    assert taken == ["optic", "ruler", "given", "limbus"]
    # A white-to-white that nobody measured is a prior: it contradicts nothing.
    prior = replace(sheet, optic_diameter_mm=7.4)
    prior = replace(prior, lengths=replace(prior.lengths, white_to_white_mm=None))
    assert rulers_disagree(edges, prior) == ()
