"""An edge is claimed where its fine line shows, not where one level only passes into another."""

import numpy as np
import pytest

from rimwise.picture.contrast import line_over_sides
from rimwise.picture.planes import Planes, planes_of
from rimwise.picture.raster import Raster
from rimwise.terms.arrays import FloatArray

_CENTRE = (500.0, 400.0)
_EDGE, _RIM = 220.0, 300.0
_RADII = np.full(720, _EDGE)


def _picture(step: float, line: float, noise: float = 0.01) -> Planes:
    """A disc whose outside is brighter by a step, with a dark line along its border."""
    v, u = np.mgrid[0:800, 0:1000]
    away: FloatArray = np.hypot(u - _CENTRE[0], v - _CENTRE[1]) - _EDGE
    soft = 0.5 * (1.0 + np.tanh(away / 1.5))
    grey = 120.0 * (1.0 + step * soft) * (1.0 - line * np.exp(-0.5 * (away / 1.6) ** 2))
    grey *= 1.0 + np.random.default_rng(5).normal(0.0, noise, grey.shape)
    colour = grey[..., None] * np.array([1.2, 1.0, 0.8])
    return planes_of(Raster(np.clip(colour, 0.0, 255.0).astype(np.uint8)))


def _claimed(planes: Planes) -> float:
    centre, radii = np.asarray(_CENTRE), _RADII
    scale = planes.factor
    middle = (centre + 0.5) * scale - 0.5
    found = line_over_sides(
        planes, (float(middle[0]), float(middle[1])), radii * scale, radii * 0 + _RIM
    )
    return float(found.mean())


@pytest.mark.parametrize("step", [-0.25, -0.1, 0.1, 0.25])
def test_a_step_without_a_line_is_no_edge(step: float) -> None:
    """The border of a shadow or of a glow: at most the rare chance of noise."""
    assert _claimed(_picture(step, 0.0)) < 0.02


@pytest.mark.parametrize("step", [-0.1, 0.0, 0.1])
def test_a_line_on_a_step_is_an_edge(step: float) -> None:
    """A line of 8 % shows on any step that a capsule makes."""
    assert _claimed(_picture(step, 0.08)) > 0.99


def test_the_rim_beside_an_edge_is_no_level() -> None:
    """Seven pixels outside of the edge runs the rim's own dark line, darker than the edge's."""
    v, u = np.mgrid[0:800, 0:1000]
    away = np.hypot(u - _CENTRE[0], v - _CENTRE[1]) - _EDGE
    grey = 120.0 * (1.0 - 0.06 * np.exp(-0.5 * (away / 1.5) ** 2))
    grey *= 1.0 - 0.3 * np.exp(-0.5 * ((away - 9.0) / 1.7) ** 2)
    colour = grey[..., None] * np.array([1.2, 1.0, 0.8])
    planes = planes_of(Raster(colour.astype(np.uint8)))
    scale = planes.factor
    middle = (np.asarray(_CENTRE) + 0.5) * scale - 0.5
    at = (float(middle[0]), float(middle[1]))
    assert line_over_sides(planes, at, _RADII * scale, (_RADII + 9.0) * scale).mean() > 0.95
