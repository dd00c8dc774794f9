"""Without the optic's diameter the limbus or a given scale is the ruler, with a wider ±."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.measure.photograph import measure_photograph

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
