"""Opaque sectors of known size and density on our own renders, found again with reflexes masked."""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.render import render_photo
from rimwise.demo.scene import Lamp, PhotoLook, PhotoScene, RoundShape
from rimwise.demo.trouble import Haze, Trouble
from rimwise.measure.opacification import grade_opacification
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding, OpeningFinding
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import PictureFrame

SCENE = PhotoScene("left", PictureFrame(90.0), opening=RoundShape(2.5), look=PhotoLook(dust=0))


def graded(look: PhotoLook):
    """Grade a render within its true edge, so that nothing but the grading is on trial."""
    pixels, truth = render_photo(replace(SCENE, look=look), np.random.default_rng(2))
    edge = tuple((float(u), float(v)) for u, v in truth.opening_px)
    size = Estimate(5.0, 0.01)
    opening = OpeningFinding(edge, None, 360, None, equivalent_diameter_mm=size)
    finding = CoverFinding("", "", "left", "visit", "measured", opening=opening)
    return grade_opacification(Raster(pixels), finding)


def hazy(*hazes: Haze, **changes) -> PhotoLook:
    return replace(SCENE.look, trouble=Trouble(hazes=hazes), **changes)


def test_a_clear_capsule_scores_nothing():
    found = graded(hazy())
    assert found.score.value < 0.05
    assert found.area_percent.value < 5.0


def test_worked_by_hand_grade_2_over_144_degrees_and_grade_1_over_108():
    # Sectors of a circle about its own centre: 0.4 and 0.3 of its area, so 2 x 0.4 + 0.3 = 1.1.
    found = graded(hazy(Haze(0.0, 144.0, 0.35), Haze(144.0, 252.0, 0.16)))
    assert found.score.value == pytest.approx(1.1, abs=0.1)
    assert found.area_percent.value == pytest.approx(70.0, abs=5.0)
    # The grain of the haze carries a few per cent of its area over a threshold.
    expected = (30.0, 30.0, 40.0, 0.0, 0.0)
    assert found.graded_percent == pytest.approx(expected, abs=6.0)
    assert abs(found.score.value - 1.1) < 2.0 * found.score.sd


@pytest.mark.parametrize(("veil", "grade"), [(0.16, 1), (0.35, 2), (0.55, 3), (0.8, 4)])
def test_half_of_the_area_with_each_density(veil, grade):
    found = graded(hazy(Haze(30.0, 210.0, veil)))
    assert found.score.value == pytest.approx(0.5 * grade, abs=0.15 * grade)
    assert found.area_percent.value == pytest.approx(50.0, abs=5.0)


def test_a_reflex_is_left_out_and_said():
    lamps = (
        Lamp("disc", (0.3, 0.2), 18.0),
        Lamp("disc", (-0.9, -0.5), 26.0, haze_px=8.0, strength=0.9, on_optic=True),
    )
    plain, lit = (
        graded(hazy(Haze(0.0, 144.0, 0.35))),
        graded(hazy(Haze(0.0, 144.0, 0.35), lamps=lamps)),
    )
    assert lit.masked_percent > 1.0
    assert plain.masked_percent == pytest.approx(0.0, abs=0.5)
    assert lit.score.value == pytest.approx(plain.score.value, abs=0.08)


def test_pearls_are_not_clear():
    # Sixty pearls of 0.1 mm in one clump, many over each other or beyond the edge: 1 to 3 %.
    assert 1.0 < graded(hazy(pearls=60)).area_percent.value < 5.0


def test_uneven_light_is_no_opacity():
    look = replace(SCENE.look, unevenness=0.5, trouble=Trouble(slope=0.35))
    assert graded(look).score.value < 0.15


def test_without_colour_or_without_the_whole_edge_nothing_is_said():
    look = replace(SCENE.look, trouble=Trouble(monochrome=True))
    pixels, _ = render_photo(replace(SCENE, look=look), np.random.default_rng(2))
    none = CoverFinding("", "", "left", "visit", "refused")
    assert grade_opacification(Raster(pixels), none) is None
    assert grade_opacification(Raster(pixels[..., 0]), none) is None
