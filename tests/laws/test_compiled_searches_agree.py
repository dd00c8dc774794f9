"""The compiled searches of spots and patterns find what the plain ones find."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.align.masking import without
from rimwise.align.settling import Found
from rimwise.picture.frame_planes import frame_planes
from rimwise.picture.frame_rings import find_rings
from rimwise.picture.patterns import Wanted, nearby, pattern_places
from rimwise.picture.raster import Raster
from rimwise.picture.ring_seeds import ring_seeds
from rimwise.picture.spots import SpotMap, spot_map, spot_places


def _spotted(seed: int, spots: int) -> tuple[SpotMap, np.ndarray]:
    """Noise with round spots on it, and about where they stand."""
    rng = np.random.default_rng(seed)
    v, u = np.indices((90, 120))
    plane = rng.normal(0.0, 0.3, u.shape)
    places = np.column_stack([rng.uniform(8, 110, spots), rng.uniform(8, 80, spots)])
    for x, y in places:
        plane += 6.0 * np.exp(-0.5 * ((u - x) ** 2 + (v - y) ** 2) / 3.0**2)
    level = plane.astype(np.float32)
    white = (40.0 * level).astype(np.float32)
    return SpotMap((10, 20), level, white, level), places + np.array([10.0, 20.0])


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 4), st.booleans())
def test_spots_are_settled_alike(seed: int, spots: int, saturated: bool) -> None:
    plain, places = _spotted(seed, spots)
    told = [
        spot_places(one, places + 1.3, 4.0, saturated)
        for one in (plain, replace(plain, compiled=True))
    ]
    # Sums of single numbers in another order: a hundred-thousandth of a pixel.
    assert np.allclose(told[0], told[1], rtol=0, atol=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_glow_is_taken_off_alike(seed: int) -> None:
    plain, places = _spotted(seed, 3)
    p1 = Found(places, 6.0, 1.0, 3.5, 0.0, 1.0)
    told = [without(one, p1, 22.0).level for one in (plain, replace(plain, compiled=True))]
    assert np.allclose(told[0], told[1], rtol=0, atol=1e-5)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3), st.sampled_from([1, 2]))
def test_patterns_stand_alike(seed: int, lamps: int, power: int) -> None:
    spots, _ = _spotted(seed, 6)
    rng = np.random.default_rng(seed)
    offsets = rng.normal(0.0, 14.0, (lamps, 2))
    near, prior = nearby(spots.level, 8.0, 1), (np.array([61.0, 40.0]), 25.0, power)
    plain, fast = (
        list(pattern_places(near, offsets, prior, Wanted(3, 7.0), compiled))
        for compiled in (False, True)
    )
    # Later places may stand on the border of a ground that was taken already.
    assert len(plain) == len(fast)
    assert np.allclose(plain[:1], fast[:1], rtol=1e-5, atol=1e-5)


def _eye(seed: int) -> Raster:
    """Rings of an eye, off-centre and elliptic, with noise and a bright instrument across."""
    rng = np.random.default_rng(seed)
    v, u = np.indices((240, 320))
    x, y = u - rng.uniform(140, 180), (v - rng.uniform(100, 140)) * rng.uniform(0.97, 1.03)
    far = np.hypot(x, y)
    eye = np.array([60.0, 30, 20]) + 60.0 / (1.0 + np.exp(-(far - 40.0)))[..., None] * [1, 1, 0.5]
    eye += 70.0 / (1.0 + np.exp(-(far - 90.0) / 3.0))[..., None] * [0.8, 1, 1]
    eye[(x > 60) & (np.abs(y) < 8)] = 235.0
    return Raster(np.clip(eye + rng.normal(0.0, 2.0, eye.shape), 0, 255).astype(np.uint8))


@pytest.mark.parametrize("seed", range(3))
def test_rings_run_alike(seed: int) -> None:
    plain, fast = (find_rings(frame_planes(_eye(seed), way), 90.0) for way in (False, True))
    for one, other in ((plain.limbus, fast.limbus), (plain.pupil, fast.pupil)):
        assert one is not None
        assert other is not None
        # Single numbers are rounded in another order: a thousandth of a pixel at a faint edge.
        assert np.allclose(one.curve_px, other.curve_px, rtol=0, atol=2e-3)
        assert one.seen_deg == other.seen_deg
        assert one.centre_sd_px == pytest.approx(other.centre_sd_px, rel=1e-2)


@pytest.mark.parametrize("seed", range(3))
def test_spot_maps_agree(seed: int) -> None:
    ground = np.ones((40, 50), dtype=np.bool_)
    ground[:4] = False
    plain, fast = (
        spot_map(frame_planes(_eye(seed), way), (60, 40, 261, 203), 1.8, ground)
        for way in (False, True)
    )
    # Single numbers: a ten-thousandth of a noise level in levels up to fifty.
    assert np.allclose(plain.level, fast.level, rtol=1e-4, atol=1e-3)
    assert np.allclose(plain.contrast, fast.contrast, rtol=0, atol=1e-5)
    assert np.array_equal(plain.white, fast.white)


@pytest.mark.parametrize("seed", range(3))
def test_centres_are_voted_alike(seed: int) -> None:
    small = frame_planes(_eye(seed)).log_small
    plain, fast = (ring_seeds(small, np.linspace(50.0, 60.0, 4), way) for way in (False, True))
    told = [[(one.u_px, one.v_px, one.radius_px) for one in seeds[:2]] for seeds in (plain, fast)]
    # Peaks lie between the bins: sums of single numbers in another order move them a little.
    assert np.allclose(*told, rtol=0, atol=1e-4)
