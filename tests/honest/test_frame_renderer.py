"""The renderer's microscope frames put reflexes, pupil and limbus where their truth says.

Checked in the pixels, without the renderer's own formulas: centroids of spots, half-level
crossings along rays (scipy interpolation). What the eye's model says of places is checked by
tests/published and tests/second_opinion; here only that the picture shows it.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from rimwise.demo.frame_render import render_frame
from rimwise.demo.frame_scene import FrameLook
from rimwise.demo.frames import FrameWish, draw_frame, draw_frame_scene, lamp_places_mm

PLAIN = FrameLook(
    iris_rgb=(60.0,) * 3, sclera_rgb=(180.0,) * 3, pupil_rgb=(20.0,) * 3, crescent=0.0,
    unevenness=0.0, texture=0.0, bloom=0.0, noise=0.0, veil=0.5, blur_px=0.8,
    limbus_blur_px=4.0,
)  # fmt: skip


def plain_scene(seed: int, **wish):
    """A scene without clutter or noise, its sizes and places drawn."""
    scene, _ = draw_frame_scene(np.random.default_rng(seed), FrameWish(**wish))
    return replace(scene, clutter=(), look=PLAIN)


def half_level_px(channel: np.ndarray, centre: np.ndarray, through: np.ndarray) -> float:
    """Distance from a point of a curve, along the ray to it, of the half level."""
    unit = (through - centre) / np.hypot(*(through - centre))
    offset = np.linspace(-14.0, 14.0, 281)
    u, v = through[:, None] + unit[:, None] * offset
    level = map_coordinates(channel.astype(float), [v, u], order=3, mode="nearest")
    half = 0.5 * (level[:10].mean() + level[-10:].mean())
    i = int(np.flatnonzero(np.diff((level > half).astype(int)))[0])
    return offset[i] + (half - level[i]) / (level[i + 1] - level[i]) * (offset[1] - offset[0])


@pytest.mark.parametrize("name", ["P1", "P4"])
def test_spots_lie_where_the_trace_puts_them(name):
    scene = plain_scene(3)
    others = tuple(one for one in ("P1", "P2", "P3", "P4") if one != name)
    scene = replace(scene, look=replace(PLAIN, hidden=others))
    pixels, truth = render_frame(scene, np.random.default_rng(1))
    ground, _ = render_frame(
        replace(scene, look=replace(PLAIN, hidden=(*others, name))), np.random.default_rng(1)
    )
    extra = pixels[..., 0].astype(float) - ground[..., 0]
    for u, v in truth.points_px(name):
        near = extra[round(v) - 6 : round(v) + 7, round(u) - 6 : round(u) + 7]
        rows, columns = np.indices(near.shape)
        found = np.array([(columns * near).sum(), (rows * near).sum()]) / near.sum() - 6.0
        # Grey levels are whole numbers and spots are cut at 6 px: a few hundredths of a pixel.
        assert np.abs(found - np.array([u - round(u), v - round(v)])).max() < 0.06


@pytest.mark.parametrize("curve", ["pupil", "limbus"])
def test_edges_lie_on_the_traced_curves(curve):
    scene = replace(plain_scene(4), look=replace(PLAIN, hidden=("P1", "P2", "P3", "P4")))
    pixels, truth = render_frame(scene, np.random.default_rng(1))
    points = truth.pupil_px if curve == "pupil" else truth.limbus_px
    centre = points.mean(axis=0)
    away = [half_level_px(pixels[..., 1], centre, points[k]) for k in range(0, 360, 15)]
    # The sheen of the iris along the radius tilts the plateau beside the soft limbus.
    assert np.abs(away).max() < (0.15 if curve == "pupil" else 0.9)


@pytest.mark.parametrize("lamps", ["one", "pair", "triangle", "ring"])
@pytest.mark.parametrize("lens", ["natural", "implant", "none"])
def test_every_pattern_and_lens_is_drawn(lamps, lens):
    wish = FrameWish("hard", lens, lamps, size_px=(320, 240))
    pixels, truth, sheet = draw_frame(np.random.default_rng(5), wish)
    assert pixels.shape == (240, 320, 3)
    assert len(truth.points_px("P1")) == len(lamp_places_mm(lamps)) == len(sheet.lamps.places_mm)
    assert (truth.lens_tilt_deg is None) == (lens == "none")
    assert bool(truth.points_px("P4")) == (lens != "none")
    assert set(truth.document()) > {"reflexes", "pupil", "limbus", "eye_rotation_deg"}


def test_infrared_frames_are_grey():
    wish = FrameWish(lamps="ring", looks="infrared", size_px=(320, 240))
    pixels, _, _ = draw_frame(np.random.default_rng(6), wish)
    assert np.array_equal(pixels[..., 0], pixels[..., 2])


def test_the_same_seed_gives_the_same_picture():
    wish = FrameWish("hard", size_px=(160, 120))
    one, _, _ = draw_frame(np.random.default_rng(7), wish)
    other, _, _ = draw_frame(np.random.default_rng(7), wish)
    assert np.array_equal(one, other)


def test_first_three_upright_last_inverted_first_brightest():
    """P1 to P3 stand as the lamps do, P4 upside down; P1 is brightest (common practice, no source).

    In the picture that was painted, not in the model: the order of spots from left to right.
    """
    scene = plain_scene(8, turn_deg=(1.5, 1.0))
    _, truth = render_frame(scene, np.random.default_rng(1))
    lamps = np.array(scene.setup.lamps_mm)[:, :2]
    across = scene.setup.camera.frame.picture_from_examiner(lamps)
    way = across[1] - across[0]
    light = {}
    for name in ("P1", "P2", "P3", "P4"):
        one, other = (np.array(p) for p in truth.points_px(name))
        assert ((other - one) @ way > 0.0) == (name != "P4")
        light[name] = next(r.light for r in truth.reflexes if r.name == name)
    assert light["P1"] > 10.0 * max(light[name] for name in ("P2", "P3", "P4"))
