"""A line is told from a step and from nothing, at contrasts that are painted exactly.

Outside of the code: brightness is a closed formula of the distance from the centre. A reader sees a
step as well, but cannot tell by it an edge from the border of a shadow (decision 0005).
"""

import numpy as np
import pytest

from rimwise.picture.edge_shows import edge_shows
from rimwise.picture.planes import planes_of
from rimwise.picture.raster import Raster
from rimwise.picture.rim import Rim
from rimwise.picture.rim_shows import rim_shows
from rimwise.picture.seam import Seam

CENTRE = (700.0, 525.0)
EDGE, RIM = 250.0, 300.0


def _picture(line, step, at, noise):
    """Draw a ring's line, and a step outwards, on even red light; half of the turn is bare."""
    v, u = np.indices((1050, 1400))
    away = np.hypot(u - CENTRE[0], v - CENTRE[1]) - at
    painted = (v < CENTRE[1]).astype(np.float64)  # the upper half: columns 0 to 359
    level = 1.0 - painted * line * np.exp(-0.5 * (away / 1.8) ** 2)
    level *= 1.0 + step / (1.0 + np.exp(-away / 1.2))
    pixels = np.array([180.0, 100.0, 60.0]) * level[..., None]
    pixels += np.random.default_rng(5).normal(0.0, noise, pixels.shape)
    return planes_of(Raster(np.clip(np.rint(pixels), 0, 255).astype(np.uint8)))


def _rim(strength=0.0):
    columns = np.zeros(720)
    return Rim(
        4.0, 1.0, 0.5, CENTRE, RIM, (0.0, 0.0), 0.5, np.zeros((5, 5)), columns == 0.0,
        columns + strength, columns,
    )  # fmt: skip


def _shown(planes):
    """Return where the painted edge's line shows; its course is known."""
    edge, none = np.full(720, EDGE), np.zeros(720)
    return edge_shows(planes, _rim(), Seam(edge, none, none, none == 0.0, 0.7, edge))[0]


def _shares(shown):
    """Return the share of directions claimed where the line is painted and where not."""
    return shown[20:340].mean(), shown[380:700].mean()


@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_an_edge_shows_by_its_line(noise):
    planes = _picture(0.10, 0.05, EDGE, noise)
    seen, bare = _shares(_shown(planes))
    assert seen > 0.95
    assert bare < 0.02


@pytest.mark.parametrize("step", [0.1, 0.2, 0.3])
def test_a_step_alone_is_no_line(step):
    planes = _picture(0.0, step, EDGE, 2.0)
    assert _shown(planes).mean() < 0.02


@pytest.mark.parametrize(("step", "band"), [(0.1, 0.1), (0.2, 0.1), (0.1, 0.2)])
def test_a_sheet_that_is_whitest_at_its_edge_is_no_line(step, band):
    """Whiter by ``band`` at the edge, fading over 9 px, with a shadow inside: no line there."""
    v, u = np.indices((1050, 1400))
    away = np.hypot(u - CENTRE[0], v - CENTRE[1]) - EDGE
    sheet = 1.0 / (1.0 + np.exp(-away / 1.2))
    level = 1.0 + sheet * (step + band * np.exp(-np.maximum(away, 0.0) / 9.0))
    level -= 0.05 * (1.0 - sheet) * np.exp(np.minimum(away, 0.0) / 9.0)
    pixels = np.array([150.0, 90.0, 60.0]) * level[..., None]
    pixels += np.random.default_rng(5).normal(0.0, 1.5, pixels.shape)
    planes = planes_of(Raster(np.clip(np.rint(pixels), 0, 255).astype(np.uint8)))
    assert _shown(planes).mean() < 0.02


def test_a_faint_line_shows_in_a_quiet_picture_and_not_in_a_grainy_one():
    quiet, grainy = (_shares(_shown(_picture(0.025, 0.0, EDGE, noise))) for noise in (0.5, 6.0))
    assert quiet[0] > 0.9
    assert grainy[0] < 0.2
    assert max(quiet[1], grainy[1]) < 0.02


def test_a_faint_rim_shows_by_its_darkness_where_its_place_is_known():
    planes = _picture(0.06, 0.0, RIM, 2.0)
    none = np.full(720, np.inf)
    seen, bare = _shares(rim_shows(planes, _rim(strength=1.5), none))
    assert seen > 0.95
    assert bare < 0.1
    assert not rim_shows(planes, _rim(strength=0.5), none).any()
    assert rim_shows(planes, _rim(strength=3.0), none).all()


def test_a_step_at_the_rim_is_no_darkness():
    planes = _picture(0.0, 0.2, RIM, 1.0)
    assert rim_shows(planes, _rim(strength=1.5), np.full(720, np.inf)).mean() < 0.02
