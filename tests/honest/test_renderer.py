"""The one renderer of photographs puts its edges where its truth says, to < 0.05 px.

Checked without the renderer's own formulas: edges are found again by half-level crossings along
rays in the rendered pixels (scipy interpolation), areas by shapely, and the truth's cover by
pushing points through the projection one at a time.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from scipy.optimize import brentq
from shapely.geometry import Polygon

from rimwise.demo.cases import CASES, draw_case
from rimwise.demo.hardness import LEVELS
from rimwise.demo.photos import draw_photo, draw_view_deg, photo_jpeg
from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoLook, PhotoScene, RoundShape, opening_map, optic_map
from rimwise.demo.trouble import Arc, Trouble
from rimwise.terms.frames import PictureFrame

PLAIN_LOOK = PhotoLook(
    texture=0.0, unevenness=0.0, dust=0, noise=0.0, optic_line=0.0, optic_shade=0.0,
    optic_dim=0.0, rim_glow=0.0, pupil_shade=0.0,
    opening_line=0.0, capsule_veil=0.9, capsule_rgb=(20.0, 220.0, 240.0), blur_px=1.3,
)  # fmt: skip
ROUND = RoundShape(2.5, (0.2, -0.1), ((2, 0.02, -0.01), (3, 0.01, 0.005), (5, 0.004, 0.0)))


def plain_scene(**changes):
    scene = PhotoScene(
        "left",
        PictureFrame(90.0),
        tilt_deg=(7.0, -4.0),
        gap_mm=0.3,
        opening_magnification=0.992,
        size_px=(860, 840),
        optic_centre_px=(431.3, 421.8),
        opening=ROUND,
        haptic_axis_deg=None,
        look=PLAIN_LOOK,
    )
    return replace(scene, **changes)


def crossing_px(channel, centre, through, reach_px=9.0):
    """Distance along a ray, from a predicted point, of the half level between both sides."""
    unit = (through - centre) / np.hypot(*(through - centre))
    offset = np.linspace(-reach_px, reach_px, 361)
    u, v = through[:, None] + unit[:, None] * offset
    level = map_coordinates(channel.astype(float), [v, u], order=3, mode="nearest")
    half = 0.5 * (level[:20].mean() + level[-20:].mean())
    above = (level > half).astype(int)
    steps = np.flatnonzero(np.diff(above))
    assert len(steps) == 1
    i = steps[0]
    return offset[i] + (half - level[i]) / (level[i + 1] - level[i]) * (offset[1] - offset[0])


def residuals_px(scene, channel, points_px):
    pixels, _ = render_photo(scene, np.random.default_rng(5))
    centre = np.array(scene.optic_centre_px)
    return np.array([crossing_px(pixels[..., channel], centre, p) for p in points_px[::7]])


@pytest.mark.parametrize(
    "frame", [PictureFrame(90.0), PictureFrame(270.0, mirrored=True), PictureFrame(37.0)]
)
def test_opening_edge_lies_where_the_truth_says(frame):
    scene = plain_scene(frame=frame)
    _, truth = render_photo(scene, np.random.default_rng(5))
    miss = residuals_px(scene, 2, truth.opening_px)
    # 8-bit rounding over a step of ~100 grey levels in ~3 px allows ~0.015 px; the reflex's own
    # slope across the window adds a little.
    assert np.abs(miss).max() < 0.05
    assert abs(miss.mean()) < 0.02


def test_pupil_edge_lies_where_the_scene_says():
    # A wide limbus: the iris's shade, steeper the nearer that is, would move the half level.
    pupil, limbus = RoundShape(3.5, (0.1, 0.05), ((2, 0.01, 0.0),)), RoundShape(5.3)
    scene = plain_scene(pupil=pupil, limbus=limbus)
    scene = replace(scene, look=replace(PLAIN_LOOK, capsule_veil=0.0))
    points = scene.pupil.points_mm(360) * scene.px_per_mm * (1.0, -1.0) + scene.optic_centre_px
    assert np.abs(residuals_px(scene, 0, points)).max() < 0.05


def test_optic_rim_line_is_centred_on_the_ellipse_of_the_truth():
    scene = plain_scene(look=replace(PLAIN_LOOK, optic_line=0.6, capsule_veil=0.0))
    pixels, truth = render_photo(scene, np.random.default_rng(5))
    ellipse = truth.optic_ellipse_px
    turn_rad = np.radians(ellipse.angle_deg)
    turn = np.array([[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]])
    centre = np.array([ellipse.cx, ellipse.cy])
    offset = np.linspace(-7.0, 7.0, 141)
    misses = []
    for around in np.radians(np.arange(0.0, 360.0, 15.0)):
        p = centre + turn @ (ellipse.a * np.cos(around), ellipse.b * np.sin(around))
        unit = (p - centre) / np.hypot(*(p - centre))
        u, v = p[:, None] + unit[:, None] * offset
        level = map_coordinates(pixels[..., 0].astype(float), [v, u], order=3)
        depth = np.polyval(np.polyfit(offset[[0, 1, -2, -1]], level[[0, 1, -2, -1]], 1), offset)
        misses.append(np.sum((depth - level) * offset) / np.sum(depth - level))
    # Centre of mass of the line: 8-bit rounding of a line ~100 grey levels deep.
    assert np.abs(misses).max() < 0.05
    assert abs(np.mean(misses)) < 0.02


def test_cover_of_the_truth_by_pushing_points_one_at_a_time():
    scene = plain_scene(tilt_deg=(8.0, 5.0))
    _, truth = render_photo(scene, np.random.default_rng(5))
    optic = optic_map(scene)
    for at_deg in range(0, 360, 20):
        # Seen direction -> point of the optic plane that projects there, by root finding.
        seen = np.array([np.cos(np.radians(at_deg)), np.sin(np.radians(at_deg))])

        def side(phi, seen=seen):
            ray = optic.px(np.array([np.cos(phi), np.sin(phi)])) - optic.origin_px
            x, y = scene.frame.examiner_from_picture(ray)
            return x * seen[1] - y * seen[0]

        phi = brentq(side, np.radians(at_deg - 20.0), np.radians(at_deg + 20.0))
        along = np.array([np.cos(phi), np.sin(phi)])

        def beyond(radius, along=along):
            at = radius * along - scene.opening.centre_mm
            return np.hypot(*at) - scene.opening.radius_at(np.arctan2(at[1:], at[:1]))[0]

        radius = brentq(beyond, 1.0, 4.0)
        # The truth's curve is sampled every 0.05°.
        assert truth.cover_mm[at_deg] == pytest.approx(3.0 - radius, abs=2e-6)


def test_area_and_centroid_agree_with_shapely():
    scene = plain_scene()
    _, truth = render_photo(scene, np.random.default_rng(5))
    polygon = Polygon(scene.opening.points_mm())
    assert truth.area_mm2 == pytest.approx(polygon.area, rel=1e-12)
    assert truth.decentration_mm == pytest.approx((polygon.centroid.x, polygon.centroid.y))
    assert truth.equivalent_diameter_mm == pytest.approx(2.0 * np.sqrt(polygon.area / np.pi))


def test_parallax_moves_the_seen_edge_but_not_the_cover():
    flat, deep = plain_scene(gap_mm=0.0), plain_scene(gap_mm=0.4)
    _, truth_flat = render_photo(flat, np.random.default_rng(5))
    _, truth_deep = render_photo(deep, np.random.default_rng(5))
    assert np.array_equal(truth_flat.cover_mm, truth_deep.cover_mm)
    shift = opening_map(deep).origin_px - opening_map(flat).origin_px
    # 0.4 mm · sin 8.05° · 108 px/mm, towards +x (picture right) and -y (down).
    assert np.hypot(*shift) == pytest.approx(0.4 * np.sin(np.radians(8.05)) * 108.0, rel=2e-3)
    assert shift[0] > 0.0
    assert shift[1] > 0.0


@pytest.mark.parametrize("difficulty", LEVELS)
def test_a_drawn_photo_is_repeatable_and_whole(difficulty):
    pixels, truth, sheet = draw_photo(np.random.default_rng(8), difficulty)
    again, _, _ = draw_photo(np.random.default_rng(8), difficulty)
    assert np.array_equal(pixels, again)
    assert pixels.shape == (1050, 1400, 3)
    assert np.isfinite(truth.cover_mm).all()
    assert sheet.optic_diameter_mm in {5.5, 6.0, 6.5}
    assert photo_jpeg(pixels, 90)[:2] == b"\xff\xd8"


def test_what_the_iris_or_the_lid_hides_is_said_to_be_hidden():
    small = plain_scene(pupil=RoundShape(2.2), opening=RoundShape(2.5))
    _, truth = render_photo(small, np.random.default_rng(5))
    assert not truth.opening_visible.any()
    assert not truth.optic_visible.any()
    lidded = plain_scene(lid_mm=1.5, look=replace(PLAIN_LOOK, optic_line=0.3, opening_line=0.2))
    pixels, truth = render_photo(lidded, np.random.default_rng(5))
    assert truth.opening_visible[90] == 0
    assert truth.opening_visible[270] == 2
    assert tuple(pixels[60, 430]) == (120, 84, 70) or pixels[60, 430].std() < 30


def test_a_missing_arc_is_said_to_be_missing_and_holds_no_edge():
    arc = Arc(0.0, 20.0)
    look = replace(PLAIN_LOOK, opening_line=0.2, trouble=Trouble(gaps=(arc,)))
    pixels, truth = render_photo(plain_scene(look=look), np.random.default_rng(5))
    assert not truth.opening_visible[:15].any()
    assert (truth.opening_visible[40:320] == 2).all()
    u, v = truth.opening_px[5]
    row = pixels[round(v), round(u) - 6 : round(u) + 7, 2].astype(float)
    # What is left is the slow fading of the veil: no step of more than 3 grey levels a pixel.
    assert np.abs(np.diff(row)).max() <= 3.0


def test_the_whole_edge_is_where_the_truth_says_under_every_trouble():
    trouble = Trouble(
        second_rim=0.2, mesh=0.0, gains_rgb=(1.1, 0.95, 0.9), ring_radii_mm=(1.0, 1.4)
    )
    scene = plain_scene(look=replace(PLAIN_LOOK, trouble=trouble))
    _, truth = render_photo(scene, np.random.default_rng(5))
    assert np.abs(residuals_px(scene, 2, truth.opening_px)).max() < 0.05


def test_the_usual_eye_points_temporal():
    rng = np.random.default_rng(6)
    for side, temporal in (("right", -1.0), ("left", 1.0)):
        drawn = np.array([draw_view_deg(rng, side, 1.5) for _ in range(4000)])
        # Mean of 4,000 with an sd of 2.6°: 0.04°, times four.
        assert temporal * drawn[:, 0].mean() == pytest.approx(6.9, abs=0.16)
        assert drawn[:, 1].mean() == pytest.approx(0.0, abs=0.16)


@pytest.mark.parametrize("case", CASES)
def test_a_special_case_differs_from_the_plain_picture(case):
    pixels, truth, _ = draw_case(np.random.default_rng(4), case)
    blank, hidden, _ = draw_case(np.random.default_rng(4), case, edge_seen=False)
    assert pixels.shape == blank.shape
    assert not hidden.opening_visible.any()
    assert truth.opening_visible.any()
    assert (np.ptp(pixels, axis=-1).max() == 0) == (case == "monochrome")
