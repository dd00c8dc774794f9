"""Rays through random tilted, decentred systems against two general-purpose optics libraries.

Their Newton tolerances are tightened in peers.py: as built, optiland stops at 1e-6 mm.
"""

import numpy as np
import pytest
from peers import load, optiland_tracer, rayoptics_tracer

from rimwise.optics.pose import Pose
from rimwise.optics.rays import Rays, rays
from rimwise.optics.surface import Surface, conic, even_asphere, toric
from rimwise.optics.system import System, pass_through, reflect, refract
from rimwise.optics.trace import trace

# What is asked for; some 1e-13 are reached.
AGREE = 1e-10
SEEDS = range(12)


def _shape(rng: np.random.Generator, radius: float, torics: bool) -> Surface:
    k = float(rng.uniform(-2.0, 0.5))
    kind = rng.integers(3 if torics else 2)
    if kind == 0:
        return conic(radius, k)
    if kind == 1:
        return even_asphere(radius, k, tuple(rng.normal(0.0, [1e-4, 1e-6, 1e-8])))
    return toric((radius, radius * 0.95), k, float(rng.uniform(0.0, 3.0)))


def _eye_like(rng: np.random.Generator, torics: bool) -> System:
    """Return cornea, implant, a mirror behind it or a retina, all tilted and decentred."""
    steps = []
    for z, radius, index in ((0.0, -7.8, 1.376), (-0.5, -6.5, 1.336), (-4.5, -12.0, 1.49)):
        x, y, tx, ty = rng.uniform(-0.3, 0.3, 2).tolist() + rng.uniform(-0.15, 0.15, 2).tolist()
        shape = _shape(rng, radius * float(rng.uniform(0.9, 1.1)), torics)
        steps.append(refract(shape.placed(Pose.at(x, y, z).tilted(tx, ty)), index))
    back = _shape(rng, 14.0, torics).placed(Pose.at(0.1, 0.0, -5.4).tilted(0.05, -0.03))
    if rng.integers(2):
        steps += [reflect(back), *_out(steps)]
    else:
        retina = conic(12.0, 0.1, Pose.at(0.0, 0.0, -23.5).tilted(0.02, 0.0))
        steps += [refract(back, 1.336), pass_through(retina)]
    return System(tuple(steps))


def _out(steps: list) -> list:
    """Return the way back through the same surfaces."""
    media = [1.0, *(s.after for s in steps[:-1])]
    return [refract(s.surface, n) for s, n in reversed(list(zip(steps, media, strict=True)))]


def _bundle(rng: np.random.Generator, n: int) -> Rays:
    start = np.column_stack([rng.uniform(-1.2, 1.2, (n, 2)), np.full(n, 5.0)])
    return rays(start, np.column_stack([rng.uniform(-0.08, 0.08, (n, 2)), np.full(n, -1.0)]))


def _gap(system: System, start: Rays, ends: tuple[np.ndarray, np.ndarray]) -> float:
    out = trace(system, start)
    assert out.ok.all()
    places, ways = np.abs(ends[0] - out.positions_mm), np.abs(ends[1] - out.directions)
    return max(float(places.max()), float(ways.max()))


@pytest.mark.filterwarnings("ignore")  # the library's own warnings are not ours to mend
@pytest.mark.parametrize("seed", SEEDS)
def test_optiland_agrees(seed: int) -> None:
    _need("optiland.optic")
    rng = np.random.default_rng(seed)
    system, start = _eye_like(rng, torics=True), _bundle(rng, 200)
    assert _gap(system, start, optiland_tracer(system)(start)) < AGREE


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", SEEDS)
def test_rayoptics_agrees(seed: int) -> None:
    _need("rayoptics.raytr.raytrace")
    rng = np.random.default_rng(100 + seed)
    system, start = _eye_like(rng, torics=False), _bundle(rng, 40)
    assert _gap(system, start, rayoptics_tracer(system)(start)) < AGREE


def _need(library: str) -> None:
    """Skip (which the gate counts as a failure) where the library is not installed."""
    try:
        load(library)
    except ImportError as error:
        pytest.skip(f"{library.split('.', maxsplit=1)[0]} is not installed here ({error})")
