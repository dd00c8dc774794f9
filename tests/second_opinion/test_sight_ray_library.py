"""Waves of eyes with misplaced, tilted implants against those of a general-purpose optics library.

The library traces other rays than ours through the same surfaces and sums their paths; what the
wave must be there follows from its paths alone. Its Newton tolerance is tightened in peers.py.
"""

import math

import numpy as np
import pytest
from peers import load, optiland_paths

from rimwise.eye.model import EyeModel
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.point_spread import point_spread_fft, sample_pupil
from rimwise.optics.rays import rays
from rimwise.optics.zernike import basis
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.sight import LineOfSight, line_of_sight, placed_waves
from rimwise.records.picture import CorneaSheet

PUPIL_MM, GREEN_UM = 5.0, 0.555
WAVES_RMS = 1e-3  # as asked for


def _need() -> None:
    try:
        load("optiland.optic")
    except ImportError as error:
        pytest.skip(f"optiland is not installed here ({error})")


def _eye(seed: int) -> tuple[EyeModel, tuple[float, float, float]]:
    rng = np.random.default_rng(seed)
    cornea = CorneaSheet(radius_mm=float(rng.uniform(7.4, 8.1)))
    side = "right" if seed % 2 else "left"
    known = Known(side, "implant", cornea, axial_mm=float(rng.uniform(22.5, 25.5)))
    record = eye_record(known)
    shift, tilt = rng.uniform(-0.8, 0.8, 2), rng.uniform(-8.0, 8.0, 2)
    place = place_at(record, tuple(shift.tolist()), tuple(tilt.tolist()))
    return placed_model(record, place), fovea_of(record)


def _paths(
    model: EyeModel, fovea: tuple[float, float, float], slopes: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return places, ways and optical paths that the library finds in front of the cornea."""
    ways = np.column_stack([slopes, np.ones(len(slopes))])
    start = rays(np.broadcast_to(fovea, ways.shape), ways)
    return optiland_paths(model.refracting.reversed().unclipped())(start)


def _wave_um(
    sight: LineOfSight, found: tuple[np.ndarray, np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Return where the rays cross the pupil's plane, and the wave there against the first ray."""
    places, ways, path = found
    along = (sight.origin_mm - places) @ sight.axes[2] / (ways @ sight.axes[2])
    at = (places + along[:, None] * ways - sight.origin_mm) @ sight.axes[:2].T
    total = path + along
    return at, 1e3 * (total[0] - total)


@pytest.mark.filterwarnings("ignore")  # the library's own warnings are not ours to mend
@pytest.mark.parametrize("seed", range(10))
def test_the_wave_is_that_of_the_librarys_paths(seed: int) -> None:
    _need()
    model, fovea = _eye(seed)
    sight = line_of_sight(model, fovea)
    (ours,) = placed_waves(model, fovea, PUPIL_MM, sight=sight)
    rng = np.random.default_rng(seed)
    radius, turn = np.sqrt(rng.uniform(0.0, 1.0, 300)), rng.uniform(0.0, 2.0 * math.pi, 300)
    disc = 0.5 * PUPIL_MM * radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    wanted = np.vstack([[[0.0, 0.0]], 0.97 * disc])
    slopes = sight.slopes + wanted @ np.linalg.inv(sight.by_slope).T
    at, wave = _wave_um(sight, _paths(model, fovea, slopes))
    x, y = (2.0 * at / PUPIL_MM).T
    inside = np.hypot(x, y) <= 1.0
    assert inside.sum() > 200
    told = basis(8, x, y) @ ours.coefficients_um
    gap = (told - told[0] - wave)[inside] / GREEN_UM
    assert math.sqrt(float(np.mean(gap**2))) < WAVES_RMS


@pytest.mark.filterwarnings("ignore")  # the library's own warnings are not ours to mend
@pytest.mark.parametrize("seed", range(10))
def test_the_line_of_sight_leaves_along_its_own_axis(seed: int) -> None:
    """The library's ray along our line of sight comes out through the origin, along the axis."""
    _need()
    model, fovea = _eye(seed)
    sight = line_of_sight(model, fovea)
    at, ways, _ = _paths(model, fovea, sight.slopes[None])
    across = (at[0] - sight.origin_mm) @ sight.axes[:2].T
    assert np.abs(across).max() < 1e-9
    assert ways[0] @ sight.axes[2] == pytest.approx(1.0, abs=1e-12)


@pytest.mark.filterwarnings("ignore")  # the library's own warnings are not ours to mend
@pytest.mark.parametrize("seed", range(10))
def test_the_point_spread_is_that_of_the_librarys_paths(seed: int) -> None:
    """Ours from 181 rays a wave, fitted; theirs from a ray a cell, by another library's transform.

    A thousandth of a wave, as asked for, is 2π/1000 of a phase, and an image's intensity follows
    twice that, in shares of a perfect image's peak.
    """
    _need()
    try:
        focus = load("prysm.propagation").focus
    except ImportError as error:
        pytest.skip(f"prysm is not installed here ({error})")
    model, fovea = _eye(seed)
    sight = line_of_sight(model, fovea)
    (ours,) = placed_waves(model, fovea, PUPIL_MM, sight=sight)
    pupil = sample_pupil(ours, 64)
    x, y = np.meshgrid(pupil.places_mm, pupil.places_mm)
    cells = pupil.coverage > 0.0
    wanted = np.vstack([[[0.0, 0.0]], np.column_stack([x[cells], y[cells]])])
    back = np.linalg.inv(sight.by_slope).T
    slopes = sight.slopes + wanted @ back
    for _ in range(4):
        at, wave = _wave_um(sight, _paths(model, fovea, slopes))
        slopes = slopes + (wanted - at) @ back
    assert np.abs(wanted - at).max() < 1e-4
    error = np.zeros(pupil.coverage.shape)
    error[cells] = wave[1:]
    theirs = np.abs(focus(pupil.coverage * np.exp(-2j * np.pi * error / GREEN_UM), 2)) ** 2
    theirs *= theirs.size / pupil.coverage.sum() ** 2
    told = point_spread_fft(pupil, 2).intensity
    assert np.abs(told - theirs).max() < 4.0 * math.pi * WAVES_RMS
