"""The drawing of a finding: deterministic, for every orientation, status and kind of picture."""

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageOps

from rimwise.picture.raster import Raster
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.picture import PictureSheet
from rimwise.report.cover_drawing import draw_cover
from rimwise.report.strip import runs, strip_scale
from rimwise.report.upright import shrink, upright_pixels, upright_points
from rimwise.report.words import cover_rows, headline, least_cover_words, number_words
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.estimate import Estimate

PX_PER_MM = 27.0
CENTRE = (170.0, 130.0)


def a_finding(hidden=range(100, 140), off_mm=0.5, status="partial"):
    """A finding by hand: a round opening 5.2 mm wide, off centre by ``off_mm`` to +x."""
    width, edge = [], []
    for at in range(360):
        away = math.radians(at)
        radius = off_mm * math.cos(away) + math.sqrt(2.6**2 - (off_mm * math.sin(away)) ** 2)
        width.append(None if at in hidden else 3.0 - radius)
        edge.append(
            None
            if at in hidden
            else (
                CENTRE[0] + PX_PER_MM * radius * math.cos(away),
                CENTRE[1] - PX_PER_MM * radius * math.sin(away),
            )
        )
    sd = tuple(None if w is None else 0.02 for w in width)
    cover = CoverProfile(
        tuple(width), sd, sd, LeastCover(0.4 - off_mm, 0.03, 0.0, 3.0), Estimate(0.4, 0.02),
        Estimate(97.0, 0.4), ((334.0, 386.0),), Estimate(52.0, 4.0), 360 - len(hidden), False, 0.0,
    )  # fmt: skip
    off = Estimate(off_mm, 0.02)
    return CoverFinding(
        picture="folder/E-1$x_$.jpg", sha256="0" * 64, side="left", state="visit", status=status,
        reasons=(Reason("hidden", "Forty directions are hidden by the lid."),),
        scale=ScaleFinding(Estimate(PX_PER_MM, 0.1), "optic", "optic"),
        optic=OpticFinding(EllipsePx(*CENTRE, 3.0 * PX_PER_MM, 3.0 * PX_PER_MM, 0.0), 6.0, 360),
        pupil=PupilFinding(EllipsePx(*CENTRE, 95.0, 94.0, 0.0), Estimate(7.0, 0.1)),
        opening=OpeningFinding(tuple(edge), None, 320, True, Estimate(5.2, 0.02)),
        decentration={
            "opening-from-optic": VectorEstimate(off, Estimate(0.0, 0.02), Estimate(-off_mm, 0.02),
                                                 Estimate(0.0, 0.02)),
            "optic-from-P1": None,
        },
        cover=cover,
    )  # fmt: skip


def a_picture(channels=3):
    v, u = np.mgrid[0:260, 0:340]
    disc = np.hypot(u - CENTRE[0], v - CENTRE[1]) < 95
    grey = np.where(disc, 180, 60).astype(np.uint8)
    return grey if channels == 1 else np.stack([grey, grey // 2, grey // 3], axis=-1)


SHEET = PictureSheet("left", code="E-1", optic_diameter_mm=6.0)


def opened(png):
    return Image.open(io.BytesIO(png))


def test_equal_input_gives_equal_bytes():
    raster = Raster(a_picture())
    assert draw_cover(raster, a_finding(), SHEET) == draw_cover(raster, a_finding(), SHEET)


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("status", ["measured", "partial", "refused"])
def test_every_status_and_kind_of_picture_is_drawn(channels, status):
    finding = a_finding(status=status)
    if status == "refused":
        finding = replace(finding, scale=None, optic=None, pupil=None, opening=None, cover=None)
    picture = opened(draw_cover(Raster(a_picture(channels)), finding, SHEET))
    assert picture.format == "PNG"
    assert picture.size[0] == 1300


def test_an_all_bare_and_an_all_hidden_strip_are_drawn():
    bare = a_finding(hidden=(), off_mm=0.0)
    widths = tuple(None if w is None else w - 2.0 for w in bare.cover.width_mm)
    bare = replace(bare, cover=replace(bare.cover, width_mm=widths))
    assert draw_cover(Raster(a_picture()), bare, SHEET)
    hidden = replace(bare, cover=replace(bare.cover, width_mm=(None,) * 360, min_mm=None))
    assert draw_cover(Raster(a_picture()), hidden, SHEET)


@pytest.mark.parametrize("tag", range(1, 9))
def test_the_picture_is_turned_as_a_general_library_turns_it(tag):
    # Second opinion: Pillow's ImageOps.exif_transpose.
    stored = np.arange(5 * 7, dtype=np.uint8).reshape(5, 7)
    image = Image.fromarray(stored)
    image.getexif()[0x0112] = tag
    expected = np.asarray(ImageOps.exif_transpose(image))
    raster = Raster(stored, tag)
    assert np.array_equal(upright_pixels(raster), expected)
    for row, column in ((0, 0), (1, 5), (4, 2)):
        u, v = upright_points(np.array([float(column), float(row)]), raster)
        assert expected[int(v), int(u)] == stored[row, column]


@pytest.mark.parametrize("tag", range(1, 9))
def test_every_orientation_is_drawn(tag):
    assert draw_cover(Raster(a_picture(), tag), a_finding(), SHEET)


def test_a_wide_photograph_is_shrunk_by_whole_blocks():
    wide = np.zeros((30, 4000, 3), dtype=np.uint8)
    wide[:, :3] = 90
    small, factor = shrink(wide)
    assert factor == 3
    assert small.shape == (10, 1333, 3)
    assert small[0, 0].tolist() == [90, 90, 90]


def test_the_strip_is_a_whole_number_of_times_the_photograph():
    finding = a_finding()
    scale = strip_scale(finding.cover, 0.7)
    assert scale.inch_per_mm == scale.times * 0.7
    assert scale.low_mm < -0.1
    assert scale.high_mm > 0.9


def test_runs_of_hidden_directions():
    assert runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
    assert runs(np.array([False])) == []


def test_words_say_value_spread_and_place():
    finding = a_finding()
    assert headline(finding) == "Measured in part. Complete cover: no (chance below 0.1 %)"
    words = least_cover_words(finding.cover.min_mm, "left")
    assert words == "least cover −0.10 ± 0.03 mm at 0° (3 o'clock, temporal)"
    rows = {row.label: row for row in cover_rows(finding)}
    assert rows["Opening (capsulotomy) diameter"].value == "5.20 ± 0.02 mm"
    assert rows["Least cover (capsule overlap)"].value == "−0.10 ± 0.03 mm"
    offset = rows["Opening centroid from optic centre"]
    assert offset.value.startswith("0.50 ± 0.02 mm temporal")
    assert rows["Bare in all"].note == "counter-clockwise 334° to 26°"
    assert rows["Optic centre from P1 (reflex of the cornea's front)"].value == "not measured"


def test_a_small_spread_never_reads_as_zero():
    assert number_words(5.25, 0.004, "mm") == "5.250 ± 0.004 mm"
    assert number_words(5.25, 0.0, "mm") == "5.25 ± 0.00 mm"


def test_a_refusal_reads_as_one():
    finding = replace(
        a_finding(status="refused"), scale=None, optic=None, opening=None, cover=None,
        decentration={},
    )  # fmt: skip
    assert headline(finding) == "Refused: this picture cannot answer"
    labels = [row.label for row in cover_rows(finding)]
    assert labels == ["Status", "Cover (capsule overlap)", "Opening (capsulotomy)"]
    assert CAUTIONS[0].startswith("Research")


@pytest.mark.parametrize(
    "name", ["患者01.jpg", "глаз.jpg", "עין.jpg", "eye\N{EYE}.jpg", "Ünal.jpg"]
)
def test_a_name_in_any_letters_is_drawn_without_a_warning(name):
    """Letters that the font lacks stand by their numbers (Unicode's); a warning fails the test."""
    raster, found = Raster(a_picture()), a_finding()
    png = draw_cover(raster, replace(found, picture=name), SHEET)
    assert png != draw_cover(raster, replace(found, picture="other.jpg"), SHEET)
