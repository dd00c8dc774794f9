"""Origin and depth inside the eye: number 2 of docs/conventions.md."""

import pytest

from rimwise.eye.schematic import schematic_model
from rimwise.published.eyes import EYES, schematic_eye


@pytest.mark.parametrize("key", EYES)
def test_02_the_origin_is_the_corneal_vertex_and_inside_the_eye_z_is_negative(key):
    model = schematic_model(schematic_eye(key))
    first, *others = model.placed
    assert first.role == "cornea front"
    assert first.surface.pose.vertex_mm == (0.0, 0.0, 0.0)
    for part in others:
        assert part.surface.pose.vertex_mm[2] < 0.0
        assert part.depth_mm == -part.surface.pose.vertex_mm[2]


@pytest.mark.parametrize("key", EYES)
def test_02_the_cornea_bulges_towards_the_examiner_along_plus_z(key):
    # Away from its vertex the cornea falls back into the eye.
    cornea = schematic_model(schematic_eye(key)).placed[0].surface
    for x_mm, y_mm in [(2.0, 0.0), (0.0, -2.0)]:
        assert float(cornea.sag_mm(x_mm, y_mm)) < 0.0
