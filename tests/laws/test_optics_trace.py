"""What every trace must obey, whatever the surfaces."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise import optics
from rimwise.optics.media import Gradient
from rimwise.optics.pose import Pose, tilt_rotation
from rimwise.optics.rays import Rays, Status, Traced, rays
from rimwise.optics.surface import (
    Surface,
    biconic,
    conic,
    even_asphere,
    plane,
    sphere,
    toric,
)
from rimwise.optics.system import System, pass_through, reflect, refract
from rimwise.optics.trace import trace

small = st.floats(-0.1, 0.1)
kinds = st.sampled_from(["sphere", "conic", "even asphere", "biconic", "toric"])


def _shape(kind: str, radius: float, k: float, extra: float) -> Surface:
    if kind == "sphere":
        return sphere(radius)
    if kind == "conic":
        return conic(radius, k)
    if kind == "even asphere":
        return even_asphere(radius, k, (extra * 1e-3, extra * 1e-5))
    if kind == "biconic":
        return biconic((radius, radius * (1.0 + extra)), (k, -k), 7.0 * extra)
    return toric((radius, radius * (1.0 + extra)), k, 7.0 * extra)


@st.composite
def systems(draw: st.DrawFn) -> System:
    """Draw a path in through tilted, decentred surfaces, off a mirror, and out again."""
    steps, z = [], 0.0
    for index in draw(st.lists(st.floats(1.0, 1.6), min_size=1, max_size=4)):
        radius = draw(st.floats(6.0, 20.0)) * draw(st.sampled_from([-1.0, 1.0]))
        shape = _shape(draw(kinds), radius, draw(st.floats(-3.0, 0.8)), draw(small))
        pose = Pose.at(draw(small), draw(small), z).tilted(draw(small), draw(small))
        steps.append(refract(shape.placed(pose), index))
        z -= draw(st.floats(1.0, 4.0))
    steps.append(reflect(sphere(draw(st.floats(8.0, 30.0)), Pose.at(draw(small), 0.0, z))))
    media = [1.0, *(s.after for s in steps if s.after is not None)]
    for i in range(len(steps) - 2, -1, -1):
        steps.append(refract(steps[i].surface, media[i]))
    steps.append(pass_through(plane(Pose.at(0.0, 0.0, 8.0))))
    return System(tuple(steps))


def _tame(*traced: Traced) -> np.ndarray:
    """Which rays stay near and never graze? Grazing chains multiply round-off without bound."""
    found = np.ones(len(traced[0]), dtype=bool)
    for one in traced:
        assert one.record is not None
        near = np.abs(one.record.points_mm).max(axis=(0, 2)) < 30.0
        found &= one.ok & near & (one.record.cosines.min(axis=0) > 0.5)
    return found


def _bundle(seed: int, n: int = 40) -> Rays:
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(-2.0, 2.0, (n, 2)), np.full(n, 8.0)])
    return rays(start, np.column_stack([rng.uniform(-0.1, 0.1, (n, 2)), np.full(n, -1.0)]))


@given(systems(), st.integers(0, 9))
@settings(max_examples=50)
def test_a_reversed_ray_returns(system: System, seed: int) -> None:
    start = _bundle(seed)
    there = trace(system, start, record=True)
    home = System((*system.reversed().steps, pass_through(plane(Pose.at(0.0, 0.0, 8.0)))))
    back = trace(home, there.reversed(), record=True)
    ok = _tame(there, back)
    # Eleven strong surfaces amplify round-off by the slope of the trace, some 1e4 at most.
    assert np.allclose(back.positions_mm[ok], start.positions_mm[ok], rtol=0.0, atol=1e-10)
    assert np.allclose(back.directions[ok], -start.directions[ok], rtol=0.0, atol=1e-10)
    assert np.allclose(back.opl_mm[ok], there.opl_mm[ok], rtol=0.0, atol=1e-10)


@given(systems(), small, small, st.integers(0, 9))
@settings(max_examples=50)
def test_moving_everything_changes_nothing(system: System, a: float, b: float, seed: int) -> None:
    start = _bundle(seed)
    turn, about, shift = tilt_rotation(a, b), np.array([1.0, -2.0, -5.0]), np.array([0.3, 0.2, 1.0])
    moved = rays((start.positions_mm - about) @ turn.T + about + shift, start.directions @ turn.T)
    here = trace(system, start, record=True)
    there = trace(system.moved(turn, about, shift), moved, record=True)
    both = _tame(here, there)
    expected = (here.positions_mm - about) @ turn.T + about + shift
    assert np.allclose(there.positions_mm[both], expected[both], rtol=0.0, atol=1e-10)
    assert np.allclose(there.directions[both], (here.directions @ turn.T)[both], atol=1e-10)
    assert np.allclose(there.opl_mm[both], here.opl_mm[both], rtol=0.0, atol=1e-10)
    assert np.mean(here.status == there.status) > 0.9  # only a ray on the very rim may differ


def _mirrored(pose: Pose) -> Pose:
    flip = np.diag([-1.0, 1.0, 1.0])
    turned = flip @ pose.matrix() @ flip
    x, y, z = pose.vertex_mm
    return Pose((-x, y, z)).moved(turned)


@given(systems(), st.integers(0, 9))
@settings(max_examples=50)
def test_a_mirrored_system_gives_the_mirrored_answer(system: System, seed: int) -> None:
    start = _bundle(seed)
    flip = np.array([-1.0, 1.0, 1.0])
    steps = tuple(
        replace(
            s,
            surface=replace(
                s.surface, pose=_mirrored(s.surface.pose), axis_rad=-s.surface.axis_rad
            ),
        )
        for s in system.steps
    )
    here = trace(system, start, record=True)
    there = trace(
        System(steps), rays(start.positions_mm * flip, start.directions * flip), record=True
    )
    both = _tame(here, there)
    assert np.allclose(there.positions_mm[both], (here.positions_mm * flip)[both], atol=1e-10)
    assert np.allclose(there.opl_mm[both], here.opl_mm[both], rtol=0.0, atol=1e-10)


def _path_mm(
    surface: Surface, ends: np.ndarray, places: np.ndarray, index: tuple[float, float]
) -> np.ndarray:
    """Return the optical path end - bend - end for bends at x, y of the surface's own frame."""
    x, y = places[:, 0], places[:, 1]
    bend = surface.pose.outward(np.column_stack([x, y, surface.sag_mm(x, y)]))
    legs = np.linalg.norm(ends - bend, axis=2)
    return legs[0] * index[0] + legs[1] * index[1]


@given(systems(), st.integers(0, 9))
@settings(max_examples=50)
def test_the_optical_path_is_stationary(system: System, seed: int) -> None:
    """Fermat: shifting any bend along its surface changes the path only to second order."""
    start = _bundle(seed, 20)
    record = trace(system, start, record=True).record
    assert record is not None
    knots = np.concatenate([start.positions_mm[None], record.points_mm])
    ways = np.concatenate([start.directions[None], record.directions])
    legs = np.einsum("ijk,ijk->ij", np.diff(knots, axis=0), ways[:-1])
    media = [float(m) for m in system.media if not isinstance(m, Gradient)]
    h = 1e-4  # central difference: error h² · path'''/6 ~ 1e-8, round-off 1e-14 / h ~ 1e-10
    for i, step in enumerate(system.steps[:-1]):
        local = step.surface.pose.inward(knots[i + 1])
        # A virtual stretch has no path of its own, a short one or a rim bends the path too fast.
        clear = (legs[i] > 0.3) & (legs[i + 1] > 0.3) & (np.hypot(*local.T[:2]) < 4.0)
        ends, places = knots[[i, i + 2]][:, clear], local[clear, :2]
        for shift in (np.array([h, 0.0]), np.array([0.0, h])):
            more = _path_mm(step.surface, ends, places + shift, (media[i], media[i + 1]))
            less = _path_mm(step.surface, ends, places - shift, (media[i], media[i + 1]))
            assert np.all(np.abs(more - less) / (2.0 * h) < 1e-6)


def _gap(one: Traced, other: Traced, both: np.ndarray) -> float:
    """Return the largest difference of these rays, in units of round-off at 10 mm."""
    size = np.maximum(np.abs(one.positions_mm).max(axis=1), np.abs(one.opl_mm))
    size = np.maximum(1.0, size / 10.0)
    gaps = [np.abs(one.opl_mm - other.opl_mm) / size]
    for name in ("positions_mm", "directions"):
        gaps.append(np.abs(getattr(one, name) - getattr(other, name)).max(axis=1) / size)
    return max(float(gap[both].max(initial=0.0)) for gap in gaps)


@given(systems(), st.integers(0, 9))
@settings(max_examples=60)
def test_compiled_and_plain_steps_agree(system: System, seed: int) -> None:
    """Step by step, because a chain of grazing rays multiplies round-off without bound."""
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(-7.0, 7.0, (150, 2)), np.full(150, 8.0)])
    bundle = rays(start, np.column_stack([rng.uniform(-0.5, 0.5, (150, 2)), np.full(150, -1.0)]))
    for i, step in enumerate(system.steps):
        one = System((step,), system.media[i])
        plain, fast = (trace(one, bundle, True, engine) for engine in ("numpy", "compiled"))
        assert plain.record is not None
        clear = plain.ok & fast.ok & (plain.record.cosines[0] > 0.3)
        # Where an eye could be: further out r⁴ and r⁶ multiply round-off without bound.
        for rays_there in (bundle, plain):
            clear &= np.abs(rays_there.positions_mm).max(axis=1) < 15.0
            clear &= np.abs(rays_there.opl_mm) < 50.0
        # Coordinates are of the order of 10 mm: fifty units of round-off.
        assert _gap(plain, fast, clear) <= 1e-13
        # Only a ray within round-off of a rim or of total reflection may fare differently, and
        # one that meets nothing may wander off (missed) or go on wandering (no convergence).
        assert np.count_nonzero(plain.ok != fast.ok) <= 1
        assert (plain.at_surface == fast.at_surface)[plain.ok == fast.ok].all()
        bundle = plain


@pytest.mark.parametrize("record", [False, True])
def test_compiled_and_plain_agree_through_an_eye(eye_like: System, record: bool) -> None:
    rng = np.random.default_rng(5)
    start = np.column_stack([rng.uniform(-4.0, 4.0, (3001, 2)), np.full(3001, 5.0)])
    bundle = rays(start, np.column_stack([rng.uniform(-0.3, 0.3, (3001, 2)), np.full(3001, -1.0)]))
    plain, fast = (trace(eye_like, bundle, record, engine) for engine in ("numpy", "compiled"))
    assert set(plain.status.tolist()) >= {Status.OK, Status.MISSED, Status.CLIPPED}
    assert (plain.status == fast.status).all()
    assert (plain.at_surface == fast.at_surface).all()
    assert _gap(plain, fast, plain.ok) <= 1e-13
    if plain.record is not None and fast.record is not None:
        for name in ("points_mm", "directions", "opl_mm", "cosines"):
            mine, other = getattr(plain.record, name), getattr(fast.record, name)
            assert (np.isnan(mine) == np.isnan(other)).all()
            assert np.abs(mine - other)[:, plain.ok].max() <= 1e-13
    again = trace(eye_like, bundle, record, "compiled", out=fast)
    assert again is fast


def test_without_the_compiler_numpy_answers(
    eye_like: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    start = _bundle(1)
    plain = trace(eye_like, start, engine="numpy")
    monkeypatch.setattr(optics, "compiled", None, raising=False)
    monkeypatch.delattr(optics, "compiled")
    monkeypatch.setitem(sys.modules, "rimwise.optics.compiled", None)
    again = trace(eye_like, start, engine="compiled")
    assert (again.positions_mm[plain.ok] == plain.positions_mm[plain.ok]).all()


def test_a_thousand_rays_do_not_load_the_compiler() -> None:
    code = """
import sys
import numpy as np
from rimwise.optics.rays import rays
from rimwise.optics.surface import sphere
from rimwise.optics.system import System, refract
from rimwise.optics.trace import trace
start = np.column_stack([np.linspace(-2, 2, 1000), np.zeros(1000), np.full(1000, 5.0)])
assert trace(System((refract(sphere(-7.8), 1.336),)), rays(start, [0, 0, -1.0])).ok.all()
assert not {"numba", "scipy", "matplotlib"} & set(sys.modules)
"""
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.slow  # compiles the kernel twice
def test_compiled_code_never_keeps_constants_of_another_day(tmp_path: Path) -> None:
    code = """
import sys
import numpy as np
from rimwise.optics import shapes
shapes.LEAST_NEWTON, shapes.MAX_NEWTON = int(sys.argv[1]), int(sys.argv[2])
from rimwise.optics.rays import rays
from rimwise.optics.surface import even_asphere
from rimwise.optics.system import System, refract
from rimwise.optics.trace import trace
steep = System((refract(even_asphere(-7.8, 0.0, (1e-3,)), 1.336),))
out = trace(steep, rays([[2.0, 0.0, 5.0]], [0, 0, -1.0]), engine="compiled")
print(out.status[0])
"""
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    seen = [
        subprocess.run(
            [sys.executable, "-c", code, least, most],
            check=True, capture_output=True, text=True, env=environment,
        ).stdout.strip()
        for least, most in (("2", "50"), ("0", "0"), ("2", "50"))
    ]  # fmt: skip
    assert seen == ["0", str(int(Status.NO_CONVERGENCE)), "0"]


@pytest.fixture(name="eye_like")
def _eye_like() -> System:
    """Return six tilted surfaces of every kind, in the proportions of an eye."""
    return System(
        (
            refract(
                even_asphere(-7.8, -0.2, (1e-4, 1e-6), Pose.at(0, 0, 0).tilted(0.05, 0)), 1.376
            ),
            refract(biconic((-6.4, -6.7), (-0.3, 0.1), 0.4, Pose.at(0, 0.1, -0.5)), 1.336),
            pass_through(plane(Pose.at(0.2, 0, -3.5), semi_diameter_mm=2.5)),
            refract(toric((-5.0, -5.4), -1.0, 0.9, Pose.at(0.1, 0, -4.5), 3.0), 1.49),
            refract(
                even_asphere(9.0, -2.0, (2e-4, 1e-6, 1e-8, 1e-9, 1e-11), Pose.at(0, 0.1, -5.4)),
                1.336,
            ),
            pass_through(sphere(12.0, Pose.at(0, 0, -23.5))),
        )
    )


def test_each_failure_has_its_status_and_place() -> None:
    ball = sphere(5.0, name="ball")
    one_ray = rays([[4.9, 0.0, -9.0], [5.1, 0.0, -9.0], [1.0, 0.0, -9.0]], [0.0, 0.0, 1.0])
    out = trace(System((pass_through(plane()), refract(ball, 1.0)), 1.5), one_ray)
    assert out.status.tolist() == [Status.TOTAL_REFLECTION, Status.MISSED, Status.OK]
    assert out.at_surface.tolist() == [1, 1, -1]
    assert np.isnan(out.positions_mm[:2]).all()
    assert np.isnan(out.opl_mm[:2]).all()
    stop = System((pass_through(plane(semi_diameter_mm=2.0)), refract(ball, 1.0)))
    assert trace(stop, one_ray).status.tolist() == [Status.CLIPPED, Status.CLIPPED, Status.OK]
    narrow = Gradient(((0, 0, 1.4),), semi_diameter_mm=3.0)
    glass = System((refract(plane(), narrow), pass_through(plane(Pose.at(0.0, 0.0, 2.0)))))
    assert trace(glass, one_ray).status.tolist() == [Status.LEFT_MEDIUM, Status.LEFT_MEDIUM, 0]


@pytest.mark.parametrize("n", [0, 1, 5000])
def test_every_bundle_size_is_traced(n: int) -> None:
    start = rays(np.tile([0.0, 0.0, 5.0], (n, 1)), [0.0, 0.0, -1.0])
    out = trace(System((refract(sphere(-8.0), 1.4),)), start, record=True)
    assert len(out) == n
    assert out.ok.all()
    assert out.record is not None
    assert out.record.points_mm.shape == (1, n, 3)
