"""In a quiet picture the opening's edge is found where it lies, by a line or by a step alone.

Own renders whose noise is a thirtieth of the edge's rise and less: there much else passes the noise
as well, and which of it is the edge must be told by size.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.photos import draw_eye, draw_scene, draw_sheet
from rimwise.demo.render import render_photo
from rimwise.measure.edges import find_edges
from rimwise.picture.raster import Raster

FAR_MM = 0.1  # half of what no direction of a measured picture may err by
LOOKS = {
    "line and step": {"opening_line": 0.12, "capsule_veil": 0.22, "fibrosis": 0.0},
    "step alone": {"opening_line": 0.0, "capsule_veil": 0.25, "fibrosis": 0.0},
    "bright veil": {"opening_line": 0.0, "capsule_veil": 0.08, "fibrosis": 0.35},
}


def _errors_mm(seed, look, blur_px):
    """Return the edges, and in each direction how far the found edge is off, mm."""
    rng = np.random.default_rng([seed, 31])
    eye = draw_eye(rng, "easy")
    scene = draw_scene(rng, eye, "easy")
    sheet = draw_sheet(rng, eye, scene)
    scene = replace(scene, look=replace(scene.look, blur_px=blur_px, **LOOKS[look]))
    pixels, truth = render_photo(scene, rng)
    edges = find_edges(Raster(pixels), sheet)
    centre = np.array(scene.optic_centre_px)
    true, found = truth.opening_px - centre, edges.points_px(edges.opening_px) - centre
    around = np.arctan2(true[:, 1], true[:, 0])
    order = np.argsort(around)
    at = np.arctan2(found[:, 1], found[:, 0])
    there = np.interp(at, around[order], np.hypot(*true[order].T), period=2.0 * np.pi)
    return edges, (np.hypot(*found.T) - there) / scene.px_per_mm


@pytest.mark.parametrize("blur_px", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("look", LOOKS)
def test_no_other_curve_is_taken_for_the_edge(look, blur_px):
    for seed in (1, 2):
        edges, error_mm = _errors_mm(seed, look, blur_px)
        assert edges.opening_found.sum() >= 300
        assert np.abs(error_mm[edges.opening_found]).max() <= FAR_MM
