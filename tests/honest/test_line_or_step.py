"""An edge is claimed where its fine line shows, not where one level only passes into another."""

import numpy as np
import pytest

from rimwise.picture.contrast import drawn_aside, line_over_sides
from rimwise.picture.planes import Planes, planes_of
from rimwise.picture.raster import Raster
from rimwise.picture.strip import unroll
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
        planes, (float(middle[0]), float(middle[1])), radii * scale, radii * 0.0 + _RIM * scale
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


@pytest.mark.parametrize("step", [-0.06, -0.03, 0.03, 0.06])
def test_a_step_draws_a_lines_darkest_place_aside(step: float) -> None:
    """A line of 8 % at a known radius, on a step of its own blur: darkest beside, set right."""
    planes = _picture(step, 0.08, noise=0.0)
    scale = planes.factor
    middle = (np.asarray(_CENTRE) + 0.5) * scale - 0.5
    at = (float(middle[0]), float(middle[1]))
    rows = np.arange(-3.0, 3.01, 0.1)
    strip = unroll(planes.log_grey, at, _RADII * scale + rows[:, None] * scale)
    # Grey values are whole numbers, so the mean over all directions tells the place.
    darkest = float(rows[strip.mean(axis=1).argmin()]) * scale
    aside = drawn_aside(planes, at, _RADII * scale + darkest, 12.0).mean()
    assert darkest * step < -0.1 * abs(step)
    assert abs(darkest + aside) < 0.5 * abs(darkest)
