"""The pupil's diameter with and without the dark pigment border that lies on its margin.

Own renders: bright, grey and dark pupils, the border of several strengths, blur and noise of three
difficulties. The renderer lays the line on the true margin.
"""

import numpy as np
import pytest

from rimwise.align.looking import foretold_limbus_px
from rimwise.demo.frame_scene import FrameLook
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.picture.frame_planes import frame_planes
from rimwise.picture.frame_rings import find_rings
from rimwise.picture.raster import Raster

KINDS = ("easy", "medium", "hard")


def errors(ruff: float, seeds: range) -> np.ndarray:
    """Relative errors of the pupil's diameter."""
    found = []
    for k in seeds:
        wish = FrameWish(KINDS[k % 3], size_px=(960, 720), look=FrameLook(ruff=ruff))
        pixels, truth, sheet = draw_frame(np.random.default_rng(k), wish)
        planes = frame_planes(Raster(pixels))
        pupil = find_rings(planes, foretold_limbus_px(sheet) * planes.factor).pupil
        if pupil is None:
            continue
        middle = truth.pupil_px.mean(axis=0)
        radius = float(np.hypot(*(truth.pupil_px - middle).T).mean())
        found.append(pupil.radius_px / radius - 1.0)
    return np.array(found)


@pytest.mark.parametrize("ruff", [0.0, 0.15, 0.35, 0.6])
def test_diameter_within_a_hundredth(ruff):
    off = np.abs(errors(ruff, range(81_000, 81_012)))
    assert len(off) >= 9
    assert np.median(off) < 0.01, off
    assert np.quantile(off, 0.8) < 0.02, off
