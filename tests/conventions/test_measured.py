"""What a measured photograph says of pixels, directions and unknowns: numbers 1, 5 and 18."""

import math
from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.render import render_photo
from rimwise.demo.scene import Lamp, PhotoLook, PhotoScene, RoundShape
from rimwise.measure.opening_size import vector_estimate
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster
from rimwise.records.picture import PictureSheet

# A lamp over the edge at 9 o'clock of the picture hides some directions.
SCENE = PhotoScene(
    "left",
    optic_centre_px=(650.0, 560.0),
    opening=RoundShape(2.5, (0.2, 0.1)),
    look=PhotoLook(noise=0.5, lamps=(Lamp("disc", (-2.4, 0.0), 70.0),)),
)


def _measured(scene, sheet):
    pixels, truth = render_photo(scene, np.random.default_rng(11))
    finding = measure_photograph(Raster(pixels), sheet, picture="eye.jpg", sha256="0" * 64)
    return finding, truth


@pytest.fixture(scope="module")
def upright():
    return _measured(SCENE, PictureSheet("left", optic_diameter_mm=6.0, optic_diameter_sd_mm=0.0))


def test_01_the_side_changes_no_direction_only_the_names(upright):
    left, _ = upright
    right, _ = _measured(SCENE, PictureSheet("right", optic_diameter_mm=6.0))
    for finding, sign in ((left, -1.0), (right, 1.0)):
        offset = finding.decentration["opening-from-optic"]
        # The usual parallax, which is anatomy and so differs by side, is at most 0.03 mm.
        assert offset.x_mm.value == pytest.approx(0.2, abs=0.05)
        assert offset.y_mm.value == pytest.approx(0.1, abs=0.05)
        assert offset.nasal_mm.value == pytest.approx(sign * offset.x_mm.value)


def test_05_the_centre_of_the_first_pixel_is_at_0_0(upright):
    finding, truth = upright
    found = finding.optic.ellipse_px
    # A frame that began at a pixel's corner would be half a pixel off in both; a whole rim's
    # centre is found to a tenth or two.
    assert found.cx == pytest.approx(truth.optic_ellipse_px.cx, abs=0.3)
    assert found.cy == pytest.approx(truth.optic_ellipse_px.cy, abs=0.3)


def test_05_a_picture_taken_from_the_head_end_gives_the_same_vectors(upright):
    finding, _ = upright
    frame = replace(SCENE.frame, superior_deg=270.0)
    turned, _ = _measured(
        replace(SCENE, frame=frame),
        PictureSheet("left", optic_diameter_mm=6.0, superior_deg=270.0),
    )
    for name in ("x_mm", "y_mm", "nasal_mm", "superior_mm"):
        one, other = (
            getattr(f.decentration["opening-from-optic"], name).value for f in (finding, turned)
        )
        assert one == pytest.approx(other, abs=0.03), name


def test_05_the_error_of_the_superior_direction_enters_anatomy_only():
    centre, sd_mm, error_rad = np.array([0.3, 0.0]), (0.01, 0.01), math.radians(3.0)
    vector = vector_estimate(centre, sd_mm, "right", error_rad)
    assert (vector.x_mm.sd, vector.y_mm.sd) == sd_mm
    # A turn by 3° moves a purely nasal vector up or down by 0.3 times 3° in radians.
    assert vector.superior_mm.sd == pytest.approx(math.hypot(0.01, 0.3 * error_rad))
    assert vector.nasal_mm.sd == pytest.approx(0.01)


def test_18_what_a_lamp_hides_has_no_cover_rather_than_a_guess_or_0(upright):
    finding, truth = upright
    hidden = truth.opening_visible == 0
    assert hidden.sum() > 10
    widths = finding.cover.width_mm
    known = [widths[d] for d in np.flatnonzero(~hidden) if widths[d] is not None]
    assert len(known) > 180
    assert all(widths[d] is None for d in np.flatnonzero(hidden)[3:-3])
