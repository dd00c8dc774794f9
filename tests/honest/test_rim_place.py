"""A step of brightness at the optic's rim draws its line aside, and the ± of the scale holds that.

Own renders: the optic's edge as a dark line with a glow inside, the ground beyond it darker or
brighter than the optic by as much as told, sharp and blurred. No number is taken from elsewhere.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoLook, PhotoScene, RoundShape
from rimwise.demo.trouble import Trouble
from rimwise.measure.edges import find_edges
from rimwise.picture.raster import Raster
from rimwise.records.picture import PictureSheet

SHEET = PictureSheet(side="right", optic_diameter_mm=6.0)
SCENE = PhotoScene("right", opening=RoundShape(2.5, (0.1, -0.05)), pupil=RoundShape(3.6))


def rim_px(dim: float, blur_px: float, line: float) -> tuple[float, float]:
    """Error of the rim's mean radius, and its sd."""
    look = PhotoLook(
        optic_dim=dim, blur_px=blur_px, optic_line=line, optic_shade=0.3 * line, dust=3
    )
    pixels, truth = render_photo(replace(SCENE, look=look), np.random.default_rng(11))
    edges = find_edges(Raster(pixels), SHEET)
    rim = truth.optic_ellipse_px
    error = np.sqrt(edges.rim_ellipse.a * edges.rim_ellipse.b) - np.sqrt(rim.a * rim.b)
    return float(error), float(np.sqrt(edges.rim_covariance.mean()))


@pytest.mark.parametrize("blur_px", [1.0, 2.5])
@pytest.mark.parametrize("line", [0.15, 0.3])
def test_the_rims_radius_is_within_its_sd_whatever_lies_beyond(blur_px, line):
    told = [rim_px(dim, blur_px, line) for dim in (-0.12, 0.0, 0.12)]
    # Not chance but the same shift each time: within two sd, every one.
    assert all(abs(error) < 2.0 * sd for error, sd in told), told
    # And no ± as wide as the line itself: the scale of such a picture is known to a pixel in 300.
    assert all(sd < 1.0 for _, sd in told), told


@pytest.mark.parametrize("line", [0.10, 0.15, 0.30])
def test_of_a_double_edge_the_outer_line_is_the_rim_also_where_the_inner_is_stronger(line):
    """The inner line of 20 % runs 10 px inside: 3 % of the radius, a tenth of a millimetre."""
    trouble = Trouble(second_rim=0.2, second_rim_px=10.0)
    look = PhotoLook(optic_line=line, optic_shade=0.0, blur_px=1.5, dust=3, trouble=trouble)
    pixels, truth = render_photo(replace(SCENE, look=look), np.random.default_rng(11))
    found, rim = find_edges(Raster(pixels), SHEET).rim_ellipse, truth.optic_ellipse_px
    assert abs(np.sqrt(found.a * found.b) - np.sqrt(rim.a * rim.b)) < 1.0


@pytest.mark.parametrize("tilt_deg", [(9.0, 0.0), (-6.0, 6.0), (0.0, -9.0), (7.0, 5.0)])
def test_a_short_arc_of_the_rim_does_not_claim_to_know_its_radius(tilt_deg):
    """Ovalness and radius of an arc of a third of the turn go together: own derivation."""
    away = RoundShape(2.9, (0.3, 0.1))
    look = PhotoLook(optic_line=0.3, blur_px=1.5, dust=3)
    scene = replace(SCENE, tilt_deg=tilt_deg, pupil=away, look=look)
    pixels, truth = render_photo(scene, np.random.default_rng(11))
    edges = find_edges(Raster(pixels), SHEET)
    found, rim = edges.rim_ellipse, truth.optic_ellipse_px
    error = np.sqrt(found.a * found.b) - np.sqrt(rim.a * rim.b)
    sd = np.sqrt(edges.rim_covariance.mean())
    assert edges.rim_seen.mean() < 0.55
    assert abs(error) < 2.0 * sd


@pytest.mark.parametrize("aside_px", [(4.0, 0.0), (-3.0, 3.0), (0.0, -4.5)])
def test_a_rear_rim_that_looks_out_beside_the_front_one_does_not_draw_it_aside(aside_px):
    """An edge 0.25 mm thick (common practice, no source), 10 degrees aslant: 4 px on one side."""
    look = PhotoLook(optic_line=0.3, optic_shade=0.0, blur_px=1.5, dust=3)
    pixels, truth = render_photo(replace(SCENE, look=look), np.random.default_rng(11))
    rim = truth.optic_ellipse_px
    v, u = np.indices(pixels.shape[:2])
    front, rear = (
        np.hypot(u - rim.cx - du, v - rim.cy - dv) - np.sqrt(rim.a * rim.b)
        for du, dv in ((0.0, 0.0), aside_px)
    )
    beside = np.clip(front, 0.0, 1.0) * np.exp(-0.5 * (rear / 2.0) ** 2)
    pixels = np.rint(pixels * (1.0 - 0.25 * beside[..., None])).astype(np.uint8)
    found = find_edges(Raster(pixels), SHEET).rim_ellipse
    # The line through the darkest places lies 1.5 to 1.8 px aside and is 1.4 px too wide.
    assert np.hypot(found.cx - rim.cx, found.cy - rim.cy) < 0.7
    assert abs(np.sqrt(found.a * found.b) - np.sqrt(rim.a * rim.b)) < 1.0
