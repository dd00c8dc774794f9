"""Facts of the trade about the eye's four reflexes: common practice, no source.

P1 to P3 stand upright, P4 inverted; P1 is the brightest; the offset of P4 from P1 changes
linearly with gaze near fixation, and opposite gaze gives the opposite change.
"""

import numpy as np
import pytest

from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera
from rimwise.eye.known import Known
from rimwise.eye.this_eye import eye_record
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyePose

LAMPS = ((-9.0, -4.0, 200.0), (9.0, -4.0, 200.0), (0.0, 11.0, 200.0))
SETUP = SetUp(Camera.in_front(200.0, 60.0), LAMPS)
LENSES = ("natural", "implant")


def model(lens: str):
    deep = 3.1 if lens == "natural" else 4.5
    return eye_model(eye_record(Known("right", lens, lens_front_depth_mm=deep)))


def seen(lens: str, turn_deg: tuple[float, float] = (0.0, 0.0)):
    x, y = np.radians(turn_deg)
    found: dict[str, list] = {}
    for one in reflexes(model(lens), EyePose((float(x), float(y))), SETUP):
        found.setdefault(one.name, []).append(one)
    return found


def offset_px(lens: str, turn_deg: tuple[float, float]) -> np.ndarray:
    found = seen(lens, turn_deg)
    first, last = (np.mean([one.px for one in found[name]], axis=0) for name in ("P1", "P4"))
    return np.asarray(last - first)


@pytest.mark.parametrize("lens", LENSES)
def test_p1_to_p3_stand_upright_and_p4_inverted(lens):
    """The pattern of three lamps, held against the lamps themselves; rows run downwards."""
    lamps = np.array(LAMPS)[:, :2] * [1.0, -1.0]
    for name, ones in seen(lens).items():
        places = np.array([one.px for one in ones])
        along = ((places - places.mean(axis=0)) * (lamps - lamps.mean(axis=0))).sum()
        assert (along > 0.0) == (name != "P4"), name


@pytest.mark.parametrize("lens", LENSES)
def test_p1_is_the_brightest(lens):
    light = {name: max(one.light for one in ones) for name, ones in seen(lens).items()}
    assert all(light["P1"] > 5.0 * share for name, share in light.items() if name != "P1"), light


@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("way", [(1.0, 0.0), (0.0, 1.0), (0.6, -0.8)])
def test_the_offset_goes_linearly_with_gaze_and_turns_with_it(lens, way):
    """Within 4 degrees of a straight eye; linear to two percent of the largest change."""
    straight = offset_px(lens, (0.0, 0.0))
    turns = np.array([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])
    moves = np.array([offset_px(lens, (t * way[0], t * way[1])) - straight for t in turns])
    rate = turns @ moves / (turns @ turns)
    assert np.abs(moves - np.outer(turns, rate)).max() < 0.02 * np.abs(moves).max()
    # Opposite gaze, opposite sign: to a hundredth.
    assert np.allclose(moves[0], -moves[-1], atol=0.01 * np.abs(moves).max())
    # A degree of gaze moves them apart by more than a pixel, so that it can be read off.
    assert np.hypot(*rate) > 1.0
