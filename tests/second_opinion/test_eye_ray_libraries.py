"""Published eyes with random tilts and decentrations, and solved reflex paths, by two libraries."""

import numpy as np
import pytest
from peers import load, optiland_tracer, rayoptics_tracer

from rimwise.eye.camera import Camera
from rimwise.eye.model import EyeModel
from rimwise.eye.schematic import schematic_model
from rimwise.optics.rays import Rays, rays
from rimwise.optics.trace import trace
from rimwise.published.eyes import EYES, schematic_eye
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyePose

UNIFORM = [key for key in EYES if key not in {"liou_brennan1997", "atchison2006"}]
AGREE = 1e-10  # mm and direction cosines, as asked for
LAMP = (12.0, -5.0, 195.0)
TRACERS = {
    "optiland": ("optiland.optic", optiland_tracer),
    "rayoptics": ("rayoptics.raytr.raytrace", rayoptics_tracer),
}


def placed(key: str, seed: int) -> EyeModel:
    rng = np.random.default_rng(seed)
    tilt, shift = rng.uniform(-0.07, 0.07, 2), rng.uniform(-0.3, 0.3, 2)
    return schematic_model(schematic_eye(key)).with_lens(tuple(tilt), tuple(shift))


def bundle() -> Rays:
    rng = np.random.default_rng(1)
    start = np.column_stack([rng.uniform(-1.0, 1.0, (30, 2)), np.full(30, 5.0)])
    return rays(start, np.column_stack([rng.uniform(-0.05, 0.05, (30, 2)), np.full(30, -1.0)]))


def tracer(library: str):
    module, make = TRACERS[library]
    try:
        load(module)
    except ImportError as error:
        pytest.skip(f"{library} is not installed here ({error})")
    return make


@pytest.mark.filterwarnings("ignore")  # the libraries' own warnings are not ours to mend
@pytest.mark.parametrize("library", TRACERS)
@pytest.mark.parametrize("key", UNIFORM)
def test_rays_through_a_published_eye_with_a_misplaced_lens(key, library):
    make = tracer(library)
    eye = placed(key, UNIFORM.index(key))
    ours = trace(eye.refracting, bundle())
    places, ways = make(eye.refracting)(bundle())
    assert ours.ok.all()
    assert np.abs(places - ours.positions_mm).max() < AGREE
    assert np.abs(ways - ours.directions).max() < AGREE


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("library", TRACERS)
@pytest.mark.parametrize("key", UNIFORM)
def test_the_ray_of_a_solved_reflex_reaches_its_lamp(key, library):
    """The line of sight that our solver found is traced by the library: it must hit the lamp."""
    make = tracer(library)
    eye, pose = placed(key, 50 + UNIFORM.index(key)), EyePose((0.04, -0.03), (0.2, 0.1, 0.0))
    setup = SetUp(Camera.in_front(200.0), (LAMP,))
    view, lamps = setup.seen_from(pose)
    for one in reflexes(eye, pose, setup, engine="plain"):
        x, y = (value / setup.camera.focus_mm for value in one.plane_mm)
        way = np.array([x, y, -1.0]) @ view[3:12].reshape(3, 3)
        path = eye.mirror_path(eye.index_of(one.name))
        places, ways = make(path)(rays(view[:3], way))
        ahead = lamps[0] - places[0]
        beside = np.linalg.norm(ahead - (ahead @ ways[0]) * ways[0])
        # 200 mm of way times the 1e-13 to which the path is solved, and the library's round-off.
        assert beside < 1e-9, one.name
